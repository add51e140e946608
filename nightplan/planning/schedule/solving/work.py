"""One solve: bound and schedules take turns, each helping the other."""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, IntArray, Problem
from nightplan.planning.schedule.solving.batch import BatchPlacer
from nightplan.planning.schedule.solving.beginnings import Beginnings, Night
from nightplan.planning.schedule.solving.bound import BoundSearch, Branch, P, Tree
from nightplan.planning.schedule.solving.cell_arcs import Reach
from nightplan.planning.schedule.solving.cells import build_cells
from nightplan.planning.schedule.solving.clock_steps import ClockSteps
from nightplan.planning.schedule.solving.local_search import (
    GAIN,
    Candidate,
    LocalSearch,
    Order,
    least_subs,
    merged,
)
from nightplan.planning.schedule.solving.path_programme import NightPath, PathProgramme
from nightplan.planning.schedule.solving.placement import Placer, Run
from nightplan.planning.schedule.solving.utility_model import RowUtility

WHOLE_SUBS = "whole_subs"
LEAD_S = 1200.0
SMALLEST_CELL_S = 60.0
MOST_ARCS = 600_000
ROUND = 30
PASSES = 40
CLOSE, NEAR = 2e-4, 8e-4
FEW_LANES = 17
COARSE_S, COARSER, CLOSED, CLOSE_STEPS = 60.0, 3.0, 0.7, 5e-5
SUNK, LEADING, POLISHED = 0.02, 300, 6
FEW_ALIVE, AGAIN, TRIED, MOST_PRICED = 5000, 3, 8, 30
LONG_STEP, SHORT_STEP = 1e-3, 3e-4
GROWN_S = (1200.0, 2400.0, 3600.0, 5400.0)


@dataclass
class Effort:
    """How much work to spend, in counts, so that results do not depend on the machine.

    `cell_s` is the length of the bound's cells, `fine` by how much they are cut again once most
    of the night is ruled out (0: not at all), `classes` of leads told apart before that (see
    `Cells`), `iterations` paths priced before branching, `rounds` of branching. Of the paths at
    most `seeds` are climbed from, none after `climb` orders were valued, nor does one climb take
    more; `shaken` orders are valued while the best one is shaken. `gap` is the share of the bound
    that is good enough. With `step_s` the bound counts whole subs in steps of that length (0: no),
    and up to `alive` beginnings of the night are followed at a time. The clock (`time_limit_s`)
    only ends a solve that a slow machine would drag out.
    """

    cell_s: float = 180.0
    fine: int = 3
    classes: int = 3
    iterations: int = 150
    rounds: int = 3
    seeds: int = 30
    climb: int = 100_000
    shaken: int = 40_000
    gap: float = 0.001
    step_s: float = 0.0
    alive: int = 0
    time_limit_s: float = 5.0
    started: float = field(default_factory=time.perf_counter)

    def spare(self, share: float = 1.0) -> bool:
        """Whether the clock still allows work."""
        return time.perf_counter() - self.started < share * self.time_limit_s


