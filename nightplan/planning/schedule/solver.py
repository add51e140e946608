"""A problem in, a schedule out, with a proof of how good it is.

Objective: the sum over rows of progress of their value curves at the equivalent hours reached,
less what changes cost.
Bound: no whole-sub schedule of this night can exceed it; `gap_percent` is how far the plan is
below it.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np

from nightplan.planning.schedule.blocks import Schedule
from nightplan.planning.schedule.check import violations
from nightplan.planning.schedule.problem import HOUR_S, Problem
from nightplan.planning.schedule.reasons import reasons
from nightplan.planning.schedule.schedule import Objective, empty_schedule, evaluate
from nightplan.planning.schedule.solving.limits import binding_limits
from nightplan.planning.schedule.solving.placement import Placer
from nightplan.planning.schedule.solving.utility_model import row_utility
from nightplan.planning.schedule.solving.work import WHOLE_SUBS, Effort, Work, runs_in_force

__all__ = ["Effort", "Solution", "gap_percent", "only_train", "solve", "usual_effort"]


@dataclass(frozen=True, eq=False)
class Solution:
    """A schedule and what is proven of it.

    Attributes
    ----------
    schedule : Schedule
        Each block carries its reason.
    objective, bound, gap_percent : float
        gap = 100 (bound - objective) / bound.
    evaluation : Objective
        The objective part by part.
    bound_holds_for : str
        ``whole_subs``: every schedule that keeps the rules, on any times. Where blocks of under
        two minutes are allowed, the shortest run that it is true of.
    solve_s : float
    method : str
    notes : tuple of str
    limits : tuple of str
        Why there is nothing to shoot, or which limit shortens the night most.
    """

    schedule: Schedule
    objective: float
    bound: float
    gap_percent: float
    evaluation: Objective
    bound_holds_for: str = WHOLE_SUBS
    solve_s: float = 0.0
    method: str = ""
    notes: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()


HURRY_S = 2.5
LAST_RESORT = 8.0
SHAKEN = 20_000
JOINED_SHARE = 0.003
"""What a plan may lose of its gain so that it does not centre one target twice running."""


def solve(problem: Problem, time_limit_s: float = 5.0, effort: Effort | None = None) -> Solution:
    """Schedule the night.

    Parameters
    ----------
    problem : Problem
    time_limit_s : float
        About what the work takes; it is bounded by counts, see `usual_effort`.
    effort : Effort, optional
        Counts other than the usual ones for the size of the problem.

    Returns
    -------
    Solution
        Always feasible: at worst set-up and idle time, with the reason in `limits`.
    """
    started = time.perf_counter()
    trains = sorted({task.train for task in problem.tasks})
    if len(trains) > 1 and problem.overheads.train_change_s is None:
        solved = [
            _solve_one(only_train(problem, train), time_limit_s / len(trains), effort)
            for train in trains
        ]
        best = max(solved, key=lambda solution: solution.objective)
        bound = max(solution.bound for solution in solved)
        solution = replace(best, bound=bound, gap_percent=gap_percent(best.objective, bound))
    else:
        solution = _solve_one(problem, time_limit_s, effort)
    return replace(solution, solve_s=time.perf_counter() - started)


def only_train(problem: Problem, train: str) -> Problem:
    """The problem with one train's tasks usable."""
    tasks = tuple(
        task if task.train == train else replace(task, usable=np.zeros_like(task.usable))
        for task in problem.tasks
    )
    return replace(problem, tasks=tasks)


def gap_percent(objective: float, bound: float) -> float:
    """100 (bound - objective) / bound; 0 where there is nothing to gain."""
    if bound <= 0.0:
        return 0.0
    return max(0.0, 100.0 * (bound - objective) / bound)


