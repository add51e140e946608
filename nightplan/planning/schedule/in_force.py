"""The plan document in force (`--keep`) as a schedule of tonight's problem."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from nightplan.dates import DAY_S
from nightplan.errors import InputError
from nightplan.planning.photons.sub_sets import row_set
from nightplan.planning.schedule.blocks import Block, Event, Schedule
from nightplan.planning.schedule.problem import Problem, Task
from nightplan.sky.times import mjd_from_iso

SAME_S = 2.0
"""Times of a document are whole seconds: lengths of two blocks alike differ by less than this."""


@dataclass
class _Tasks:
    """Finds the task of a block; what was shot in other subs than now gets a task of its own, for
    the same row of progress, that nothing new can use."""

    problem: Problem
    now_s: float
    tasks: list[Task] = field(init=False)
    unlike: dict[tuple[int, float, str], int] = field(default_factory=dict)
    left_out: dict[str, dict[str, str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.tasks = list(self.problem.tasks)

    def find(self, row: Mapping[str, Any], train: str, begun: bool) -> int | None:
        """The task's number; None where nothing fits, which is noted."""
        problem = self.problem
        own = [
            (number, task)
            for number, task in enumerate(problem.tasks)
            if problem.pointings[task.pointing].target == row["target"]
        ]
        panel = [
            (number, task)
            for number, task in own
            if problem.pointings[task.pointing].panel == row["panel"]
        ]
        through = [(number, task) for number, task in panel if task.filter == row["filter"]]
        sub_s = float(row["sub_s"])
        fit = [number for number, task in through if task.train == train]
        # Of a filter's two sets that whose length is nearer.
        fit.sort(key=lambda number: abs(math.log(sub_s / problem.tasks[number].sub_s)))
        if fit:
            return self._in_subs_of(fit[0], row) if begun else fit[0]
        if not own:
            why = f"{row['target']} is not planned now"
        elif not panel:
            why = f"{row['target']} has no panel {row['panel']} now"
        elif not through:
            why = f"{row['target']} is not planned through {row['filter']} now"
        else:
            why = f"the train {train} is not planned with now"
        name = f"{row['target']} {row_set(row)}"
        noted = self.left_out.setdefault(why, {})
        words = f"{row['count']} × {row['sub_s']:g} s"
        noted[name] = f"{noted[name]} and {words}" if name in noted else f"{name} {words}"
        return None

    def _in_subs_of(self, number: int, row: Mapping[str, Any]) -> int:
        task = self.tasks[number]
        sub_s, gain = float(row["sub_s"]), str(row.get("gain", task.gain))
        if (sub_s, gain) == (task.sub_s, task.gain):
            return number
        key = (number, sub_s, gain)
        if key not in self.unlike:
            self.unlike[key] = len(self.tasks)
            barred = np.zeros_like(task.usable)
            self.tasks.append(replace(task, sub_s=sub_s, gain=gain, usable=barred))
        return self.unlike[key]

    def notices(self) -> list[str]:
        """One sentence for each reason why a block is not taken over as it stands."""
        found = [
            f"{why}: left out of the plan in force, and not counted where already shot, "
            f"{'is' if len(blocks) == 1 else 'are'} {', '.join(blocks.values())}"
            for why, blocks in self.left_out.items()
        ]
        for (number, sub_s, gain), _ in self.unlike.items():
            task = self.tasks[number]
            target = self.problem.pointings[task.pointing].target
            was = f"subs of {sub_s:g} s" + (f" at gain {gain}" if gain != task.gain else "")
            now = f"{task.sub_s:g} s" + (f" at gain {task.gain}" if gain != task.gain else "")
            found.append(
                f"{target} {task.set_name} was begun in {was} and goes on in {now}: what was shot "
                "counts by its exposure time"
            )
        return found


def take_over(
    problem: Problem, plan: Mapping[str, Any], now_s: float, source: str
) -> tuple[Problem, Schedule, list[str]]:
    """A plan document as a schedule of this problem.

    Parameters
    ----------
    problem : Problem
    plan : mapping
        As `read_plan_document` gives it.
    now_s : float
        When it is left, seconds since the window's start.
    source : str
        What messages call the plan.

    Returns
    -------
    problem : Problem
        With tasks added for what was shot in subs of another length or gain than tonight's.
    schedule : Schedule
        What of the plan fits this problem.
    notices : list of str
        What does not, one sentence for each reason.

    Raises
    ------
    InputError
        Not one of its blocks belongs to a target, filter and train of this problem.
    """
    finder = _Tasks(problem, now_s)
    pointing_of: dict[str, int] = {}
    for i, pointing in enumerate(problem.pointings):
        pointing_of.setdefault(pointing.target, i)
    blocks: list[Block] = []
    for row in plan["blocks"]:
        train = row.get("train", plan["train"])
        start = _seconds(problem, row["start_utc"])
        number = finder.find(row, train, start < now_s)
        if number is None:
            continue
        task = finder.tasks[number]
        near = blocks[-1] if blocks and not blocks[-1].after_meridian else None
        stays = near is not None and near.pointing == task.pointing
        flipped = near is not None and any(
            event["kind"] == "flip" and near.start_s < _seconds(problem, event["start_utc"]) < start
            for event in plan["events"]
        )
        # A mount that tracks past the meridian goes on there until it flips.
        past = start >= problem.pointings[task.pointing].transit_s
        after = past and not (stays and not flipped)
        blocks.append(_block(problem, task, number, row, after))
    if plan["blocks"] and not blocks:
        accepted = (
            "blocks of a target, filter and train that are planned now; name its targets, or "
            f"leave --keep out ({next(iter(finder.left_out))})"
        )
        held = ", ".join(dict.fromkeys(row["target"] for row in plan["blocks"]))
        raise InputError(source, "blocks", held, accepted)
    events = [
        Event(
            row["kind"],
            pointing_of.get(row.get("target") or ""),
            _seconds(problem, row["start_utc"]),
            _seconds(problem, row["end_utc"]),
        )
        for row in plan["events"]
    ]
    grown = replace(problem, tasks=tuple(finder.tasks)) if finder.unlike else problem
    return grown, Schedule(tuple(blocks), tuple(events)), finder.notices()


def _seconds(problem: Problem, utc: str) -> float:
    return (mjd_from_iso(utc) - problem.epoch_utc_mjd) * DAY_S


def _block(problem: Problem, task: Task, number: int, row: Mapping[str, Any], after: bool) -> Block:
    rules, count = problem.overheads, int(row["count"])
    if row["sub_s"] != task.sub_s:
        # Still to come, and its subs have another length now: the same time of them.
        count = max(1, round(count * row["sub_s"] / task.sub_s))
    dithers = (count - 1) // rules.dither_every
    bare_s = count * (task.sub_s + rules.download_s)
    if "end_utc" in row and row["sub_s"] == task.sub_s:
        length = _seconds(problem, row["end_utc"]) - _seconds(problem, row["start_utc"])
        if length < bare_s + SAME_S < bare_s + dithers * rules.dither_s:
            # Shot without dithers, as told to an earlier re-plan.
            dithers = 0
    start_s = _seconds(problem, row["start_utc"])
    return Block(
        task=number,
        pointing=task.pointing,
        start_s=start_s,
        end_s=start_s + bare_s + dithers * rules.dither_s,
        count=count,
        sub_s=task.sub_s,
        dithers=dithers,
        after_meridian=after,
    )
