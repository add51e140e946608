"""The night's train, once it is known what is shot."""

from __future__ import annotations

from dataclasses import replace

from nightplan.planning.choosing.train_choice import NightTrain
from nightplan.planning.schedule.problem import Problem
from nightplan.planning.schedule.schedule import Schedule


def as_scheduled(chosen: NightTrain, problem: Problem, schedule: Schedule) -> NightTrain:
    """The night's train once it is known what is shot: the one that the night begins with."""
    used = list(dict.fromkeys(problem.tasks[block.task].train for block in schedule.blocks))
    if not used:
        return chosen
    if len({task.train for task in problem.tasks}) == 1:
        return replace(chosen, train=used[0])
    shot = {train: dict.fromkeys(
        problem.pointings[block.pointing].target
        for block in schedule.blocks
        if problem.tasks[block.task].train == train
    ) for train in used}  # fmt: skip
    told = ", then ".join(f"{train} for {' and '.join(shot[train])}" for train in used)
    if len(used) == 1:
        others = [name for name in problem.targets if name not in shot[used[0]]]
        told += f"; {', '.join(others)} of another train gets no time tonight"
    return replace(chosen, train=used[0], reason=f"{told}. {chosen.reason}")
