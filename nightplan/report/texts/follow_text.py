"""The line that `nightplan follow` prints: where the night stands, what is next and when."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from nightplan.planning.photons.sub_sets import row_set
from nightplan.planning.schedule.standing import Standing
from nightplan.report.wording.local_time import NightClock, duration, moment, utc_mjd
from nightplan.report.wording.order_of_work import WorkItem, order_of_work
from nightplan.report.wording.words import capital, counted, panels_of, subs, target_and_panel

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
