"""The morning after, and the line that `nightplan follow` prints: a plan against what was shot."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from nightplan.number_forms import number, percent
from nightplan.planning.photons.sub_sets import row_set, set_name
from nightplan.planning.schedule.standing import Standing
from nightplan.report.documents.review import NextNight, ReviewDocument, ReviewedBlock
from nightplan.report.wording.local_time import NightClock, duration, moment, utc_mjd
from nightplan.report.wording.order_of_work import WorkItem, order_of_work
from nightplan.report.wording.text_table import paragraph, text_table
from nightplan.report.wording.words import capital, counted, panels_of, subs, target_and_panel


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


Plan = Mapping[str, Any]

NOTABLE_MIN = 1.0
"""Less lost shutter time than this is not told."""


def follow_line(plan: Plan, stands: Standing, now_utc: datetime.datetime) -> str:
    """One line: the step in force with its subs, the next step, the next flip or turn, and by how
    much shutter time the night is behind."""
    items = [item for item in order_of_work(plan) if item.kinds != ("idle",)]
    clock = NightClock(ZoneInfo(plan["timezone"]), [*_edges(plan), utc_mjd(now_utc)])
    now = [item for item in items if moment(item.start_utc) <= now_utc < moment(item.end_utc)]
    later = [item for item in items if moment(item.start_utc) > now_utc]
    parts = []
    if now:
        parts.append(f"{_words(plan, now[-1], stands)} until {clock.clock(now[-1].end_utc)}")
    if later:
        first = later[0]
        begin = clock.clock(first.start_utc)
        parts.append(f"{'then' if now else 'next'} {_words(plan, first, stands)} at {begin}")
    loud = next((one for one in later[1:] if {"flip", "turn"} & set(one.kinds)), None)
    if loud is not None:
        minutes = (moment(loud.start_utc) - now_utc) / datetime.timedelta(minutes=1)
        what = "meridian flip" if "flip" in loud.kinds else loud.words
        parts.append(f"{what} at {clock.clock(loud.start_utc)} (in {duration(minutes)})")
    if not parts:
        parts.append("all is done: flats, then tear down")
    line = f"{clock.clock(utc_mjd(now_utc))}  {capital('; '.join(parts))}."
    if stands.missing_min >= NOTABLE_MIN:
        line += f" {duration(stands.missing_min)} of shutter time behind."
    return line


def replan_line(plan: Plan, lost_min: float, files: list[str]) -> str:
    """Says that the rest was planned anew, and what was written."""
    begin = NightClock(ZoneInfo(plan["timezone"]), _edges(plan)).clock(plan["from_utc"])
    return (
        f"       Planned anew from {begin} on, for {duration(lost_min)} of shutter time was lost; "
        f"written: {', '.join(files)}."
    )


def _edges(plan: Plan) -> list[str]:
    rows = [*plan["blocks"], *plan["events"]]
    edges = [row[key] for row in rows for key in ("start_utc", "end_utc")]
    return [*edges, *(plan[key] for key in ("window_start_utc", "window_end_utc") if plan[key])]


def _words(plan: Plan, item: WorkItem, stands: Standing) -> str:
    if item.block is None:
        return f"{item.words} ({item.target})" if item.target else item.words
    block = item.block
    name = f"{target_and_panel(block, panels_of(plan))} {block['filter']}"
    pair = (block["target"], row_set(block))
    before = sum(
        row["count"]
        for row in plan["blocks"]
        if (row["target"], row_set(row)) == pair and row["start_utc"] < block["start_utc"]
    )
    shot = min(max(stands.shot.get(pair, 0) - before, 0), block["count"])
    work = subs(block["count"], block["sub_s"])
    return f"{name} {work}" + (f", {counted(shot, 'sub')} shot" if shot else "")
