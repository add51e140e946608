"""What was taken into the journal, and whether that is sound, as text for a terminal."""

from __future__ import annotations

from collections import Counter

from nightplan.planning.photons.sub_sets import set_name
from nightplan.report.documents.collect import (
    CollectDocument,
    JournalCheckDocument,
    JournalFilePart,
)
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


def journal_check_text(document: JournalCheckDocument) -> str:
    """The journal's state, each backup's, and what can be done."""
    journal = document.journal
    lines = [_line(journal)]
    if document.restored_from is not None:
        lines.append(f"restored from {document.restored_from}")
    if document.kept is not None:
        lines.append(f"the journal of before is kept as {document.kept}")
    lines += ["", "Backups, newest first:" if document.backups else "No backup yet."]
    lines += [f"  {one.taken_utc}  {_line(one)}" for one in document.backups]
    if journal.state == "faulty" or (journal.state == "missing" and document.newest_good):
        lines.append("")
        if document.newest_good is None:
            words = "No backup is good. Put a copy of your own in the journal's place."
        else:
            words = (
                f"`nightplan collect --check --restore` puts {document.newest_good} in its place "
                "and keeps what is there under another name."
            )
        if "checksum" in journal.fault:
            words += (
                " If you changed the journal by hand on purpose, `nightplan collect --check "
                "--reseal` takes it as it is."
            )
        lines.append(paragraph(words))
    return "\n".join(lines)


def _line(one: JournalFilePart) -> str:
    if one.state == "missing":
        return f"{one.file}: no such file"
    if one.state == "faulty":
        return f"{one.file}: faulty: {one.fault}"
    return f"{one.file}: sound, {counted(one.rows, 'row')}, {counted(one.subs, 'sub')}"
