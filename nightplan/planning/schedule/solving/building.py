"""From placed runs to a schedule, and from a schedule in force back to an order of runs."""

from __future__ import annotations

from typing import Any

import numpy as np

from nightplan.planning.schedule.blocks import Block, Event, Schedule
from nightplan.planning.schedule.problem import Problem
from nightplan.planning.schedule.rules import RigNow, standing_of
from nightplan.planning.schedule.solving.annealing import Order, carry_out, empty_order
from nightplan.planning.schedule.solving.placing import MOST_RUNS, Placed
from nightplan.planning.schedule.solving.tables import Tables, scalars

EPS_S = 1e-6


def order_of(runs: list[tuple[int, int, float]]) -> tuple[Order, int]:
    """An order from (lane, count, wait) of each run; neighbours of one lane are joined."""
    lanes, counts, waits = empty_order()
    size = 0
    for lane, count, wait_s in runs[:MOST_RUNS]:
        if size and lanes[size - 1] == lane and not wait_s:
            counts[size - 1] += count
            continue
        lanes[size], counts[size], waits[size] = lane, count, wait_s
        size += 1
    return (lanes, counts, waits), size


def schedule_of(problem: Problem, tables: Tables, placed: Placed) -> Schedule:
    """Blocks and events of placed runs, with what was kept, filling the window."""
    blocks, events, at = _past(problem)
    rules = problem.rules
    flats = int(scalars(tables)["flats_due"])
    standing = standing_of(problem.state)
    runs, count = int(placed.number[0]), int(placed.number[1])
    for run in range(runs):
        lane = int(placed.lane[run])
        task, side = int(tables.task[lane]), bool(tables.side[lane])
        pointing = problem.tasks[task].pointing
        lead = rules.lead(standing, task, side, max(1, flats.bit_count()))
        if placed.focus[run]:
            lead = [*lead, ("focus", problem.overheads.focus_s)]
        begin = float(placed.start_s[run]) - sum(seconds for _, seconds in lead)
        if begin > at + EPS_S:
            events.append(Event("idle", None, at, begin))
            at = begin
        if any(kind == "flats" for kind, _ in lead):
            flats = 0
        for kind, seconds in lead:
            events.append(Event(kind, pointing, at, at + seconds))
            at += seconds
        own = [k for k in range(count) if placed.block_run[k] == run]
        for block in own:
            start, subs = float(placed.block_start_s[block]), int(placed.block_count[block])
            if block != own[0]:
                events.append(Event("focus", pointing, at, start))
            at = start + rules.run_s(task, subs)
            sub_s = problem.tasks[task].sub_s
            dithers = rules.dithers(subs)
            blocks.append(Block(task, pointing, start, at, subs, sub_s, dithers, side))
        flats |= int(tables.flats_bit[lane])
        standing = RigNow(task, side)
    if problem.overheads.flats_at_end and flats and runs:
        seconds = flats.bit_count() * problem.overheads.flats_s
        events.append(Event("flats", blocks[-1].pointing, at, at + seconds))
        at += seconds
    if problem.window_s > at + EPS_S:
        events.append(Event("idle", None, at, problem.window_s))
    return Schedule(tuple(blocks), tuple(events))


def _past(problem: Problem) -> tuple[list[Block], list[Event], float]:
    """What was kept, or setting up, with idle time between."""
    events: list[Event] = []
    at = 0.0
    past: list[Any] = [*problem.kept]
    past += [event for event in problem.kept_events if event.kind != "idle"]
    if not past and problem.setup_s > 0.0:
        past = [Event("setup", None, 0.0, min(problem.setup_s, problem.window_s))]
    for item in sorted(past, key=lambda item: (item.start_s, item.end_s)):
        if item.start_s > at + EPS_S:
            events.append(Event("idle", None, at, item.start_s))
        if isinstance(item, Event):
            events.append(item)
        at = item.end_s
    return list(problem.kept), events, at


def order_in_force(problem: Problem, tables: Tables, placed: Placed) -> tuple[Order, int]:
    """What is left of the schedule in force, as an order of runs with its waits."""
    left = _left(problem, tables)
    order, size = order_of([(lane, count, 0.0) for lane, count, _ in left])
    if len(left) != size:
        return order, size
    # A start that the plan left free time before is a wish to wait.
    for number, (_, _, start_s) in enumerate(left):
        carry_out(tables, placed, order, size)
        own = np.flatnonzero(placed.wish[: placed.number[0]] == number)
        if own.size:
            order[2][number] = max(0.0, start_s - float(placed.start_s[own[0]]))
    return order, size


def _left(problem: Problem, tables: Tables) -> list[tuple[int, int, float]]:
    """(lane, subs, start) of the runs of the schedule in force that are still to come."""
    assert problem.previous is not None
    lane_of = {
        (int(task), bool(side)): number
        for number, (task, side) in enumerate(zip(tables.task, tables.side, strict=True))
    }
    shot = {block.start_s: block.count for block in problem.kept}
    runs: list[tuple[int, int, float]] = []
    ended = 0.0
    for block in problem.previous.blocks:
        lane = lane_of.get((block.task, block.after_meridian))
        starts = problem.sub_starts_s(block.task, block.start_s, block.count)
        ahead = int((starts >= problem.now_s - 1.0).sum())
        count = min(block.count - shot.get(block.start_s, 0), ahead)
        if lane is None or count <= 0:
            continue
        parted = any(
            event.kind != "focus" and ended - EPS_S <= event.start_s < block.start_s
            for event in problem.previous.events
        )
        ended = block.end_s
        if runs and runs[-1][0] == lane and not parted:
            runs[-1] = (lane, runs[-1][1] + count, runs[-1][2])
        else:
            start = block.start_s if count == block.count else problem.now_s
            runs.append((lane, count, start))
    return runs
