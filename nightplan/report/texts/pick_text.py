"""The ranked targets as text for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.model.site import Site
from nightplan.report.texts.target_line import target_line
from nightplan.report.wording.local_time import NightClock
from nightplan.report.wording.text_table import heading, note, paragraph, text_table
from nightplan.report.wording.words import KIND_WORDS, counted, evening, reason_words, subject_name

if TYPE_CHECKING:
    from nightplan.report.documents.pick import PickDocument, PickedTarget


def pick_text(document: PickDocument, site: Site, *, why: bool = False) -> str:
    """Lay out the ranking, best first; `why` adds the reasons."""
    clock = NightClock(site.zone, [row.best_utc for row in document.targets])
    looked_at = counted(document.considered, "target")
    name = f"{evening(document.date)} at {document.site}"
    lines = [heading(f"{name}: the best of {looked_at}")]
    if not document.targets:
        reason = reason_words(document.targets_reason)
        lines.append(paragraph(f"No target is worth this night: {reason}."))
        return "\n".join([*lines, *(note(notice) for notice in document.notices)])
    rows = [
        [
            str(place),
            *_names(row),
            row.train,
            f"{row.score:.2f}",
            f"{row.hours:.1f}",
            clock.clock(row.best_utc),
            f"{row.max_altitude_deg:.0f}°",
            f"{row.moon_separation_deg:.0f}°" if row.moon_altitude_deg > 0.0 else "down",
        ]
        for place, row in enumerate(document.targets, start=1)
    ]
    headers = ["", "target", "", "train", "score", "hours", "highest", "at", "moon"]
    lines += ["", text_table(headers, rows, right=(0, 4, 5, 6, 7, 8))]
    if why:
        lines.append("")
        lines += [
            paragraph(
                f"{row.name}: {row.why} Catalogue: {target_line(row.target_facts)}.",
                indent=f"{place:2d}  ",
            )
            for place, row in enumerate(document.targets, start=1)
        ]
    lines.append(
        paragraph(
            f"Hours inside all limits; times are {clock.heading}; moon: its distance then"
            + (
                "; +2: two more in the framing. "
                if any(row.subject for row in document.targets)
                else ". "
            )
            + ("" if why else "Why: --why")
        )
    )
    return "\n".join([*lines, *(note(notice) for notice in document.notices)])


def _names(row: PickedTarget) -> tuple[str, str]:
    """Name and what people call it, or its kind; of a field of several, whose name is long, one."""
    if " + " in row.name and row.common_name:
        return row.common_name, KIND_WORDS[row.kind]
    return subject_name(row.name, row.subject), _what(row)


def _what(row: PickedTarget) -> str:
    """The name that people use, or the kind."""
    return row.common_name or KIND_WORDS[row.kind]
