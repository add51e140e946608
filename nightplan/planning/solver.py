"""A problem in, a schedule out, with a proof of how good it is.

Objective: the sum over targets of priority x the mean over their filters of p(2 - p), p the share
of the goal reached with tonight's equivalent hours, less what changes cost.
Bound: no whole-sub schedule of this night can exceed it; `gap_percent` is how far the plan is
below it.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace

import numpy as np

from nightplan.planning.reasons import reasons
from nightplan.planning.schedule import Objective, empty_schedule, evaluate
from nightplan.planning.schedule_blocks import Schedule
from nightplan.planning.schedule_check import violations
from nightplan.planning.schedule_problem import Problem
from nightplan.planning.solving.batch import BatchPlacer
from nightplan.planning.solving.bound import Bound, first_prices, lower_bound_by_prices
from nightplan.planning.solving.cells import build_cells
from nightplan.planning.solving.limits import binding_limits
from nightplan.planning.solving.local_search import Candidate, LocalSearch, Order
from nightplan.planning.solving.master import Master
from nightplan.planning.solving.path_programme import PathProgramme
from nightplan.planning.solving.placement import Placer, Run
from nightplan.planning.solving.utility_model import row_utility

WHOLE_SUBS = "whole_subs"
LEAD_S = 1200.0
GUIDE = 0.3


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
        ``whole_subs``: every schedule that keeps the rules, on any times.
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


@dataclass
class Effort:
    """How much work to spend, in counts, so that results do not depend on the machine.

    The clock (`time_limit_s`) only ends a solve that a slow machine would drag out.
    """

    cell_s: float = 180.0
    iterations: int = 150
    seeds: int = 6
    candidates: int = 150_000
    time_limit_s: float = 5.0
    started: float = field(default_factory=time.perf_counter)

    def spare(self, share: float = 1.0) -> bool:
        """Whether the clock still allows work."""
        return time.perf_counter() - self.started < share * self.time_limit_s


def solve(problem: Problem, time_limit_s: float = 5.0, effort: Effort | None = None) -> Solution:
    """Schedule the night.

    Parameters
    ----------
    problem : Problem
    time_limit_s : float
        The work is bounded by counts; this clock is the last resort.
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
    """Counts that fit a problem of this size into a few seconds."""
    tasks = len(problem.tasks)
    longest = max((task.sub_s for task in problem.tasks), default=60.0)
    cell = 120.0 if tasks <= 8 else 180.0 if tasks <= 30 else 240.0 if tasks <= 45 else 300.0
    cell = min(cell, max(0.5 * problem.shortest_block_s, 0.5 * longest))
    return Effort(cell_s=cell, time_limit_s=time_limit_s)


def _solve_one(problem: Problem, time_limit_s: float, effort: Effort | None) -> Solution:
    effort = effort or usual_effort(problem, time_limit_s)
    utility = row_utility(problem)
    idle = _idle(problem)
    placer = Placer(problem)
    if not placer.lanes or problem.end_s <= problem.start_s:
        return _finish(problem, idle, utility.constant(), "nothing to place", WHOLE_SUBS)
    cells = build_cells(placer, effort.cell_s)
    programme = PathProgramme(placer, cells, utility.goal_h.size)
    root = lower_bound_by_prices(
        programme,
        utility,
        Master(utility),
        first_prices(utility),
        effort.iterations,
        lambda: effort.spare(0.6),
    )
    search = LocalSearch(BatchPlacer(placer, utility), effort.spare)
    order = _best_order(search, programme, root, effort)
    schedule, value = idle, evaluate(problem, idle).value
    if order is not None:
        found = placer.schedule(placer.place(order.runs))
        found_value = evaluate(problem, found).value
        if found_value > value and not violations(problem, found):
            schedule, value = found, found_value
    notes: tuple[str, ...] = ()
    if problem.previous is not None:
        kept = placer.schedule(placer.place(runs_in_force(problem, placer)))
        kept_value = evaluate(problem, kept).value
        if kept_value > value - problem.stability_gain and not violations(problem, kept):
            gain = max(0.0, value - kept_value)
            notes = (f"the plan in force is kept: another would gain {gain:.4f}",)
            schedule = kept
    return _finish(
        problem, schedule, root.value, "prices and paths, local search", WHOLE_SUBS, notes
    )


def runs_in_force(problem: Problem, placer: Placer) -> list[Run]:
    """What is left of the schedule in force, as an order of runs."""
    previous = problem.previous
    if previous is None:
        return []
    lane_of = {(lane.task, lane.after_meridian): k for k, lane in enumerate(placer.lanes)}
    shot = {block.start_s: block.count for block in problem.kept}
    runs: list[Run] = []
    ended = 0.0
    for block in previous.blocks:
        lane = lane_of.get((block.task, block.after_meridian))
        left = block.count - shot.get(block.start_s, 0)
        over = problem.sub_starts_s(block.task, block.start_s, block.count) < problem.now_s - 1e-6
        left = min(left, block.count - int(over.sum()))
        if lane is None or left <= 0:
            continue
        parted = any(
            event.kind != "focus" and ended - 1e-6 <= event.start_s < block.start_s
            for event in previous.events
        )
        ended = block.end_s
        if runs and runs[-1].lane == lane and not parted:
            runs[-1] = runs[-1]._replace(count=runs[-1].count + left)
        else:
            # A start that the plan left free time before is a wish to wait.
            idle = any(
                event.kind == "idle" and event.start_s < block.start_s <= event.end_s + LEAD_S
                for event in previous.events
            )
            wait = block.start_s if idle and block.start_s > problem.now_s else -np.inf
            runs.append(Run(lane, left, wait))
    return runs


def _idle(problem: Problem) -> Schedule:
    if problem.kept or problem.kept_events:
        return Placer(problem).schedule([])
    return empty_schedule(problem)


def _best_order(
    search: LocalSearch, programme: PathProgramme, bound: Bound, effort: Effort
) -> Order | None:
    """Improve the best of the bound's paths, until the count of candidates is spent."""
    placer, borders = search.placer, programme.cells.borders_s
    candidates: list[Candidate] = []
    for path in bound.paths:
        lanes = [lane for lane, _, _ in path.arcs]
        counts = [
            max(search.least[lane], placer.fitting(lane, borders[b] - borders[a]))
            for lane, a, b in path.arcs
        ]
        candidates.append((lanes, counts, [-np.inf] * len(lanes)))
    in_force = runs_in_force(placer.problem, placer)
    if in_force:
        lane_list, count_list, wait_list = (list(part) for part in zip(*in_force, strict=True))
        candidates.append((lane_list, count_list, wait_list))
    ranked = search.ranked(candidates)
    likely = np.flatnonzero(bound.taken_share[programme.row] > 1e-4)
    guided: LocalSearch | None = None
    if placer.problem.balance == "even":
        guide = replace(search.batch.utility, guide=GUIDE)
        guided = LocalSearch(BatchPlacer(placer, guide), effort.spare)
        likely = np.arange(len(placer.lanes))
        ranked = guided.ranked(candidates) or [Order(0.0, (), (), ())]
    best: Order | None = None
    for order in ranked[: effort.seeds]:
        if search.valued > effort.candidates or not effort.spare():
            break
        begun = guided.improve(order, likely) if guided is not None else order
        if guided is not None:
            begun = search.again(begun)
        better = search.improve(begun, likely)
        if best is None or better.objective > best.objective:
            best = better
    return best


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
