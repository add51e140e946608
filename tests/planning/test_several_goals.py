"""Subs that bring hours to several goals at once: every order tried, valued here by own sums."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from nightplan.planning.schedule.check import violations
from nightplan.planning.schedule.problem import (
    ChangeCosts,
    Feed,
    Overheads,
    Pointing,
    Problem,
    Task,
)
from nightplan.planning.schedule.schedule import Schedule
from nightplan.planning.schedule.solver import solve
from nightplan.planning.schedule.solving.resume import resume
from nightplan.planning.schedule.solving.search import Effort
from nightplan.planning.value.curve import ValueCurve

EFFORTS = (
    Effort(tries=40_000, seeds=2, steps_s=(60.0,), paths=(40,)),
    Effort(tries=40_000, seeds=2, steps_s=(60.0, 5.0), paths=(40, 40)),
)
SUB_S, DOWNLOAD_S, CHANGE_S, SETUP_S, WINDOW_S = 590.0, 10.0, 120.0, 300.0, 2.0 * 3600.0
CHANGE_COST = 0.02
GRID_S = np.arange(0.0, WINDOW_S + 301.0, 300.0)


def night(seed: int) -> Problem:
    """A colour camera on one target: a sub through `colour` feeds three goals, through `duo` two,
    one of which `Ha` feeds as well; invented worth."""
    rng = np.random.default_rng(seed)

    def feed(goal: str) -> Feed:
        hill = np.exp(-0.5 * ((GRID_S - rng.uniform(0.0, WINDOW_S)) / 5000.0) ** 2)
        return Feed(goal, rng.uniform(0.4, 1.0) * hill, float(rng.uniform(0.3, 1.2)))

    def task(name: str, first: Feed, *further: Feed) -> Task:
        return Task(
            pointing=0, filter=name, train="flattener", gain="low", sub_s=SUB_S,
            worth=first.worth, usable=GRID_S <= WINDOW_S, goal_h=first.goal_h, goal=first.goal,
            further=further, focus_offset_known=True,
        )  # fmt: skip

    oxygen = feed("O III")
    tasks = (
        task("colour", feed("red"), feed("green"), feed("blue")),
        task("duo", feed("H-alpha"), oxygen),
        task("O3", replace(oxygen, worth=1.1 * oxygen.worth)),
    )
    curves = []
    for one in (*tasks[0].feeds, *tasks[1].feeds):
        slopes = np.sort(rng.uniform(0.1, 1.0, 3))[::-1]
        curves.append(ValueCurve.from_slopes(0.0, [one.goal_h / 3.0] * 3, slopes.tolist()))
    return Problem(
        epoch_utc_mjd=60_000.0, window_s=WINDOW_S, setup_s=SETUP_S, latest_end_s=WINDOW_S,
        grid_s=GRID_S, tasks=tasks, curves=tuple(curves),
        pointings=(Pointing("T", 1, 10.0, 20.0, 0.0, None, np.inf),),
        overheads=Overheads(
            download_s=DOWNLOAD_S, dither_every=99, dither_s=0.0, focus_every_s=1e6,
            filter_change_s=CHANGE_S, use_filter_offsets=True, offset_move_s=0.0, flips=False,
        ),
        change_costs=ChangeCosts(filter_change=CHANGE_COST),
    )  # fmt: skip


Known = dict[tuple[int, float], dict[str, float]]


def own_hours(problem: Problem, task: int, start: float) -> dict[str, float]:
    """Equivalent hours of one sub by goal: a sum second by second."""
    middle, item = start + np.arange(0.5, SUB_S), problem.tasks[task]
    return {
        goal: float(np.interp(middle, GRID_S, worth).sum()) / 3600.0
        for goal, worth in ((item.goal, item.worth), *((f.goal, f.worth) for f in item.further))
    }


def own_value(problem: Problem, subs: list[tuple[int, float]], known: Known | None = None) -> float:
    """Objective of (task, start) of each sub, by straight lines between the curves' points."""
    hours: dict[str, float] = {}
    known = {} if known is None else known
    for sub in subs:
        if sub not in known:
            known[sub] = own_hours(problem, *sub)
        for goal, brought in known[sub].items():
            hours[goal] = hours.get(goal, 0.0) + brought
    value = 0.0
    for (_, _, goal), curve in zip(problem.row_keys, problem.curves, strict=True):
        value += float(np.interp(hours.get(goal, 0.0), curve.hours_h, curve.value))
    changed = sum(a[0] != b[0] for a, b in itertools.pairwise(subs))
    return value - CHANGE_COST * changed


