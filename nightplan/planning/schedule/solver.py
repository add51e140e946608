"""A problem in, a schedule out, with a proof of how good it is.

Objective: the sum over rows of progress of their value curves at the equivalent hours reached,
less what changes cost.
Bound: no whole-sub schedule of this night can exceed it; `gap_percent` is how far the plan is
below it.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from nightplan.planning.schedule.blocks import Schedule
from nightplan.planning.schedule.check import violations
from nightplan.planning.schedule.problem import HOUR_S, Problem
from nightplan.planning.schedule.reasons import reasons
from nightplan.planning.schedule.schedule import Objective, empty_schedule, evaluate
from nightplan.planning.schedule.solving.limits import binding_limits

if TYPE_CHECKING:
    from nightplan.planning.schedule.solving.search import Effort

WHOLE_SUBS = "whole_subs"
HURRY_S = 2.5
"""Below this the solve is one of many, or of a re-plan: it counts a share of the usual work."""
STEPS_S = (60.0, 30.0, 15.0, 10.0, 6.0, 4.0)
"""Cells of the bound: coarse ones find the prices, the finest that there is time for prove."""
BOUND_SHARE, LEAST_PATHS = 0.35, 8
"""Share of the time for the paths of each length of cell, and fewest that are worth it."""
FEW_ROWS = 24
"""Rows up to which the focus is followed to within a pause; beyond, coarser."""
BELOW = 1e-7
"""Share of the bound by which a legal schedule may pass it by rounding of sums alone."""
STRICT = False
"""Tests set it: then a proof that fails is an error, not a notice."""


class ProofError(RuntimeError):
    """The raw bound lies below a legal schedule, so it proves nothing."""


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
        ``whole_subs``: every schedule of whole subs that keeps the rules, on any times.
    solve_s : float
        Of one core's work.
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


def solve(problem: Problem, time_limit_s: float = 5.0, effort: Effort | None = None) -> Solution:
    """Schedule the night.

    Parameters
    ----------
    problem : Problem
    time_limit_s : float
        About what the work takes on one core of 2025; it is bounded by counts alone, so that
        each machine makes the same plan.
    effort : Effort, optional
        Counts other than the usual ones for the size of the problem.

    Returns
    -------
    Solution
        Always feasible: at worst set-up and idle time, with the reason in `limits`.
    """
    started = time.process_time()
    solution = _solved(problem, effort or usual_effort(problem, time_limit_s))
    return replace(solution, solve_s=time.process_time() - started)


def gap_percent(objective: float, bound: float) -> float:
    """100 (bound - objective) / bound; 0 where there is nothing to gain."""
    if bound <= 0.0:
        return 0.0
    return max(0.0, 100.0 * (bound - objective) / bound)


def usual_effort(problem: Problem, time_limit_s: float) -> Effort:
    """Counts that take about `time_limit_s` for a problem of this size on a machine of 2025."""
    from nightplan.planning.schedule.solving.search import Effort

    window_h = max(0.1, (problem.end_s - problem.start_s) / HOUR_S)
    usable = max(1, sum(bool(task.usable.any()) for task in problem.tasks))
    # Few rows are searched through sooner.
    tries = int(100_000 * time_limit_s * min(1.0, 0.15 + 0.05 * usable))
    classes = 18 if usable <= FEW_ROWS else 6 if usable <= 2 * FEW_ROWS else 1
    # Seconds of one path in cells of a minute, about: runs, and changes between lanes.
    minute_s = window_h * max(3, classes) / 18.0 * (1.5e-4 * usable + 6e-6 * usable**2)
    if time_limit_s < HURRY_S:
        paths = max(4, min(30, int(0.5 * time_limit_s / minute_s)))
        return Effort(
            tries=tries, seeds=3, steps_s=(60.0,), paths=(paths,), classes=min(classes, 6)
        )
    levels = [(step, int(BOUND_SHARE * time_limit_s * step / 60.0 / minute_s)) for step in STEPS_S]
    fit = [(step, min(60, paths)) for step, paths in levels[1:] if paths >= LEAST_PATHS]
    chosen = [(STEPS_S[0], max(4, min(60, levels[0][1]))), *fit[:1], *fit[1:][-1:]]
    return Effort(
        tries=tries,
        steps_s=tuple(step for step, _ in chosen),
        paths=tuple(paths for _, paths in chosen),
        classes=classes,
    )


def _solved(problem: Problem, effort: Effort) -> Solution:
    idle = empty_schedule(problem) if not problem.kept else None
    if problem.window_s <= 0.0:
        return _finish(problem, empty_schedule(problem), 0.0, "nothing to place")
    from nightplan.planning.schedule.solving.search import Search

    search = Search(problem, effort)
    if not search.lanes or problem.end_s <= problem.start_s:
        schedule = search.schedule() if idle is None else idle
        return _finish(problem, schedule, search.had, "nothing to place")
    kept_value = search.in_force() if problem.previous is not None else None
    bound = search.run()
    notes: tuple[str, ...] = ()
    if kept_value is not None:
        gain = search.best - kept_value
        if gain <= problem.stability_share * abs(kept_value):
            notes = (_kept_words(gain, kept_value),)
            search.take_in_force()
    if not notes:
        search.make_sturdy()
        search.fill()
    schedule = search.schedule()
    broken = violations(problem, schedule)
    if broken:
        if STRICT:
            raise AssertionError("; ".join(broken))
        notes += (f"the plan breaks a rule: {'; '.join(broken)}",)
    value = evaluate(problem, schedule).value
    fault = search.fault
    if fault is None and bound < max(value, search.best) - BELOW * abs(bound):
        fault = ProofError(f"bound {bound!r} below a legal schedule, {max(value, search.best)!r}")
    if fault is not None:
        if STRICT:
            raise fault
        bound = search.loosest()
        notes += (f"the proof failed ({type(fault).__name__}: {fault}); the plan is unproven",)
    method = f"{search.used} annealings, {search.bound.priced} paths priced"
    return _finish(problem, schedule, max(bound, value), method, notes)


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
    problem: Problem, schedule: Schedule, bound: float, method: str, notes: tuple[str, ...] = ()
) -> Solution:
    schedule = schedule.with_reasons(reasons(problem, schedule))
    evaluation = evaluate(problem, schedule)
    return Solution(
        schedule=schedule,
        objective=evaluation.value,
        bound=bound,
        gap_percent=gap_percent(evaluation.value, bound),
        evaluation=evaluation,
        method=method,
        notes=notes,
        limits=tuple(binding_limits(problem, schedule)),
    )
