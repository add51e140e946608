"""A schedule: blocks of whole subs, what lies between them, the ledger, and what it is worth."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import get_args

import numpy as np

from nightplan.planning.schedule.blocks import Block, Event, EventKind, Schedule
from nightplan.planning.schedule.problem import HOUR_S, Feed, FloatArray, Problem, Task
from nightplan.planning.value.curve import ValueCurve

__all__ = [
    "LEDGER_KINDS",
    "Block",
    "Event",
    "Objective",
    "Progress",
    "Schedule",
    "block_hours",
    "count_changes",
    "empty_schedule",
    "evaluate",
    "ledger_min",
    "progress",
    "share_of_goal",
]

LEDGER_KINDS = ("exposure", "download", "dither", *get_args(EventKind))


@dataclass(frozen=True)
class Progress:
    """How far one goal of one panel has come; hours are equivalent but for the clock's.

    `filter` is the goal's name: that of its filter, where this brings hours to no other goal.
    `through` names the filters whose subs bring it hours. A `short` set's goal has a row of its
    own; `sub_s` is the length of its subs.
    """

    target: str
    panel: int
    filter: str
    through: tuple[str, ...]
    short: bool
    sub_s: float
    priority: float
    goal_h: float
    gathered_h: float
    tonight_h: float
    tonight_clock_h: float
    curve: ValueCurve

    @property
    def share(self) -> float:
        """Share of the goal, 0 to 1."""
        return share_of_goal(self.gathered_h + self.tonight_h, self.goal_h)


@dataclass(frozen=True)
class Objective:
    """What a schedule is worth: value of the progress, less what changes cost."""

    value: float
    utility: float
    change_cost: float
    change_cost_parts: dict[str, float] = field(default_factory=dict)
    changes: dict[str, int] = field(default_factory=dict)
    progress: tuple[Progress, ...] = ()


def share_of_goal(hours: float, goal_h: float) -> float:
    """p = equivalent hours / goal, at most 1; a goal of nothing is reached."""
    return 1.0 if goal_h <= 0.0 else min(1.0, max(0.0, hours / goal_h))


def block_hours(problem: Problem, block: Block) -> FloatArray:
    """Equivalent hours that a block brings each goal of its task, array (feed,): its worth
    integrated while the shutter is open."""
    if block.count == 0:
        return np.zeros(len(problem.tasks[block.task].feeds))
    starts = problem.sub_starts_s(block.task, block.start_s, block.count)
    if not block.dithers:
        # What was really shot may have gone without them.
        starts[1:] = starts[0] + np.arange(1, block.count) * (
            block.sub_s + problem.overheads.download_s
        )
    until = problem.worth_until(block.task, np.concatenate([starts, starts + block.sub_s]))
    hours: FloatArray = np.sum(until[:, block.count :] - until[:, : block.count], axis=1) / HOUR_S
    return hours


def progress(problem: Problem, schedule: Schedule) -> tuple[Progress, ...]:
    """Progress of every row (target, panel, goal), in the problem's order."""
    tonight = np.zeros(len(problem.row_keys))
    clock = np.zeros(len(problem.row_keys))
    for block in schedule.blocks:
        fed = list(problem.rows_of_task[block.task])
        tonight[fed] += block_hours(problem, block)
        clock[fed] += block.count * block.sub_s / HOUR_S
    feeding: dict[int, list[tuple[Task, Feed]]] = {}
    for task, fed_rows in zip(problem.tasks, problem.rows_of_task, strict=True):
        for row, feed in zip(fed_rows, task.feeds, strict=True):
            feeding.setdefault(row, []).append((task, feed))
    rows = []
    for row, (target, panel, goal) in enumerate(problem.row_keys):
        task, feed = feeding[row][0]
        rows.append(
            Progress(
                target=target,
                panel=panel,
                filter=task.filter if task.short else goal,
                through=tuple(dict.fromkeys(one.filter for one, _ in feeding[row])),
                short=task.short,
                sub_s=task.sub_s,
                priority=problem.pointings[task.pointing].priority,
                goal_h=feed.goal_h,
                gathered_h=feed.gathered_h,
                tonight_h=float(tonight[row]),
                tonight_clock_h=float(clock[row]),
                curve=problem.curves[row],
            )
        )
    return tuple(rows)


def count_changes(problem: Problem, blocks: tuple[Block, ...]) -> dict[str, int]:
    """Changes of filter, target and train from block to block, and new camera angles used."""
    changes = {"filter_change": 0, "target_change": 0, "new_angle": 0, "train_change": 0}
    for before, after in itertools.pairwise(blocks):
        old, new = problem.tasks[before.task], problem.tasks[after.task]
        changes["filter_change"] += old.filter != new.filter
        changes["train_change"] += old.train != new.train
        changes["target_change"] += (
            problem.pointings[old.pointing].target != problem.pointings[new.pointing].target
        )
    pointings = (problem.pointings[block.pointing] for block in blocks)
    changes["new_angle"] = len({pointing.target for pointing in pointings if pointing.new_angle})
    return changes


def evaluate(problem: Problem, schedule: Schedule) -> Objective:
    """The objective of a schedule: value less the cost of changes, part by part."""
    rows = progress(problem, schedule)
    changes = count_changes(problem, schedule.blocks)
    costs = problem.change_costs
    parts = {
        "filter_change": changes["filter_change"] * costs.filter_change,
        "target_change": changes["target_change"] * costs.target_change,
        "new_angle": changes["new_angle"] * costs.new_angle,
        "train_change": changes["train_change"] * costs.train_change,
    }
    gained = sum(float(row.curve.gain(row.tonight_h)) for row in rows)
    cost = sum(parts.values())
    return Objective(gained - cost, gained, cost, parts, changes, rows)


def ledger_min(problem: Problem, schedule: Schedule) -> dict[str, float]:
    """Minutes of the window by kind, each of `LEDGER_KINDS`; they sum to the window."""
    seconds = dict.fromkeys(LEDGER_KINDS, 0.0)
    for block in schedule.blocks:
        seconds["exposure"] += block.count * block.sub_s
        seconds["download"] += block.count * problem.overheads.download_s
        seconds["dither"] += block.dithers * problem.overheads.dither_s
    for event in schedule.events:
        if event.kind != "idle":
            seconds[event.kind] += event.end_s - event.start_s
    # What is left is idle; `schedule_check` compares it with the idle events.
    seconds["idle"] = problem.window_s - sum(seconds.values())
    if abs(seconds["idle"]) < 1e-6:
        seconds["idle"] = 0.0
    return {kind: value / 60.0 for kind, value in seconds.items()}


def empty_schedule(problem: Problem) -> Schedule:
    """Set up, then nothing: feasible whatever the wishes are."""
    events: list[Event] = []
    setup = min(max(0.0, problem.setup_s), problem.window_s)
    if setup > 0.0:
        events.append(Event("setup", None, 0.0, setup))
    if problem.window_s > setup:
        events.append(Event("idle", None, setup, problem.window_s))
    return Schedule((), tuple(events))