def best_by_trying(problem: Problem) -> float:
    """Every order of subs, each as early as may be: waiting never pays for long here, so that
    this is a value that can be reached, and at most the best."""
    known: Known = {}
    best = 0.0
    stack: list[tuple[list[Any], float]] = [([], SETUP_S)]
    while stack:
        subs, at = stack.pop()
        for task in range(len(problem.tasks)):
            start = at + (CHANGE_S if subs and subs[-1][0] != task else 0.0)
            if start + SUB_S + DOWNLOAD_S <= WINDOW_S:
                longer = [*subs, (task, start)]
                best = max(best, own_value(problem, longer, known))
                # Orders with many changes only lose minutes and cost.
                if sum(a[0] != b[0] for a, b in itertools.pairwise(longer)) <= 2:
                    stack.append((longer, start + SUB_S + DOWNLOAD_S))
    return best


def subs_of(problem: Problem, schedule: Schedule) -> list[tuple[int, float]]:
    return [
        (block.task, float(start))
        for block in schedule.blocks
        for start in block.start_s + (SUB_S + DOWNLOAD_S) * np.arange(block.count)
    ]


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_no_order_of_subs_is_worth_more_than_the_bound(seed: int) -> None:
    problem = night(seed)
    best = best_by_trying(problem)
    for effort in EFFORTS:
        solution = solve(problem, effort=effort)
        assert violations(problem, solution.schedule) == []
        assert solution.bound >= best - 1e-9
        assert solution.objective >= best - 0.002 * best
        own = own_value(problem, subs_of(problem, solution.schedule))
        assert solution.objective == pytest.approx(own, abs=2e-5)
    assert solution.gap_percent < 3.0


def test_one_sub_counts_for_each_of_its_goals() -> None:
    problem = night(1)
    assert [key[2] for key in problem.row_keys] == ["red", "green", "blue", "H-alpha", "O III"]
    assert problem.rows_of_task == ((0, 1, 2), (3, 4), (4,))
    shot = solve(problem, effort=EFFORTS[0])
    rows = {row.filter: row for row in shot.evaluation.progress}
    clock = {
        name: sum(
            block.count * SUB_S / 3600.0
            for block in shot.schedule.blocks
            if problem.tasks[block.task].filter == name
        )
        for name in ("colour", "duo", "O3")
    }
    assert rows["red"].tonight_clock_h == rows["blue"].tonight_clock_h == clock["colour"]
    assert rows["O III"].tonight_clock_h == pytest.approx(clock["duo"] + clock["O3"])
    assert rows["O III"].through == ("duo", "O3")
    total = sum(float(row.curve.gain(row.tonight_h)) for row in rows.values())
    assert shot.objective == pytest.approx(total - shot.evaluation.change_cost)


def test_a_goal_more_is_never_worth_less_and_a_twin_of_nothing_changes_nothing() -> None:
    problem = night(2)
    alone = replace(problem.tasks[0], further=())
    fewer = replace(
        problem, tasks=(alone, *problem.tasks[1:]), curves=(problem.curves[0], *problem.curves[3:])
    )
    whole, less = (solve(one, effort=EFFORTS[1]) for one in (problem, fewer))
    assert whole.bound >= less.objective
    dark = tuple(replace(feed, worth=0.0 * feed.worth) for feed in problem.tasks[0].further)
    blind = replace(problem, tasks=(replace(alone, further=dark), *problem.tasks[1:]))
    same = solve(blind, effort=EFFORTS[1])
    assert same.schedule == less.schedule
    assert same.objective == pytest.approx(less.objective)


def test_what_was_shot_counts_for_each_goal_in_a_re_plan() -> None:
    problem = night(3)
    solution = solve(problem, effort=EFFORTS[0])
    rest = resume(problem, solution.schedule, 3600.0)
    again = solve(rest, effort=EFFORTS[0])
    assert violations(rest, again.schedule) == []
    assert len(rest.kept) > 0
    own = own_value(problem, subs_of(problem, again.schedule))
    assert again.objective == pytest.approx(own, abs=2e-5)
    # The plan in force can still be carried out, so that no bound lies below it.
    assert again.bound >= solution.objective - 1e-9
