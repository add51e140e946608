"""What the sheet's script works from: every step of the night in order, from set-up to tear-down.

Times are milliseconds since 1970 in UTC, as scripts count them; words stand here, so that the
script only picks and places them.
"""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from nightplan.report.sheet.work_rows import loudness
from nightplan.report.wording.local_time import NightClock, local, moment, utc_mjd
from nightplan.report.wording.order_of_work import WorkItem, order_of_work
from nightplan.report.wording.words import capital, panels_of, subs

Document = Mapping[str, Any]

TEAR_DOWN = dt.timedelta(minutes=45)
"""For caps, cables, weights and packing (common practice, no source)."""

MUST = {"turn", "flats", "setup"}
"""Work that clouds neither hinder nor spare: turns, flats, a change of train."""


def live_night(
    night: Document,
    plan: Document,
    setup: Sequence[Document],
    items: list[WorkItem],
    owed: Sequence[Document],
    losses: Sequence[Document],
    clock: NightClock,
    resume_min: float,
) -> dict[str, Any]:
    """The script's data.

    Parameters
    ----------
    items : list of WorkItem
        The plan's order of work; its rows on the page are ``w0``, ``w1``, ...
    owed : sequence of mappings
        Calibration frames, for the flats after the last sub.
    losses : sequence of mappings
        As of `nightplan.library.losses.solved_losses`.
    resume_min : float
        What it takes to go on after clouds, in minutes.
    """
    entries = [
        {
            "id": f"s{i}",
            "kind": "setup",
            "words": capital(row["name"]),
            "start": _ms(row["start_utc"]),
            "end": _ms(row["end_utc"]),
        }
        for i, row in enumerate(setup)
    ]
    entries += _entries(plan, items, "w")
    entries += _after_the_last_sub(items, owed)
    entries.sort(key=lambda entry: (entry["start"], entry["end"]))
    noon = dt.datetime.combine(dt.date.fromisoformat(night["date"]), dt.time(12), tzinfo=clock.zone)
    end = (noon.replace(tzinfo=None) + dt.timedelta(days=1)).replace(tzinfo=clock.zone)
    window = [edge for edge in (plan["window_start_utc"], plan["window_end_utc"]) if edge]
    return {
        # Ticks belong to a night, so that a re-plan keeps them; lateness and clouds to one plan.
        "key": f"nightplan {night['site']} {plan.get('rig', '')} {night['date']}",
        "plan": _mark(entries),
        "anew": _ms(plan["from_utc"]) if plan.get("from_utc") else None,
        "resume": round(resume_min * 60_000.0),
        "site": night["site"],
        "rig": plan.get("rig", ""),
        "date": night["date"],
        "from": round(noon.timestamp() * 1000.0),
        "to": round(end.timestamp() * 1000.0),
        "strip": [_ms(edge) for edge in window] or [0, 1],
        "offsets": _offsets(noon, end, clock.zone),
        "told": clock.changes,
        "items": entries,
        "losses": [_answer(number, loss) for number, loss in enumerate(losses)],
    }


def _entries(plan: Document, items: Sequence[WorkItem], letter: str) -> list[dict[str, Any]]:
    panels = panels_of(plan)
    found = []
    for i, item in enumerate(items):
        entry: dict[str, Any] = {
            "id": f"{letter}{i}",
            "kind": "block" if item.block is not None else loudness(item) or "between",
            "words": capital(item.words),
            "start": _ms(item.start_utc),
            "end": _ms(item.end_utc),
        }
        if item.kinds == ("idle",):
            entry["kind"] = "idle"
        if set(item.kinds) & MUST:
            entry["must"] = True
        if item.block is not None:
            block = item.block
            several = panels.get(str(block["target"]), 1) > 1
            where = f", panel {block['panel']}" if several else ""
            entry |= {
                "words": f"{block['target']}{where}, {block['filter']}",
                "subs": subs(block["count"], block["sub_s"]),
                "shot": {
                    key: block[key]
                    for key in ("target", "panel", "train", "filter", "gain", "sub_s", "count",
                                "start_utc", "end_utc")
                },
            }  # fmt: skip
        elif item.target is not None:
            entry["words"] += f" ({item.target})"
        found.append(entry)
    return found


def _after_the_last_sub(
    items: Sequence[WorkItem], owed: Sequence[Document]
) -> list[dict[str, Any]]:
    """Flats of the last angle, then tear-down."""
    ends = [moment(item.end_utc) for item in items if item.block is not None]
    if not ends:
        return []
    at = max(ends)
    flats = [row for row in owed if row["kind"] == "flat" and row.get("at_last_angle")]
    found = []
    if flats:
        starts = [moment(row["start_utc"]) for row in flats if row.get("start_utc")]
        stops = [moment(row["end_utc"]) for row in flats if row.get("end_utc")]
        minutes = sum(float(row.get("minutes") or 0.0) for row in flats)
        begin = max([at, min(starts)]) if starts else at
        stop = max(stops) if stops else begin + dt.timedelta(minutes=max(minutes, 5.0))
        names = " ".join(str(row["filter"]) for row in flats)
        sky = "dawn sky" if starts else "light panel"
        words = f"Flats by the {sky}: {names}, {flats[0]['count']} each; touch no angle before them"
        found.append({"id": "e0", "kind": "flats", "words": words, "start": _at(begin),
                      "end": _at(stop)})  # fmt: skip
        at = max(at, stop)
    words = "Tear down: caps on, power off, weights last; count the pieces"
    down = {
        "id": "e1",
        "kind": "down",
        "words": words,
        "start": _at(at),
        "end": _at(at + TEAR_DOWN),
    }
    return [*found, down]


def _answer(number: int, loss: Document) -> dict[str, Any]:
    """One solved loss: the step from which it holds, and the steps that take its place."""
    plan = loss["plan"]
    begin = moment(plan["from_utc"])
    rest = [item for item in order_of_work(plan) if moment(item.start_utc) >= begin]
    return {
        "at": _ms(loss["start_utc"]),
        "minutes": loss["minutes"],
        "items": _entries(plan, rest, f"v{number}-"),
    }


def _mark(entries: Sequence[Mapping[str, Any]]) -> str:
    """Tells the steps of one plan from those of another."""
    steps = "|".join(f"{one['id']} {one['words']} {one['start']}" for one in entries)
    return f"{zlib.crc32(steps.encode()):08x}"


def _ms(utc: str) -> int:
    return _at(moment(utc))


def _at(when: dt.datetime) -> int:
    return round(when.timestamp() * 1000.0)


def _offsets(start: dt.datetime, end: dt.datetime, zone: ZoneInfo) -> list[list[float]]:
    """The zone's offsets as [from when in ms, minutes], the first from the beginning."""
    from nightplan.report.plots.time_axis import clock_changes

    def minutes(when: dt.datetime) -> float:
        offset = when.astimezone(zone).utcoffset() or dt.timedelta(0)
        return offset / dt.timedelta(minutes=1)

    begin, stop = start.astimezone(dt.UTC), end.astimezone(dt.UTC)
    found = [[0.0, minutes(begin)]]
    for mjd, _, _ in clock_changes(utc_mjd(begin), utc_mjd(stop), zone):
        when = local(mjd, zone)
        found.append([round(when.timestamp() * 1000.0), minutes(when)])
    return found
