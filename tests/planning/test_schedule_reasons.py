"""Reasons say what the numbers say: each is recomputed here from the worth itself."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from nightplan.planning.schedule.blocks import Block, Schedule
from nightplan.planning.schedule.problem import Problem
from nightplan.planning.schedule.reasons import reasons


def _two_filters(invented_night, first, second) -> Problem:
    """One target, two filters whose worth runs linearly between the given ends over 4 h."""
    problem = invented_night(targets=1, filters=2, hours=4.0, seed=2)
    tasks = tuple(
        replace(
            task,
            worth=np.interp(problem.grid_s, [0.0, 4 * 3600.0], ends),
            usable=np.ones(problem.grid_s.size, dtype=bool),
        )
        for task, ends in zip(problem.tasks, (first, second), strict=True)
    )
    return replace(problem, tasks=tasks, setup_s=0.0)


def _block(problem: Problem, task: int, start_s: float, count: int) -> Block:
    length = problem.run_s(task, count)
    item = problem.tasks[task]
    return Block(task, item.pointing, start_s, start_s + length, count, item.sub_s, 0)


def test_a_falling_filter_first_says_what_the_end_of_the_night_would_cost(invented_night):
    problem = _two_filters(invented_night, (0.93, 0.53), (0.70, 0.70))
    early = _block(problem, 0, 0.0, 10)
    late = _block(problem, 1, 4 * 3600.0 - 3600.0, 10)
    said, other = reasons(problem, Schedule((early, late), ()))
    here = 0.93 - 0.4 * 0.5 * early.end_s / (4 * 3600.0)
    efficiencies = said[said.index("efficiency") :]
    numbers = [float(text) / 100.0 for text in re.findall(r"(\d+) %", efficiencies)]
    assert numbers[0] == pytest.approx(here, abs=0.006)
    # The worst alternative of the same length ends with the night, to a quarter hour.
    end = 0.53 + 0.4 * 0.5 * early.end_s / (4 * 3600.0)
    assert end - 0.006 <= numbers[1] <= end + 0.4 * 900.0 / (4 * 3600.0) + 0.006
    assert "at its best now" in said
    swap = float(re.search(r"would lose (\d+) %", said).group(1))  # type: ignore[union-attr]
    at_late = np.interp(0.5 * (late.start_s + late.end_s), [0, 4 * 3600.0], [0.93, 0.53])
    assert swap == pytest.approx(100 * (here - at_late) / (here + 0.70), abs=1.5)
    assert "R" in said
    assert "at its best" not in other


def test_the_reason_turns_with_the_worth(invented_night):
    rising = _two_filters(invented_night, (0.53, 0.93), (0.70, 0.70))
    schedule = Schedule((_block(rising, 0, 0.0, 10),), ())
    (said,) = reasons(rising, schedule)
    assert "others gain more from that time" in said
    assert "at its best" not in said


def test_moon_and_altitude_are_named_only_where_the_problem_carries_them(invented_night):
    problem = _two_filters(invented_night, (0.93, 0.53), (0.70, 0.70))
    schedule = Schedule((_block(problem, 0, 0.0, 10),), ())
    (bare,) = reasons(problem, schedule)
    assert "altitude" not in bare
    assert "moon" not in bare
    told = replace(
        problem,
        altitude_deg=np.full((1, problem.grid_s.size), 63.0),
        moon_altitude_deg=np.where(problem.grid_s > 7200.0, 20.0, -10.0),
    )
    (full,) = reasons(told, schedule)
    assert "63° altitude" in full
    assert "moon down" in full


def test_a_barred_filter_is_named(invented_night):
    problem = _two_filters(invented_night, (0.80, 0.80), (0.90, 0.90))
    first, second = problem.tasks
    barred = replace(second, usable=problem.grid_s > 2 * 3600.0)
    problem = replace(problem, tasks=(first, barred))
    (said,) = reasons(problem, Schedule((_block(problem, 0, 0.0, 10),), ()))
    assert "R cannot be used at this time" in said
