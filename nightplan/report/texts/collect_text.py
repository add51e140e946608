"""What was taken into the journal, as text for a terminal."""

from __future__ import annotations

from collections import Counter

from nightplan.planning.photons.sub_sets import set_name
from nightplan.report.documents.collect import CollectDocument
from nightplan.report.wording.text_table import note, paragraph, text_table
from nightplan.report.wording.words import counted

MOST_NAMED = 5
"""Files skipped for one and the same reason of which the names are listed."""
KIND_WORDS = {"flat_dark": "flat-dark", "bias": "bias frame"}


def collect_text(document: CollectDocument) -> str:
    """Counts, the files that were skipped with their reasons, and the sums of what is gathered."""
    lines = [
        f"{document.folder}: {len(document.added)} added, {len(document.already_known)} known "
        f"already, {len(document.skipped)} skipped"
    ]
    kinds = Counter(one.kind for one in document.added)
    if kinds:
        words = [counted(kinds[kind], KIND_WORDS.get(kind, kind)) for kind in sorted(kinds)]
        lines.append("new: " + ", ".join(words))
    if document.judged_again:
        lines.append(f"{counted(document.judged_again, 'known sub')} took the new verdict")
    if document.skipped:
        lines += ["", "Skipped:"]
        start = document.folder.rstrip("/") + "/"
        alike: dict[str, list[str]] = {}
        for one in document.skipped:
            alike.setdefault(one.reason, []).append(one.file.removeprefix(start))
        for reason, files in alike.items():
            more = [f"{len(files) - MOST_NAMED} more"] if len(files) > MOST_NAMED else []
            names = ", ".join(files[:MOST_NAMED] + more)
            lines.append(paragraph(f"{names}: {reason}", indent="  "))
    if document.gathered:
        rows = [
            [
                row.target,
                set_name(row.filter, row.short_set),
                row.train or "unknown",
                str(row.accepted_subs),
                str(row.rejected_subs),
                f"{row.clock_h:.1f}",
                f"{row.equivalent_h:.1f}",
            ]
            for row in document.gathered
        ]
        headers = ["target", "filter", "train", "subs", "rejected", "hours", "effective"]
        lines += ["", text_table(headers, rows, right=(3, 4, 5, 6))]
        lines.append(
            paragraph("Effective hours: an hour at the zenith of this site with no moon counts 1.")
        )
    lines += [note(notice) for notice in document.notices]
    return "\n".join(lines)
