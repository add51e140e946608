"""A plan in the order of the night as short lines: set-up, subs, turns, flips, flats.

Focus runs and filter changes lie between lines and are left out; each line says when it starts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from nightplan.number_forms import number
from nightplan.report.documents.plan import PlanBlock, PlanDocument, PlanEvent
from nightplan.report.wording import order_of_work
from nightplan.report.wording.local_time import NightClock, minutes_between, moment
from nightplan.report.wording.words import subs

IDLE_SHOWN_MIN = 10.0
"""Shorter waits need no line: nobody gets up for them."""


@dataclass(frozen=True)
class NightLine:
    """One line: when, of which target (empty: as above, or none), and what is done.

    `filter` and `subs` are empty where the line is no block of subs.
    """

    start_utc: str
    target: str
    filter: str
    work: str


def plan_clock(plan: PlanDocument) -> NightClock:
    """How the times of the plan are written."""
    edges: list[str | None] = [plan.window_start_utc, plan.window_end_utc]
    for rows in (plan.blocks, plan.events, plan.setup):
        edges += [edge for row in rows for edge in (row.start_utc, row.end_utc)]
    return NightClock(ZoneInfo(plan.timezone), [edge for edge in edges if edge])


def ahead(plan: PlanDocument) -> list[PlanBlock]:
    """Blocks that are still to come: all of them, or of a re-plan those from its moment on."""
    begin = plan.from_utc
    rows = sorted(plan.blocks, key=lambda row: moment(row.start_utc))
    return [row for row in rows if begin is None or moment(row.start_utc) >= moment(begin)]


def visits(blocks: Sequence[PlanBlock]) -> list[list[PlanBlock]]:
    """Blocks in runs of one target and panel."""
    runs: list[list[PlanBlock]] = []
    for row in blocks:
        if runs and (runs[-1][0].target, runs[-1][0].panel) == (row.target, row.panel):
            runs[-1].append(row)
        else:
            runs.append([row])
    return runs


def camera_angles(row: PlanBlock) -> str:
    """The camera's angle for a block: ``camera 90°, image up 0°``."""
    return f"camera {number(row.position_angle_deg)}°, image up {number(row.image_up_angle_deg)}°"


def night_lines(plan: PlanDocument, *, by_visit: int = 0) -> list[NightLine]:
    """The lines of a plan in time.

    `by_visit` joins the blocks of one visit to a target in one line: 1 with their subs, 2 with
    the filters alone.
    """
    clock = plan_clock(plan)
    lines: list[NightLine] = []
    blocks = ahead(plan)
    if plan.setup and plan.from_utc is None and blocks:
        lines.append(_setup_line(plan, blocks[0], clock))
    last: tuple[str, str] | None = None
    for run in visits(blocks):
        name = panel_name(plan, run[0].target, run[0].panel)
        if by_visit:
            lines.append(NightLine(run[0].start_utc, name, "", _joined(run, by_visit)))
            continue
        for alike in _alike(plan, run):
            row, count = alike[0], sum(row.count for row in alike)
            shown = name if last != (row.target, name) else ""
            last = (row.target, name)
            work = f"{subs(count, row.sub_s)}, {row.gain} gain"
            lines.append(NightLine(row.start_utc, shown, row.filter, work))
    lines += _event_lines(plan, clock, blocks)
    return sorted(lines, key=lambda line: moment(line.start_utc))


def panel_name(plan: PlanDocument, target: str, panel: int) -> str:
    """The target, with its panel where it has several."""
    framed = next((row for row in plan.targets if row.target == target), None)
    count = max(
        framed.panels if framed is not None else 1,
        *(row.panel for row in plan.blocks if row.target == target),
        1,
    )
    return f"{target} panel {panel}" if count > 1 else target


def turn_words(plan: PlanDocument, event: PlanEvent) -> str:
    """Words of a turn of the camera, as `order_of_work.turn_words` has them."""
    return order_of_work.turn_words(plan.model_dump(mode="json"), event.model_dump(mode="json"))


def _setup_line(plan: PlanDocument, first: PlanBlock, clock: NightClock) -> NightLine:
    start, ready = plan.setup[0].start_utc, plan.setup[-1].end_utc
    words = f"set up, ready by {clock.clock(ready)}: {camera_angles(first)}"
    return NightLine(start, "", "", words)


def _alike(plan: PlanDocument, run: Sequence[PlanBlock]) -> list[list[PlanBlock]]:
    """Blocks of one visit in runs of one filter and sub, with no more than a focus run between."""
    stops = [moment(row.start_utc) for row in plan.events if row.kind in ("flip", "turn", "idle")]
    runs: list[list[PlanBlock]] = []
    for row in run:
        last = runs[-1][-1] if runs else None
        if (
            last is not None
            and (last.filter, last.sub_s, last.gain) == (row.filter, row.sub_s, row.gain)
            and not any(moment(last.end_utc) <= stop <= moment(row.start_utc) for stop in stops)
        ):
            runs[-1].append(row)
        else:
            runs.append([row])
    return runs


def _joined(run: Sequence[PlanBlock], level: int) -> str:
    """``Ha 8 × 600 s, OIII 6 × 600 s``; a filter that comes again is summed."""
    sums: dict[tuple[str, float], int] = {}
    for row in run:
        key = (row.filter, row.sub_s)
        sums[key] = sums.get(key, 0) + row.count
    if level > 1:
        return " ".join(dict.fromkeys(name for name, _ in sums))
    return ", ".join(f"{name} {subs(count, sub_s)}" for (name, sub_s), count in sums.items())


def _event_lines(
    plan: PlanDocument, clock: NightClock, blocks: Sequence[PlanBlock]
) -> list[NightLine]:
    from_utc = plan.from_utc
    lines: list[NightLine] = []
    trains = dict.fromkeys(row.train for row in blocks)
    for event in plan.events:
        if from_utc is not None and moment(event.end_utc) <= moment(from_utc):
            continue
        long = minutes_between(event.start_utc, event.end_utc) >= IDLE_SHOWN_MIN
        name = event.target or ""
        if event.kind == "flip":
            words = f"meridian flip{_of(name)}"
        elif event.kind == "turn":
            words = turn_words(plan, event) + (f" for {name}" if name else "")
        elif event.kind == "flats":
            words = f"flats, until {clock.clock(event.end_utc)}"
        elif event.kind == "setup" and name and len(trains) > 1:
            words = f"change the train for {name}"
        elif event.kind == "idle" and long:
            words = f"nothing to shoot until {clock.clock(event.end_utc)}"
        else:
            continue
        lines.append(NightLine(event.start_utc, "", "", words))
    return lines


def _of(name: str) -> str:
    return f", {name}" if name else ""
