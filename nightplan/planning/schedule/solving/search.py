"""One night's search: annealed orders and the bound's paths help each other.

All effort is counted, so that a busy or slow machine finds the same plan.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from nightplan.planning.schedule.blocks import Schedule
from nightplan.planning.schedule.problem import FloatArray, IntArray, Problem
from nightplan.planning.schedule.solving.annealing import (
    CHANCES,
    COOLINGS,
    LOWEST,
    Order,
    anneal,
    carry_out,
    copied,
    empty_order,
)
from nightplan.planning.schedule.solving.bound import Bound, target_of_row
from nightplan.planning.schedule.solving.building import order_in_force, order_of, schedule_of
from nightplan.planning.schedule.solving.filling import filled
from nightplan.planning.schedule.solving.placing import HAD, room_for
from nightplan.planning.schedule.solving.pricing import cells_of
from nightplan.planning.schedule.solving.tables import tables_of

HOT, WARM, COOL, COLD = 0.03, 0.008, 0.002, 0.00003
"""Temperatures as shares of what the night brings: from nothing, from a path of the bound, to
polish, and the last of each. Twice as hot or half as cold found less on the benchmark nights."""
FROM_NOTHING, FROM_PATHS, AT_LAST = 0.4, (0.2, 0.2), 0.2
"""Shares of the tries: several short annealings from nothing find more than a long one."""
STURDY_SHARE, STURDY_TRIES = 0.001, 0.15
"""What a plan may lose of the night's gain to be worth more if clouds end it early: twice as much
put five of the benchmark nights beyond the gap that is wanted. And the share of tries for it."""
SAME_ORDER = 1e-9
KNOWN = 40
"""Paths of coarser cells that are placed in truth and begin the mix of finer ones."""
MOST_STATES, MOST_BITS = 4e6, 2
"""Numbers that the bound may keep by cell, and targets whose angle it follows."""
ACTIVE = 1e-6


@dataclass(frozen=True)
class Effort:
    """How much work to spend, in counts.

    Parameters
    ----------
    tries : int
        Orders valued by annealing in all.
    starts, seeds : int
        Orders to start from: from nothing; the bound's best paths and the best order.
    steps_s : tuple of float
        Lengths of the bound's cells, one after the other.
    paths : tuple of int
        Most paths priced in each.
    classes : int
        Classes of how long the focus still holds, where a change may keep it.
    enough : float
        Share of the bound to which it need not come nearer to the plan.
    """

    tries: int = 500_000
    starts: int = 4
    seeds: int = 6
    steps_s: tuple[float, ...] = (60.0, 30.0, 10.0)
    paths: tuple[int, ...] = (60, 40, 30)
    classes: int = 18
    enough: float = 5e-4


@dataclass
class Search:
    """Finds orders (`best`) and lowers the bound."""

    problem: Problem
    effort: Effort
    best: float = -np.inf
    order: Order = field(default_factory=empty_order)
    size: int = 0
    fault: Exception | None = None

    def __post_init__(self) -> None:
        self.tables = tables_of(self.problem)
        self.placed = room_for(self.tables)
        self.bound = Bound(self.tables)
        self.kept = (self.order, self.size)
        self.lanes = int(self.tables.sub.size)
        self.used = 0
        self.had = float(self.tables.scalar[HAD])
        download = self.problem.overheads.download_s
        least = np.ceil(self.tables.shortest / (self.tables.sub + download))
        self.least = np.clip(least, 1, self.tables.most).astype(np.int64)
        self._keep(empty_order(), 0)

    def value(self, order: Order, size: int) -> float:
        """Objective of an order; `placed` then holds it."""
        return carry_out(self.tables, self.placed, order, size)

    def _keep(self, order: Order, size: int) -> None:
        value = self.value(order, size)
        if value > self.best + SAME_ORDER:
            self.best, self.size = value, size
            self.order = copied(order)

    def _anneal(self, order: Order, size: int, share: float, hot: float, likely: IntArray) -> None:
        """Anneal from an order with a share of the tries; keep what it finds if it is better."""
        tries = int(share * self.effort.tries)
        scale = max(self.best - self.had, 1e-3)
        cooling = round((COLD / hot) ** (1.0 / COOLINGS), 9)
        best = empty_order()
        self.used += 1
        _, found = anneal(
            self.tables, self.placed, self.least, likely, CHANCES, copied(order), empty_order(),
            best, size, tries, hot * scale, cooling, self.used, LOWEST,
        )  # fmt: skip
        self._keep(best, found)

    def in_force(self) -> float:
        """Begin with the rest of the plan in force; its objective."""
        order, size = order_in_force(self.problem, self.tables, self.placed)
        self._keep(order, size)
        self.kept = order, size
        return self.value(order, size)

    def take_in_force(self) -> None:
        """Take the rest of the plan in force, whatever was found."""
        self.order, self.size = self.kept

    def loosest(self) -> float:
        """A bound that needs no proof: all that the curves hold."""
        return self.had + float(self.tables.value[:, -1].sum())

    def run(self) -> float:
        """Search with all of the effort; returns the bound."""
        every = np.arange(self.lanes, dtype=np.int64)
        for _ in range(self.effort.starts):
            self._anneal(empty_order(), 0, FROM_NOTHING / self.effort.starts, HOT, every)
        self._prove(0)
        self._climb_paths(FROM_PATHS[0])
        for level in range(1, len(self.effort.steps_s)):
            if not self._close():
                self._prove(level)
        self._climb_paths(FROM_PATHS[1])
        for hot, lanes in ((WARM, every), (COOL, self._likely())):
            self._anneal(self.order, self.size, AT_LAST / 2.0, hot, lanes)
        return self.bound.value

    def _close(self) -> bool:
        return self.bound.value - self.best <= self.effort.enough * abs(self.bound.value)

    def _prove(self, level: int) -> None:
        """Lower the bound; a fault of the proof leaves the plan unproven, and in `fault`."""
        try:
            self._lower(level)
        except Exception as fault:
            self.fault = fault

    def _lower(self, level: int) -> None:
        """Lower the bound in one length of cell."""
        step_s, effort = self.effort.steps_s[level], self.effort
        keeps = bool((self.tables.allowed & ~self.tables.focuses)[: self.lanes].any())
        cells = cells_of(self.tables, step_s, effort.classes if keeps else 1)
        targets = self._with_bits(cells.cells * self.lanes * cells.classes)
        enough = self.best + 0.5 * effort.enough * abs(self.best)
        known = [self._brings(self.order, self.size, targets)]
        if level == 0:
            self.bound.start_from(known[0][0])
        for runs in self.bound.paths[-KNOWN:]:
            known.append(self._brings(*order_of([(lane, n, 0.0) for lane, n in runs]), targets))
        self.bound.lower(cells, effort.paths[level], targets, enough, known)

    def _with_bits(self, states: int) -> IntArray:
        """Targets whose camera angle the bound's paths pay once: as many as there is room for,
        those that the mix takes up most first."""
        most = max(0, int(np.log2(max(1.0, MOST_STATES / states))))
        due = np.flatnonzero(self.tables.angle_cost > 0.0)
        if self.bound.mix is not None:
            taken = np.zeros(self.tables.angle_cost.size)
            target, own = target_of_row(self.tables), self.bound.mix.taken
            np.maximum.at(taken, target[target >= 0], own[target >= 0])
            due = due[np.argsort(-taken[due], kind="stable")]
            due = due[taken[due] > ACTIVE]
        return np.sort(due[: min(most, MOST_BITS)])

    def _brings(self, order: Order, size: int, targets: IntArray) -> tuple[FloatArray, float]:
        """Hours of an order, and what its changes and the angles of some targets cost."""
        value = self.value(order, size)
        hours = self.placed.hours.copy()
        gained = sum(
            float(np.interp(hours[row], self.tables.at_h[row], self.tables.value[row]))
            for row in range(hours.size)
        )
        other = self.tables.angle_cost * (self.placed.paid > 0)
        other[targets] = 0.0
        return hours, max(0.0, self.had + gained - value - float(other.sum()))

    def _climb_paths(self, share: float) -> None:
        """Anneal from the best of the bound's new paths and from the best order."""
        likely = self._likely()
        ranked: dict[float, tuple[Order, int]] = {}
        for path in self.bound.paths:
            order, size = order_of([(lane, subs, 0.0) for lane, subs in path])
            ranked.setdefault(-round(self.value(order, size), 9), (order, size))
        self.bound.paths.clear()
        seeds = [ranked[key] for key in sorted(ranked)[: self.effort.seeds - 1]]
        for order, size in [*seeds, (self.order, self.size)]:
            self._anneal(order, size, share / (len(seeds) + 1), WARM, likely)

    def _likely(self) -> IntArray:
        """Lanes of rows that the bound's mix or the best order takes up."""
        rows = np.zeros(self.tables.at_h.shape[0], dtype=bool)
        used = self.tables.row[self.order[0][: self.size]]
        rows[used[used >= 0]] = True
        if self.bound.mix is not None:
            rows |= self.bound.mix.taken > ACTIVE
        likely = np.flatnonzero((rows[self.tables.row] & (self.tables.row >= 0)).any(axis=1))
        return likely if likely.size else np.arange(self.lanes, dtype=np.int64)

    def make_sturdy(self) -> None:
        """Of orders that lose little the one that is worth most if clouds end the night early."""
        floor = self.best - STURDY_SHARE * max(0.0, self.best - self.had)
        own = empty_order()
        scale, tries = max(self.best - self.had, 1e-3), int(STURDY_TRIES * self.effort.tries)
        cooling = round((COLD / COOL) ** (1.0 / COOLINGS), 9)
        _, size = anneal(
            self.tables, self.placed, self.least, self._likely(), CHANCES, copied(self.order),
            empty_order(), own, self.size, tries, COOL * scale, cooling, 1, floor,
        )  # fmt: skip
        if self.value(own, size) >= floor - SAME_ORDER:
            self.order, self.size = own, size

    def fill(self) -> None:
        """Put work into idle stretches that hold a shortest block, whatever changes cost."""
        self.order, self.size = filled(
            self.problem, self.tables, self.placed, self.least, self.order, self.size
        )

    def schedule(self) -> Schedule:
        """The schedule of the order that was taken."""
        self.value(self.order, self.size)
        return schedule_of(self.problem, self.tables, self.placed)