class Work:
    """Finds the best schedule it can (`best`) and lowers the bound (`run`).

    The bound's paths seed schedules; a known schedule rules out most of what the bound has to
    look at, so that its cells can be cut finer and its branches be many.
    """

    def __init__(
        self, problem: Problem, placer: Placer, utility: RowUtility, effort: Effort
    ) -> None:
        self.problem, self.placer, self.utility, self.effort = problem, placer, utility, effort
        self.search = LocalSearch(BatchPlacer(placer, utility), effort.spare)
        self.best: Order | None = None
        self.tried: set[tuple[int, ...]] = set()
        self.shakes = 0
        self.method = "prices and paths, local search"
        shortest = min(
            placer.run_s(lane, least_subs(placer, lane)) for lane in range(len(placer.lanes))
        )
        self.most_cell_s = max(SMALLEST_CELL_S, 0.5 * shortest)
        self.holds_for = WHOLE_SUBS
        if shortest < 2.0 * self.most_cell_s:
            self.holds_for = f"whole subs in runs of at least {2.0 * self.most_cell_s:.0f} s"
        self.bound = np.inf

    @property
    def known(self) -> float:
        """Objective of the best schedule so far."""
        idle = self.utility.constant()
        return idle if self.best is None else max(idle, self.best.objective)

    def enough(self) -> bool:
        """Whether bound and schedule are near enough, or time is out."""
        near = self.bound - self.known <= self.effort.gap * abs(self.bound)
        return near or not self.effort.spare(0.9)

    def run(self) -> float:
        """Find schedules and the bound; returns the bound."""
        bounds, root = self._lowered()
        self._polish(root, self.effort.shaken)
        if self.enough():
            return max(self.bound, self.known)
        bounds.drop(root, self.known)
        if self.effort.step_s:
            self._count_subs(bounds, root)
        elif self.effort.rounds:
            self._branch(bounds, root)
        return max(self.bound, self.known)

    def _count_subs(self, cells: BoundSearch[PathProgramme], root: Branch) -> None:
        """The bound over whole subs: prices from coarse steps, of whose leading beginnings some may
        end well; then beginnings of the night in fine ones, each time with part of the gap to
        close, as many as there may be."""
        effort, lanes = self.effort, cells.programme.lane_name
        goal_h = np.ones(self.utility.most_h.size)
        programme = ClockSteps(self.placer, goal_h, max(COARSE_S, COARSER * effort.step_s), lanes)
        search = BoundSearch(programme, self.utility, lambda: effort.spare(0.8))
        branch = search.root(replace(root.prices, block=np.zeros(programme.rows)))
        search.lower(branch, min(effort.iterations, MOST_PRICED), tolerance=CLOSE_STEPS)
        self.bound = min(self.bound, branch.value)
        self._seed(search, branch, 2)
        if self.enough():
            return
        coarse = Beginnings(programme, self.utility, branch.prices)
        self._try(coarse.find(self.known - SUNK * abs(self.bound), LEADING), branch)
        self._polish(branch, 0)
        if self.enough():
            return
        programme = ClockSteps(self.placer, goal_h, effort.step_s, lanes)
        beginnings = Beginnings(programme, self.utility, branch.prices)
        self.bound = min(self.bound, beginnings.bound)
        grown, closed = 0, 0.0
        for alive in (min(FEW_ALIVE, effort.alive), *[effort.alive] * AGAIN):
            wanted = self.known + max(closed * (self.bound - self.known), self._good_enough())
            proof = beginnings.prove(wanted, alive)
            grown += proof.grown
            self.bound = min(self.bound, proof.bound)
            self._try(proof.nights, branch)
            # Once the best night of these steps is found only finer ones could tell more.
            thinned = closed > 0.0 and proof.wanted > wanted
            if self.enough() or thinned or proof.bound > proof.wanted:
                break
            closed = CLOSED
        self.method += f", {grown} beginnings"

    def _good_enough(self) -> float:
        """How far above the best schedule the bound may be left."""
        return 0.9 * self.effort.gap * abs(self.bound)

    def _try(self, nights: tuple[Night, ...], branch: Branch) -> None:
        """Place nights that beginnings grew into, and climb from the best few."""
        candidates = [
            merged((lane, count, -np.inf) for lane, count in night.blocks) for night in nights
        ]
        for order in self.search.ranked(candidates)[:TRIED]:
            self._keep(self._climb(order, self._likely(branch), SHORT_STEP))

    def climb_plainly(self) -> None:
        """Without help from the bound: climb from nothing by every lane."""
        every = np.arange(len(self.placer.lanes))
        empty = Order(self.utility.constant(), (), (), ())
        self._keep(self._climb(empty, every, 0.0))

    def _lowered(self) -> tuple[BoundSearch[PathProgramme], Branch]:
        """The bound as low as prices make it, over cells as fine as they can be."""
        effort = self.effort
        bounds = self._begin(effort.cell_s, None)
        self._start()
        root = bounds.root(bounds.first_prices(None if self.best is None else self.best.hours))
        # Prices that finer cells will improve anyway need not settle.
        near = CLOSE if effort.fine < 2 or len(self.placer.lanes) < FEW_LANES else NEAR
        for begun in range(0, effort.iterations, PASSES):
            bounds.lower(root, min(PASSES, effort.iterations - begun), tolerance=near)
            self.bound = root.value
            settled = root.converged
            last = settled or begun + PASSES >= effort.iterations or not effort.spare(0.5)
            if last:
                self._seed(bounds, root, effort.seeds)
            if self.enough():
                return bounds, root
            bounds.drop(root, self.known)
            if last:
                break
        finer = self._cut(bounds.programme)
        if finer == 1:
            return bounds, root
        fine = self._begin(effort.cell_s / finer, bounds.programme.reach())
        branch = fine.root(root.prices)
        # The coarse cells' prices are nearly right: a few passes, and most arcs can go.
        for passes in (2, 6, effort.iterations):
            fine.lower(branch, min(passes, effort.iterations))
            if passes < effort.iterations:
                fine.drop(branch, self.known)
        self.bound = min(self.bound, branch.value)
        self._seed(fine, branch, 2)
        return fine, branch

    def _start(self) -> None:
        """Orders that need no bound: the plan in force, or else some that are built from the front.

        They rule out much of the night before the bound's own paths are worth climbing from.
        """
        in_force = runs_in_force(self.problem, self.placer)
        if in_force:
            lanes, counts, waits = (list(part) for part in zip(*in_force, strict=True))
            self._keep(self.search.best_of([(lanes, counts, waits)]))
            return
        climber = self.search
        grown = [climber.grow(block_s) for block_s in GROWN_S]
        rows = {self.placer.row[lane] for order in grown for lane in order.lanes}
        likely = np.flatnonzero(np.isin(self.placer.row, list(rows)))
        for order in grown:
            self._keep(self.search.again(order))
        best = max(grown, key=lambda order: order.objective)
        self._keep(self._climb(self._climb(best, likely, LONG_STEP), likely, SHORT_STEP))

    def _branch(self, bounds: BoundSearch[PathProgramme], root: Branch) -> None:
        tree = Tree(root)
        going = True
        for _ in range(self.effort.rounds):
            if not going or self.enough():
                break
            going = bounds.grow(tree, self.known, ROUND, self.effort.gap)
            self.bound = min(self.bound, tree.bound)
            before, worst = self.known, tree.worst or root
            self._seed(bounds, worst, 1)
            self._polish(worst, 0)
            if self.known > before:
                bounds.drop(root, self.known)
        self.method += f", {tree.splits} branches"

    def _begin(self, cell_s: float, reach: Reach | None) -> BoundSearch[PathProgramme]:
        # Classes of leads cost as much as they tighten; of many lanes only once few are left.
        lanes = len(self.placer.lanes) if reach is None else len(reach.alone)
        classes = 3 if lanes <= 45 else 2 if lanes <= 80 else 1
        if reach is None:
            classes = min(classes, self.effort.classes)
        # A flip as one arc is dear where arcs are many, and then tells little.
        flips = lanes <= 80
        cells = build_cells(self.placer, min(cell_s, self.most_cell_s), classes, reach, flips)
        programme = PathProgramme(self.placer, cells, np.ones(self.utility.most_h.size))
        return BoundSearch(programme, self.utility, lambda: self.effort.spare(0.8))

    def _cut(self, programme: PathProgramme) -> int:
        """How many times finer the cells can be: arcs grow with the square."""
        arcs = programme.arcs.lane.size
        shortest = 0.5 * self.effort.cell_s
        for finer in range(self.effort.fine, 1, -1):
            if arcs * finer**2 <= MOST_ARCS and self.effort.cell_s / finer >= min(30.0, shortest):
                return finer
        return 1

    def _seed(self, bounds: BoundSearch[P], branch: Branch, seeds: int) -> None:
        """Climb from the best of the bound's new paths by long steps, from what that brings by
        shorter ones, best first."""
        borders = bounds.programme.borders_s
        candidates = [self._candidate(path, borders) for path in bounds.paths]
        bounds.paths.clear()
        likely, climber = self._likely(branch), self.search
        ranked = [order for order in climber.ranked(candidates) if order.lanes not in self.tried]
        climbed: list[Order] = []
        begun, most = climber.valued, self.effort.climb
        for order in ranked[:seeds]:
            if climber.valued >= begun + 0.7 * most or not self.effort.spare():
                break
            self.tried.add(order.lanes)
            climbed.append(self._climb(order, likely, LONG_STEP))
        climbed.sort(key=lambda order: -order.objective)
        for number, order in enumerate(climbed):
            if number and climber.valued >= begun + most:
                break
            self._keep(self._climb(order, likely, SHORT_STEP))

    def _likely(self, branch: Branch) -> IntArray:
        """Lanes worth putting in: those that the bound's mix takes up."""
        return np.flatnonzero(branch.taken[self.placer.row] > 1e-4)

    def _climb(self, order: Order, likely: IntArray, step: float) -> Order:
        """Climb by steps of at least a share of the bound, by the guide first if there is one."""
        scale = self.bound if np.isfinite(self.bound) else order.objective
        gain = max(GAIN, step * abs(scale))
        return self.search.improve(order, likely, self.effort.climb, gain)

    def _polish(self, branch: Branch, shaken: int) -> None:
        """Shake the best order for so many candidates, then climb by the smallest steps."""
        if self.best is None or not self.best.lanes:
            return
        likely = self._likely(branch)
        if shaken:
            climber = self.search
            gain = max(GAIN, SHORT_STEP * abs(self.bound))
            begun = climber.again(self.best)
            self._keep(self.search.again(climber.shake(begun, likely, shaken, self.shakes, gain)))
            self.shakes += 1
        self._keep(self.search.improve(self.best, likely, POLISHED * self.effort.climb))

    def _candidate(self, path: NightPath, borders: FloatArray) -> Candidate:
        lanes = [lane for lane, _, _ in path.arcs]
        counts = [
            max(self.search.least[lane], self.placer.fitting(lane, borders[b] - borders[a]))
            for lane, a, b in path.arcs
        ]
        return lanes, counts, [-np.inf] * len(lanes)

    def join_runs(self, share: float) -> None:
        """Make runs of one lane side by side one where that loses at most `share` of the gain."""
        if self.best is not None:
            gain = self.best.objective - self.utility.constant()
            self.best = self.search.joined(self.best, share * max(0.0, gain))

    def _keep(self, order: Order | None) -> None:
        if order is not None and (self.best is None or order.objective > self.best.objective):
            self.best = order


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
