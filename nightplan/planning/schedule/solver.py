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
from nightplan.planning.schedule.problem import Problem
from nightplan.planning.schedule.reasons import reasons
from nightplan.planning.schedule.schedule import Objective, empty_schedule, evaluate
from nightplan.planning.schedule.solving.limits import binding_limits

if TYPE_CHECKING:
    from nightplan.planning.schedule.solving.search import Effort

WHOLE_SUBS = "whole_subs"
HURRY_S = 2.5
"""Below this the solve is one of many, or of a re-plan: it counts a share of the usual work."""
TRIES_S = 350_000
"""Orders valued per second of the limit: four tenths of it on a core of 2025."""
COARSE_S, STEPS_S = 60.0, (30.0, 20.0, 15.0, 10.0, 8.0, 6.0, 4.0, 3.0, 2.0)
"""Cells of the bound: coarse ones find the prices, the finest that there is time for prove."""
BOUND_SHARE, LEAST_PATHS, MOST_PATHS = 0.7, 34, 60
"""Share of the time for the paths of fine cells, and how many: some 30 settle the prices, and
more than 60 lowered no bound of the benchmark nights by a hundredth of a per cent."""
FEW_ROWS = 24
"""Rows up to which the age of a kept focus is followed; beyond, it brings 0.02 % at most."""
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

    span_s = max(360.0, problem.end_s - problem.start_s)
    usable = max(1, sum(bool(task.usable.any()) for task in problem.tasks))
    # Few rows are searched through sooner.
    tries = int(TRIES_S * time_limit_s * min(1.0, 0.15 + 0.05 * usable))
    if time_limit_s < HURRY_S:
        return Effort(tries=tries, starts=2, seeds=3, steps_s=(30.0,), paths=(30,), classes=1)
    # Seconds of one path in one cell, about: runs, and changes between lanes.
    cell_s = 5e-7 * usable + 2.4e-8 * usable**2
    own_s = BOUND_SHARE * time_limit_s
    fit = [(step, int(own_s * step / (span_s * cell_s))) for step in STEPS_S]
    levels = [(step, min(MOST_PATHS, paths)) for step, paths in fit if paths >= LEAST_PATHS]
    chosen = [(COARSE_S, MOST_PATHS), *(levels[-1:] or [fit[0]])]
    return Effort(
        tries=tries,
        steps_s=tuple(step for step, _ in chosen),
        paths=tuple(max(4, paths) for _, paths in chosen),
        classes=6 if usable <= FEW_ROWS else 3 if usable <= 2 * FEW_ROWS else 1,
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