def usual_effort(problem: Problem, time_limit_s: float) -> Effort:
    """Counts that take about `time_limit_s` for a problem of this size on a machine of 2025.

    The clock stops a solve only at `LAST_RESORT` times that, so that two machines make one plan.
    In a hurry (a re-plan in the night) it stops sooner: then a plan in time matters more.
    """
    tasks = len(problem.tasks)
    if time_limit_s < HURRY_S:
        return Effort(
            cell_s=300.0, fine=0, rounds=0, iterations=80, seeds=1, shaken=0,
            time_limit_s=1.2 * time_limit_s,
        )  # fmt: skip
    more = time_limit_s / 5.0
    if tasks <= 8:
        cell, fine, rounds, climb = 180.0, 3, 3.0, 15_000
    elif tasks <= 21:
        cell, fine, rounds, climb = 240.0, 3, 0.0, 15_000
    elif tasks <= 45:
        cell, fine, rounds, climb = 300.0, 3, 0.0, 20_000
    else:
        cell, fine, rounds, climb = 300.0, 0, 0.0, 10_000
    if more >= (2.0 if tasks <= 45 else 6.0):
        fine, rounds = 3, max(rounds, 1.0)
    step_s, alive = _counted(problem)
    return Effort(
        cell_s=cell,
        fine=0 if step_s else fine,
        climb=round(climb * more),
        rounds=round(rounds * more),
        shaken=round(SHAKEN * more),
        step_s=step_s,
        alive=round(alive * more),
        time_limit_s=LAST_RESORT * time_limit_s,
    )


def _counted(problem: Problem) -> tuple[float, int]:
    """Steps in which a small night's bound counts whole subs, seconds, and beginnings alive."""
    tasks = len(problem.tasks)
    window_h = max(0.0, problem.end_s - problem.start_s) / HOUR_S
    size = tasks * window_h
    if tasks <= 8 and size <= 150.0:
        if len(problem.pointings) > 1:
            return 15.0, 15_000
        # A short window's beginnings soon end.
        return 15.0, round(40_000 * min(4.0, max(1.0, 8.0 / max(window_h, 1.0))))
    if size <= 100.0:
        return 15.0, 10_000
    return (30.0, 2_000) if size <= 120.0 else (0.0, 0)


def _solve_one(problem: Problem, time_limit_s: float, effort: Effort | None) -> Solution:
    effort = effort or usual_effort(problem, time_limit_s)
    effort = replace(effort, started=time.perf_counter())
    utility = row_utility(problem)
    placer = Placer(problem)
    idle = placer.schedule([]) if problem.window_s > 0.0 else empty_schedule(problem)
    if not placer.lanes or problem.end_s <= problem.start_s:
        return _finish(problem, idle, utility.constant(), "nothing to place", WHOLE_SUBS)
    work = Work(problem, placer, utility, effort)
    notes: tuple[str, ...] = ()
    try:
        bound = work.run()
    except Exception as error:
        # Whatever fails in there, the night gets a plan: the best found so far, or a plain climb,
        # and the bound that holds for any plan at all.
        work.climb_plainly()
        bound = float(utility.totals(utility.most_h[None, :])[0])
        notes = (f"the proof failed ({type(error).__name__}: {error}); the plan is unproven",)
    schedule, value = idle, evaluate(problem, idle).value
    if work.best is not None:
        work.join_runs(JOINED_SHARE)
        found = placer.schedule(placer.place(work.best.runs))
        found_value = evaluate(problem, found).value
        if found_value > value and not violations(problem, found):
            schedule, value = found, found_value
    if problem.previous is not None:
        kept = placer.schedule(placer.place(runs_in_force(problem, placer)))
        kept_value = evaluate(problem, kept).value
        if kept_value > value - problem.stability_gain and not violations(problem, kept):
            notes = (*notes, _kept_words(value - kept_value, kept_value))
            schedule = kept
    return _finish(problem, schedule, bound, work.method, work.holds_for, notes)


def _kept_words(gain: float, value: float) -> str:
    """Why the plan in force stays, from what another would gain."""
    share = 100.0 * gain / value if value > 0.0 else 0.0
    if share < 0.005:
        return "the plan in force is kept for the rest of the night: no other gains anything"
    return (
        "the plan in force is kept for the rest of the night: another order would gain only "
        f"{share:.2f} % of its worth, too little to reshuffle for"
    )


def _finish(
    problem: Problem,
    schedule: Schedule,
    bound: float,
    method: str,
    holds_for: str,
    notes: tuple[str, ...] = (),
) -> Solution:
    schedule = schedule.with_reasons(reasons(problem, schedule))
    evaluation = evaluate(problem, schedule)
    bound = max(bound, evaluation.value)
    return Solution(
        schedule=schedule,
        objective=evaluation.value,
        bound=bound,
        gap_percent=gap_percent(evaluation.value, bound),
        evaluation=evaluation,
        bound_holds_for=holds_for,
        method=method,
        notes=notes,
        limits=tuple(binding_limits(problem, schedule)),
    )
