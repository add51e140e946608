"""A problem as plain arrays, as the compiled search and bound read it.

A *lane* is a task on one side of the pier that has time tonight. All rules come from
`NightRules`; the arrays hold what they say of each lane and each pair of lanes. The last line of
each pair's array is how the rig stands before the first run.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from nightplan.planning.schedule.blocks import Block
from nightplan.planning.schedule.problem import FloatArray, IntArray, Problem, Task
from nightplan.planning.schedule.rules import PAUSE_S, RigNow, crossing_s, standing_of
from nightplan.planning.schedule.schedule import block_hours, count_changes

WORTH_STEP_S = 10.0
"""Spacing of the integral of worth; between, worth counts as constant, which is off by less than
0.01 s a sub where it changes by 1 % a minute."""
MOST_FLATS = 62
"""Kinds of flats (train, angle, filter) that one 64-bit set can hold; more are not charged."""


class Tables(NamedTuple):
    """Arrays by lane, unless said otherwise; seconds since the window's start.

    Attributes
    ----------
    task, side, target, pointing, kind, sibling : int arrays
        `side` 1 is after the meridian; `kind` numbers filters through a train; `sibling` is the
        lane of the other side, or -1.
    feeds : int array
        How many goals its subs bring hours to.
    row, feed : int arrays (lane, place)
        Of each of them the row of progress, and the line of `worth`; -1 pads.
    sub, transit, shortest : float arrays
        `shortest` is the length of the shortest run.
    most : int array
        Most subs of a run.
    offset : (lane, sub)
        Start of each sub after its block's start.
    flats_bit : int array
        The kind of flats that subs of the lane owe, as one bit; 0 for none.
    new_angle : float array
        What the lane's camera angle costs unless its target has paid.
    low, high : (lane, span)
        Spans that runs may lie in; low = inf pads.
    lead, flats_more, cross, cost : (lane + 1, lane)
        Seconds of the lead without a focus run for the clock's sake, seconds for each further
        kind of flats, seconds from its first move to its end (-1: none), change cost.
    focuses, anew, allowed : bool (lane + 1, lane)
    worth : (feed, time)
        Integral of worth at `WORTH_STEP_S` steps, equivalent hours.
    gain : (feed, time)
        Equivalent hours of a sub that begins at each step.
    bend : (feed,)
        Most change of worth per second while usable, 1/s.
    at_h, value : (row, point)
        Value curves beyond what is had, both 0 at the first point, padded with their last.
    angle_cost : (target,)
    scalar : float array
        See the properties below.
    """

    task: IntArray
    side: IntArray
    feeds: IntArray
    row: IntArray
    feed: IntArray
    target: IntArray
    pointing: IntArray
    kind: IntArray
    sibling: IntArray
    sub: FloatArray
    transit: FloatArray
    shortest: FloatArray
    most: IntArray
    offset: FloatArray
    flats_bit: IntArray
    new_angle: FloatArray
    low: FloatArray
    high: FloatArray
    lead: FloatArray
    flats_more: FloatArray
    cross: FloatArray
    cost: FloatArray
    focuses: Any
    anew: Any
    allowed: Any
    worth: FloatArray
    gain: FloatArray
    bend: FloatArray
    at_h: FloatArray
    value: FloatArray
    angle_cost: FloatArray
    scalar: FloatArray


SCALARS = (
    "start", "end", "last_focus", "focus", "focus_every", "download", "pause", "longest",
    "flats_end", "flats_due", "begun_lane", "begun", "worth_step", "had",
)  # fmt: skip
"""Names of `Tables.scalar`: what a run of `begun_lane` that goes on has lasted is `begun`; `had`
is the objective if nothing more is shot."""


def scalars(tables: Tables) -> dict[str, float]:
    """`Tables.scalar` by name."""
    return dict(zip(SCALARS, tables.scalar.tolist(), strict=True))


def begun_s(problem: Problem) -> tuple[tuple[int, bool] | None, float]:
    """The task and side that the rig can simply go on with, and how long that run has lasted."""
    state = problem.state
    if state is None or state.task is None:
        return None, 0.0
    key = (state.task, state.after_meridian)
    begun = problem.start_s
    for block in reversed(problem.kept):
        gap = begun - block.end_s
        other = (block.task, block.after_meridian) != key
        if other or gap > problem.overheads.focus_s + 2.0:
            break
        if any(
            event.kind not in ("focus", "idle") and block.end_s - 1.0 <= event.start_s < begun
            for event in problem.kept_events
        ):
            break
        begun = block.start_s
    lasted = problem.start_s - begun
    return key, lasted + problem.dither_due_s if lasted > 0.0 else 0.0


def tables_of(problem: Problem) -> Tables:
    """Everything that search and bound need of a problem."""
    rules, overheads = problem.rules, problem.overheads
    lanes, spans = _lanes(problem)
    size = len(lanes)
    tasks = [problem.tasks[task] for task, _ in lanes]
    index = {lane: number for number, lane in enumerate(lanes)}
    room_s = max(0.0, problem.end_s - problem.start_s)
    longest_s = min(problem.longest_block_s, room_s)
    most = [
        problem.left_of_set(number)
        if task.short
        else max(1, int(longest_s // (task.sub_s + overheads.download_s)))
        for (number, _), task in zip(lanes, tasks, strict=True)
    ]
    offset = np.full((size, max(most, default=1)), math.inf)
    for number, (task, _) in enumerate(lanes):
        offset[number, : most[number]] = rules.sub_offsets_s(task, most[number])
    width = max((len(own) for own in spans), default=1)
    low, high = np.full((size, width), math.inf), np.full((size, width), -math.inf)
    for number, own in enumerate(spans):
        low[number, : len(own)] = [a for a, _ in own]
        high[number, : len(own)] = [b for _, b in own]
    bits = _flats_bits(problem)
    kinds = list(dict.fromkeys((task.train, task.filter) for task in tasks))
    pairs = _pairs(problem, lanes)
    key, lasted_s = begun_s(problem)
    number_of = {name: number for number, name in enumerate(problem.targets)}
    at_h, value, angle_cost, had = _values(problem)
    paid = {problem.pointings[b.pointing].target for b in problem.kept
            if problem.pointings[b.pointing].new_angle}  # fmt: skip
    times = np.arange(problem.start_s, problem.end_s + 2.0 * WORTH_STEP_S, WORTH_STEP_S)
    lines = [(task, feed.worth) for task in problem.tasks for feed in task.feeds]
    worth = np.array([_integral(problem, task, own, times) for task, own in lines])
    ends = np.array([_integral(problem, task, own, times + task.sub_s) for task, own in lines])
    gain = np.ascontiguousarray((ends - worth).reshape(len(lines), -1)) / 3600.0
    feeds, row, feed = _feeds(problem, lanes)
    scalar = {
        "start": problem.start_s, "end": problem.end_s, "last_focus": problem.last_focus_s,
        "focus": overheads.focus_s, "focus_every": overheads.focus_every_s,
        "download": overheads.download_s, "pause": PAUSE_S, "longest": problem.longest_block_s,
        "flats_end": overheads.flats_s if overheads.flats_at_end else 0.0,
        "flats_due": float(_flats_due(problem, bits)), "worth_step": WORTH_STEP_S, "had": had,
        "begun_lane": float(-1 if key is None else index.get(key, -1)), "begun": lasted_s,
    }  # fmt: skip
    transit = [
        problem.pointings[task.pointing].transit_s if overheads.flips else math.inf
        for task in tasks
    ]
    return Tables(
        task=np.array([task for task, _ in lanes], dtype=np.int64),
        side=np.array([side for _, side in lanes], dtype=np.int64),
        feeds=feeds,
        row=row,
        feed=feed,
        target=np.array(
            [number_of[problem.pointings[task.pointing].target] for task in tasks], dtype=np.int64
        ),
        pointing=np.array([task.pointing for task in tasks], dtype=np.int64),
        kind=np.array([kinds.index((task.train, task.filter)) for task in tasks], dtype=np.int64),
        sibling=np.array([index.get((t, not side), -1) for t, side in lanes], dtype=np.int64),
        sub=np.array([task.sub_s for task in tasks]),
        transit=np.array(transit, dtype=float),
        shortest=np.array([problem.shortest_s[task] for task, _ in lanes], dtype=float),
        most=np.array(most, dtype=np.int64),
        offset=offset,
        flats_bit=np.array([bits[task] for task, _ in lanes], dtype=np.int64),
        new_angle=np.array(
            [
                problem.change_costs.new_angle if one.new_angle and one.target not in paid else 0.0
                for one in (problem.pointings[task.pointing] for task in tasks)
            ]
        ),
        low=low,
        high=high,
        **pairs,
        worth=np.ascontiguousarray(worth.reshape(len(lines), -1)) / 3600.0,
        gain=gain,
        bend=np.array([_bend(problem, task, own) for task, own in lines]),
        at_h=at_h,
        value=value,
        angle_cost=angle_cost,
        scalar=np.array([scalar[name] for name in SCALARS]),
    )


def _lanes(problem: Problem) -> tuple[list[tuple[int, bool]], list[list[tuple[float, float]]]]:
    """Lanes with spans that hold at least one sub."""
    lanes, spans = [], []
    for number, task in enumerate(problem.tasks):
        least_s = task.sub_s + problem.overheads.download_s
        for side in (False, True):
            own = [s for s in problem.lane_intervals(number, side) if s[1] - s[0] >= least_s]
            if own:
                lanes.append((number, side))
                spans.append(own)
    return lanes, spans


def _feeds(problem: Problem, lanes: list[tuple[int, bool]]) -> tuple[IntArray, IntArray, IntArray]:
    """`Tables.feeds`, `Tables.row` and `Tables.feed`."""
    many = [len(task.feeds) for task in problem.tasks]
    first = np.concatenate([[0], np.cumsum(many)]).astype(np.int64)
    row, feed = (np.full((len(lanes), max(many, default=1)), -1, dtype=np.int64) for _ in range(2))
    for number, (task, _) in enumerate(lanes):
        row[number, : many[task]] = problem.rows_of_task[task]
        feed[number, : many[task]] = np.arange(first[task], first[task + 1])
    return np.array([many[task] for task, _ in lanes], dtype=np.int64), row, feed


def _pairs(problem: Problem, lanes: list[tuple[int, bool]]) -> dict[str, Any]:
    """What lies between each two lanes; runs of one lane are parted by a pause."""
    rules, size = problem.rules, len(lanes)
    found: dict[str, Any] = {
        name: np.zeros((size + 1, size)) for name in ("lead", "flats_more", "cross", "cost")
    }
    found |= {
        name: np.zeros((size + 1, size), dtype=bool) for name in ("focuses", "anew", "allowed")
    }
    stands: list[RigNow | None] = [RigNow(task, side) for task, side in lanes]
    stands.append(standing_of(problem.state))
    last = problem.kept[-1] if problem.kept else None
    for before, standing in enumerate(stands):
        for number, (task, side) in enumerate(lanes):
            at = before, number
            steps = rules.lead(standing, task, side)
            found["lead"][at] = sum(seconds for _, seconds in steps)
            if before == number:
                found["lead"][at] += PAUSE_S
            found["flats_more"][at] = sum(s for kind, s in steps if kind == "flats")
            found["cross"][at] = crossing_s(steps)
            found["focuses"][at] = rules.focuses(standing, task, side)
            found["anew"][at] = rules.reached_anew(standing, task)
            found["allowed"][at] = _allowed(problem, standing, task, side)
            old = last if before == size else _block(problem, lanes[before][0])
            if old is not None:
                pair = count_changes(problem, (old, _block(problem, task)))
                pair["new_angle"] = 0
                found["cost"][at] = _cost(problem, pair)
    return found


def _allowed(problem: Problem, standing: RigNow | None, task: int, side: bool) -> bool:
    if standing is None or standing.task is None:
        return True
    old, new = problem.tasks[standing.task], problem.tasks[task]
    if old.train != new.train and problem.overheads.train_change_s is None:
        return False
    # Of one field there is no way back over the meridian.
    same = old.pointing == new.pointing and standing.on_field
    return not (same and standing.after_meridian and not side)


def _block(problem: Problem, task: int) -> Block:
    return Block(task, problem.tasks[task].pointing, 0.0, 0.0, 1, problem.tasks[task].sub_s, 0)


def _cost(problem: Problem, changes: dict[str, int]) -> float:
    costs = problem.change_costs
    return float(sum(count * getattr(costs, name) for name, count in changes.items()))


def _flats_bits(problem: Problem) -> list[int]:
    """The kind of flats that each task owes, as one bit."""
    kinds: dict[tuple[str, int, str], int] = {}
    bits = []
    for number, task in enumerate(problem.tasks):
        if not problem.rules.owes_flats(number):
            bits.append(0)
            continue
        angle = round(problem.pointings[task.pointing].position_angle_deg)
        kind = kinds.setdefault((task.train, angle % 180, task.filter), len(kinds))
        bits.append(1 << kind if kind < MOST_FLATS else 0)
    return bits


def _flats_due(problem: Problem, bits: list[int]) -> int:
    """Kinds of flats that the blocks kept owe still."""
    done_s = max((e.end_s for e in problem.kept_events if e.kind == "flats"), default=-math.inf)
    due = 0
    for block in problem.kept:
        if block.start_s >= done_s:
            due |= bits[block.task]
    return due


def _usable_worth(problem: Problem, task: Task, worth: FloatArray) -> FloatArray:
    """A task's worth on the grid as if it went on evenly outside its limits: a step of the table
    that holds their edge must not be off by what lies beyond."""
    grid = problem.grid_s
    if not task.usable.any():
        return np.zeros_like(grid)
    return np.interp(grid, grid[task.usable], worth[task.usable])


def _integral(problem: Problem, task: Task, own: FloatArray, times: FloatArray) -> FloatArray:
    """Integral of `_usable_worth`, equivalent seconds."""
    grid, worth = problem.grid_s, _usable_worth(problem, task, own)
    pieces = 0.5 * (worth[1:] + worth[:-1]) * np.diff(grid)
    until = np.concatenate([[0.0], np.cumsum(pieces)])
    at = np.clip(np.searchsorted(grid, times, side="right") - 1, 0, grid.size - 1)
    total: FloatArray = until[at] + 0.5 * (worth[at] + np.interp(times, grid, worth)) * (
        times - grid[at]
    )
    return total


def _bend(problem: Problem, task: Task, own: FloatArray) -> float:
    """Most change of `_usable_worth` per second."""
    steps = np.diff(_usable_worth(problem, task, own)) / np.diff(problem.grid_s)
    return float(np.max(np.abs(steps), initial=0.0))


def _values(problem: Problem) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Curves beyond what is had, cost of a new angle by target, objective of what is had."""
    keys = problem.row_keys
    angle = np.zeros(len(problem.targets))
    for number, name in enumerate(problem.targets):
        # Where some field of a target owes no flats, the bound may not count on any.
        if all(pointing.new_angle for pointing in problem.pointings if pointing.target == name):
            angle[number] = problem.change_costs.new_angle
    kept = np.zeros(len(keys))
    for block in problem.kept:
        kept[list(problem.rows_of_task[block.task])] += block_hours(problem, block)
        pointing = problem.pointings[block.pointing]
        if pointing.new_angle:
            angle[problem.targets.index(pointing.target)] = 0.0
    had = -_cost(problem, count_changes(problem, problem.kept))
    size = max((len(curve.hours_h) for curve in problem.curves), default=2)
    at, value = np.zeros((len(keys), size)), np.zeros((len(keys), size))
    for row, curve in enumerate(problem.curves):
        begun = curve.gathered_h + kept[row]
        beyond = [hour for hour in curve.hours_h if hour > begun]
        worth = curve.at(np.array([begun, *beyond]))
        had += float(worth[0])
        fill = (0, size - 1 - len(beyond))
        at[row] = np.pad(np.array([0.0, *(hour - begun for hour in beyond)]), fill, mode="edge")
        value[row] = np.pad(worth - worth[0], fill, mode="edge")
    return at, value, angle, had
