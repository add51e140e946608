"""The ranked targets as text for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from nightplan.report.texts.target_line import target_line
from nightplan.report.wording.local_time import NightClock
from nightplan.report.wording.screen import screen
from nightplan.report.wording.text_table import (
    first_that_fits,
    heading,
    note,
    paragraph,
    text_table,
)
from nightplan.report.wording.words import (
    KIND_WORDS,
    counted,
    evening,
    reason_words,
    shortened,
    subject_name,
)

if TYPE_CHECKING:
    from nightplan.report.documents.pick import PickDocument, PickedTarget


USUAL_COUNT = 15
ROOMY = 90
"""Columns from which names need no shortening."""


def pick_text(document: PickDocument, zone: ZoneInfo, *, full: bool = False) -> str:
    """Lay out the ranking, best first, as far as one screen holds it; `full` has all of it, and
    the reasons. Who asks for more than the usual count gets them."""
    count = len(document.targets)
    if full or count > USUAL_COUNT:
        return _laid_out(document, zone, count, full=full)
    return first_that_fits(lambda shown: _laid_out(document, zone, shown), count)


def _laid_out(document: PickDocument, zone: ZoneInfo, shown: int, *, full: bool = False) -> str:
    clock = NightClock(zone, [row.best_utc for row in document.targets])
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
        for place, row in enumerate(document.targets[:shown], start=1)
    ]
    lines += ["", _table(rows)]
    if full:
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
            f"Hours inside all limits; best: when highest, {clock.heading}, with altitude and the "
            "moon's distance then"
            + (
                "; +2: two more in the framing. "
                if any(row.subject for row in document.targets[:shown])
                else ". "
            )
            + ("" if full else _closing(len(document.targets) - shown))
        )
    )
    return "\n".join([*lines, *(note(notice) for notice in document.notices)])


def _closing(hidden: int) -> str:
    return f"{hidden} more, and why: --full" if hidden else "Why: --full"


def _table(rows: list[list[str]]) -> str:
    """The ranking, without what a narrow screen has no place for."""
    headers = ["", "target", "", "train", "score", "hours", "best", "alt", "moon"]
    right, dropped = {0, 4, 5, 6, 7, 8}, set()
    for least, columns in ((74, {2}), (52, {6, 7}), (46, {8})):
        if screen().width < least:
            dropped |= columns
    kept = [column for column in range(len(headers)) if column not in dropped]
    return text_table(
        [headers[column] for column in kept],
        [[row[column] for column in kept] for row in rows],
        right=tuple(place for place, column in enumerate(kept) if column in right),
    )


def _names(row: PickedTarget) -> tuple[str, str]:
    """Name and what people call it, or its kind; of a field of several, whose name is long, one."""
    if " + " in row.name and row.common_name:
        return row.common_name, _kind(row)
    name = subject_name(row.name, row.subject)
    return name if screen().width >= ROOMY else name.replace(" + ", "+"), _what(row)


def _what(row: PickedTarget) -> str:
    """The name that people use, or the kind; shortened where the screen has no place for all."""
    if screen().width >= ROOMY:
        return row.common_name or _kind(row)
    if row.common_name:
        return shortened(row.common_name)
    return _kind(row)


def _kind(row: PickedTarget) -> str:
    words = KIND_WORDS[row.kind]
    return words if screen().width >= ROOMY else words.replace("nebula", "neb.")
