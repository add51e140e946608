"""If clouds end the night half way, what is there can be used: luminance and colours, not one
alone (common practice, no source)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from nightplan.planning.schedule.problem import ChangeCosts, Overheads, Problem
from nightplan.planning.schedule.solver import solve
from nightplan.planning.schedule.solving import search
from nightplan.planning.schedule.solving.search import Effort
from nightplan.planning.value.curve import ValueCurve

EFFORT = Effort(tries=200_000, seeds=3, steps_s=(60.0,), paths=(20,))
WANTED_H = {"L": 4.0, "R": 1.5, "G": 1.5, "B": 1.5}


@pytest.fixture
def night(invented_night) -> Problem:
    """A galaxy high up all of a moonless night: no filter has a better hour than another."""
    problem = invented_night(targets=1, filters=4, hours=8.0, seed=3, overheads=Overheads())
    falls = 1.0 - 0.004 * np.arange(problem.grid_s.size) / problem.grid_s.size
    tasks, curves = [], []
    for task, (name, hours) in zip(problem.tasks, WANTED_H.items(), strict=True):
        usable = np.ones_like(task.usable)
        tasks.append(
            replace(task, filter=name, sub_s=120.0, goal_h=hours, worth=falls, usable=usable)
        )
        curves.append(ValueCurve.from_slopes(0.0, [hours, hours], [1.0, 0.05]))
    pointing = replace(problem.pointings[0], transit_s=-9e4, new_angle=False)
    return replace(
        problem, tasks=tuple(tasks), curves=tuple(curves), pointings=(pointing,),
        change_costs=ChangeCosts(0.002, 0.004, 0.003),
    )  # fmt: skip


def hours_by(problem: Problem, solution, cut_s: float) -> dict[str, float]:
    """Clock hours of each filter that are over by a time."""
    found = dict.fromkeys(WANTED_H, 0.0)
    for block in solution.schedule.blocks:
        starts = problem.sub_starts_s(block.task, block.start_s, block.count)
        ended = int((starts + block.sub_s <= cut_s).sum())
        found[problem.tasks[block.task].filter] += ended * block.sub_s / 3600.0
    return found


def test_half_a_night_holds_luminance_and_two_colours(night: Problem) -> None:
    solution = solve(night, effort=EFFORT)
    half = hours_by(night, solution, 4.0 * 3600.0)
    assert half["L"] >= 1.0
    assert sum(half[name] > 0.0 for name in "RGB") >= 2
    # Luminance first: a quarter of the night of it shows the galaxy, of one colour it does not.
    assert hours_by(night, solution, 2.0 * 3600.0)["L"] > 0.0


def test_it_loses_no_more_than_it_may(night: Problem, monkeypatch: pytest.MonkeyPatch) -> None:
    sturdy = solve(night, effort=EFFORT)
    monkeypatch.setattr(search.Search, "make_sturdy", lambda self: None)
    best = solve(night, effort=EFFORT)
    assert sturdy.objective >= best.objective * (1.0 - search.STURDY_SHARE) - 1e-9
    assert sturdy.schedule != best.schedule
