"""The morning review as text: planned against shot, what the night brought, when it goes on."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from nightplan.number_forms import number, percent
from nightplan.planning.photons.sub_sets import set_name
from nightplan.report.documents.review import NextNight, ReviewDocument, ReviewedBlock
from nightplan.report.wording.local_time import NightClock, duration
from nightplan.report.wording.text_table import paragraph, text_table
from nightplan.report.wording.words import subs


def review_text(document: ReviewDocument) -> str:
    """Lay out a review for the terminal."""
    times = [time for row in document.blocks for time in (row.start_utc, row.end_utc)]
    clock = NightClock(ZoneInfo(document.timezone), times)
    shot, planned = document.shot_min, document.planned_min
    share = f", {percent(shot / planned)}" if planned > 0.0 else ""
    lines = [
        f"Review of the night of {document.date} at {document.site}",
        f"Shutter open {duration(shot)} of {duration(planned)} planned{share}",
        f"Of the plan {duration(document.missing_min)} are missing",
        "",
        f"Planned against shot, {clock.heading}",
        _blocks(document.blocks, clock),
    ]
    if document.goals:
        lines += ["", "Goals, effective hours", _goals(document)]
    if document.next_nights:
        lines += ["", "When it goes on"]
        lines += [paragraph(_next(row)) for row in document.next_nights]
    elif document.goals:
        lines += ["", "Every goal of these targets is reached."]
    lines += [paragraph(f"Note: {notice}") for notice in document.notices]
    return "\n".join(lines) + "\n"


def _blocks(rows: list[ReviewedBlock], clock: NightClock) -> str:
    several = len({(row.target, row.panel) for row in rows}) > len({row.target for row in rows})
    table = []
    for row in rows:
        name = f"{row.target} panel {row.panel}" if several else row.target
        seen = ""
        if row.shot_start_utc and row.shot_end_utc:
            seen = f"{clock.clock(row.shot_start_utc)} to {clock.clock(row.shot_end_utc)}"
        note = f"{row.rejected_subs} rejected" if row.rejected_subs else ""
        if row.planned_subs is None:
            note = "not in the plan" + (f", {note}" if note else "")
        planned = row.planned_subs
        table.append(
            [
                f"{clock.clock(row.start_utc)} to {clock.clock(row.end_utc)}",
                name,
                set_name(row.filter, row.short_set),
                "" if planned is None else subs(planned, row.sub_s),
                str(row.shot_subs),
                seen,
                note,
            ]
        )
    return text_table(
        ["planned", "target", "filter", "subs", "shot", "when", ""], table, right=(4,)
    )


def _goals(document: ReviewDocument) -> str:
    rows = [
        [
            row.target,
            set_name(row.filter, row.short_set),
            number(row.goal_h),
            number(row.before_h, 2),
            f"+{number(row.tonight_h, 2)}",
            number(row.missing_h, 2),
            percent(min(1.0, (row.before_h + row.tonight_h) / row.goal_h)) if row.goal_h else "",
        ]
        for row in document.goals
    ]
    heads = ["target", "filter", "goal", "before", "tonight", "missing", "reached"]
    return text_table(heads, rows, right=(2, 3, 4, 5, 6))


def _next(row: NextNight) -> str:
    wanted = " ".join(row.missing_filters)
    if row.date is None:
        return f"{row.target} ({wanted}): not within the next two months."
    moonless = f", {number(row.moonless_hours or 0.0)} h with the moon down"
    return f"{row.target} ({wanted}): {row.date}, {number(row.usable_hours or 0.0)} h{moonless}."
