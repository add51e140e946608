"""The night as a strip: targets, blocks, marks, moon and hours side by side."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from nightplan.report.plots.time_axis import whole_hours
from nightplan.report.wording.local_time import NightClock, moment, utc_mjd
from nightplan.report.wording.order_of_work import WorkItem
from nightplan.report.wording.words import subs

Document = Mapping[str, Any]

NARROWEST_LETTER = 1.6  # percent of the strip: on a phone, less would cut a name off


def order(items: list[WorkItem], clock: NightClock) -> list[dict[str, str]]:
    """Each stretch on a target: from when to when, and its subs by filter."""
    rows: list[dict[str, str]] = []
    for stretch in stretches(items):
        blocks = [item for item in stretch if item.block is not None]
        if not blocks:
            continue
        totals: dict[tuple[str, float], int] = {}
        for item in blocks:
            assert item.block is not None
            key = (item.block["filter"], item.block["sub_s"])
            totals[key] = totals.get(key, 0) + int(item.block["count"])
        work = ", ".join(f"{name} {subs(count, sub)}" for (name, sub), count in totals.items())
        rows.append(
            {
                "target": str(blocks[0].target),
                "start": clock.clock(blocks[0].start_utc),
                "end": clock.clock(blocks[-1].end_utc),
                "work": work,
            }
        )
    return rows


def stretches(items: list[WorkItem]) -> list[list[WorkItem]]:
    """Items by the target they serve, in order; idle time stays with what it stands beside."""
    groups: list[list[WorkItem]] = []
    current: str | None = None
    for item in items:
        if not groups or (item.target is not None and current not in (None, item.target)):
            groups.append([])
            current = None
        current = item.target if item.target is not None else current
        groups[-1].append(item)
    return groups


def strip(
    night: Document,
    plan: Document,
    items: list[WorkItem],
    zone: ZoneInfo,
    clock: NightClock,
    look_of: Mapping[str, str],
) -> dict[str, Any]:
    """Bars and marks of the strip, in percent of the window."""
    start, end = moment(plan["window_start_utc"]), moment(plan["window_end_utc"])
    whole = end - start

    def share(utc: str | float | dt.datetime) -> float:
        when = utc if isinstance(utc, dt.datetime) else moment(utc)
        return 100.0 * min(max((when - start) / whole, 0.0), 1.0)

    def bar(from_utc: Any, to_utc: Any, text: str, look: str = "") -> dict[str, Any]:
        left = share(from_utc)
        width = share(to_utc) - left
        least = NARROWEST_LETTER * len(text)
        shown = text if width >= least else ""
        return {"left": f"{left:.2f}", "width": f"{width:.2f}", "text": shown, "look": look}

    blocks = [item for item in items if item.block is not None]
    targets = []
    for stretch in stretches(items):
        inside = [item for item in stretch if item.block is not None]
        if inside:
            targets.append(bar(inside[0].start_utc, inside[-1].end_utc, str(inside[0].target)))
    marks = []
    for item in items:
        kind = next((kind for kind in ("flip", "turn", "focus") if kind in item.kinds), "")
        if kind:
            text = "" if kind == "focus" else kind
            marks.append({"left": f"{share(item.start_utc):.2f}", "kind": kind, "text": text})
    ticks = whole_hours(
        utc_mjd(start), utc_mjd(end), zone, 1 if whole <= dt.timedelta(hours=11) else 2
    )
    words = "; ".join(
        f"{row['target']} {row['start']} to {row['end']}: {row['work']}"
        for row in order(items, clock)
    )
    return {
        "words": f"The night as a strip. {words}.",
        "edges": f"{clock.full(plan['window_start_utc'])} to {clock.full(plan['window_end_utc'])}",
        "targets": targets,
        "blocks": [
            bar(item.start_utc, item.end_utc, item.block["filter"], look_of[item.block["filter"]])
            for item in blocks
            if item.block is not None
        ],
        "marks": marks,
        "moon": [bar(a, b, "moon up") for a, b in _moon_up(night, start, end)],
        "hours": [
            {"left": f"{share(mjd):.2f}", "text": f"{when:%H}"}
            for mjd, when in ticks
            if share(mjd) < 95.0
        ],
    }


def _moon_up(
    night: Document, start: dt.datetime, end: dt.datetime
) -> list[tuple[dt.datetime, dt.datetime]]:
    """Stretches of the window with the moon up, from the night document's rise and set."""
    rise = moment(night["moonrise_utc"]) if night.get("moonrise_utc") else None
    fall = moment(night["moonset_utc"]) if night.get("moonset_utc") else None
    if rise is None and fall is None:
        reasons = (night.get("moonrise_utc_reason"), night.get("moonset_utc_reason"))
        return [(start, end)] if "always_up" in reasons else []
    if rise is None:
        spans = [(start, fall)]
    elif fall is None:
        spans = [(rise, end)]
    elif rise < fall:
        spans = [(rise, fall)]
    else:
        spans = [(start, fall), (rise, end)]
    cut = [(max(a, start), min(b, end)) for a, b in spans if a is not None and b is not None]
    return [(a, b) for a, b in cut if b > a]
