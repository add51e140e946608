"""The proven bound: the Lagrangian of the night, lowered by better prices, then by branching.

For any prices the bound is  conjugate of the utility + value of the best path (+ what the limits
of a branch are worth at their prices).  The linear programme of all paths found proposes prices;
the trial point lies between its proposal and the best so far (smoothing: Wentges 1997, "Weighted
Dantzig-Wolfe decomposition for linear mixed-integer programming", Int. Trans. Oper. Res. 4, 151),
which needs far fewer paths. A branch limits how many blocks a row may have, a whole number in
every path though not in a mix of them; the bound of the night is that of its worst branch.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Generic, Protocol, TypeVar

import numpy as np

from nightplan.planning.schedule.problem import BoolArray, FloatArray
from nightplan.planning.schedule.solving.master import Master
from nightplan.planning.schedule.solving.path_programme import NightPath, PathProgramme, Prices
from nightplan.planning.schedule.solving.utility_model import RowUtility

SMOOTHING = 0.6
WHOLE = 1e-3
FEW = 6


@dataclass(eq=False)
class Branch:
    """A part of all schedules: so many blocks of each row, arrays (row,).

    `value` bounds it, by its own prices (`settled`) or by those of the branch it came from.
    `converged`: no prices give a bound lower by much.
    """

    least: FloatArray
    most: FloatArray
    value: float
    prices: Prices
    taken: FloatArray
    blocks: FloatArray
    settled: float = np.inf
    converged: bool = False


class Tree:
    """Branches that together hold every schedule; its bound is that of the worst."""

    def __init__(self, root: Branch) -> None:
        self._heap = [(-root.value, 0, root)]
        self._made = 1
        self._closed = -np.inf
        self.splits = 0

    @property
    def open(self) -> bool:
        """Whether a branch is left to split."""
        return bool(self._heap)

    @property
    def worst(self) -> Branch | None:
        """The branch with the highest bound."""
        return self._heap[0][2] if self._heap else None

    @property
    def bound(self) -> float:
        """Above every schedule of the tree."""
        return max(self._closed, -self._heap[0][0]) if self._heap else self._closed

    def take(self) -> Branch:
        """Take the worst branch out, to be split or closed."""
        return heapq.heappop(self._heap)[2]

    def put(self, branch: Branch) -> None:
        """A branch that is left for later."""
        heapq.heappush(self._heap, (-branch.value, self._made, branch))
        self._made += 1

    def close(self, value: float) -> None:
        """A branch that cannot be split: its bound stands."""
        self._closed = max(self._closed, value)


class Programme(Protocol):
    """What prices paths through the night; `open_rows` (row,) bool leaves rows out."""

    open_rows: BoolArray
    borders_s: FloatArray

    def best(self, prices: Prices) -> NightPath:
        """The best path; no schedule is worth more at these prices."""


P = TypeVar("P", bound=Programme)


@dataclass(eq=False)
class BoundSearch(Generic[P]):
    """Lowers the bound; collects the paths that it meets as seeds of schedules.

    `iterations` counts the paths priced so far.
    """

    programme: P
    utility: RowUtility
    spare: Callable[[], bool]
    paths: list[NightPath] = field(default_factory=list)
    iterations: int = 0

    def __post_init__(self) -> None:
        self.master = Master(self.utility)

    def first_prices(self, hours: FloatArray | None = None) -> Prices:
        """A guess: each row's slope at what a known plan brings (`hours`, array (row,)), or a bit
        over half of its slope at what is there."""
        u = self.utility
        none = np.zeros(u.most_h.size)
        slope = u.slopes[:, 0]
        if hours is None or not hours.any():
            return Prices(0.6 * slope, none, none, none)
        piece = (u.at_h[:, 1:-1] <= hours[:, None]).sum(axis=1)
        left = u.slopes[np.arange(none.size), piece]
        return Prices(np.where(hours > 0.0, left, 0.8 * slope), none, none, none)

    def root(self, prices: Prices | None = None) -> Branch:
        """All schedules, nothing known of them yet."""
        none = np.zeros(self.utility.most_h.size)
        prices = prices or self.first_prices()
        return Branch(none, np.full(none.size, np.inf), np.inf, prices, none, none)

    def drop(self: BoundSearch[PathProgramme], root: Branch, known: float) -> float:
        """Drop arcs that no schedule better than `known` needs; the share of arcs left."""
        free = np.full(self.utility.most_h.size, np.nan)
        flat = replace(root.prices, block=np.zeros(free.size))
        rest = self.utility.constant()
        rest += self.utility.conjugate(flat.hour, flat.bonus, free)
        self.programme.open_rows = np.ones(free.size, dtype=bool)
        return self.programme.drop(flat, known - rest - 1e-9)

    def lower(
        self,
        branch: Branch,
        iterations: int,
        good_enough: float = -np.inf,
        tolerance: float = 2e-4,
    ) -> None:
        """Lower a branch's value until the linear programme meets it, or it is good enough."""
        programme, utility, master = self.programme, self.utility, self.master
        taken = np.where(branch.most < 1.0, 0.0, np.where(branch.least >= 1.0, 1.0, np.nan))
        programme.open_rows = taken != 0.0
        master.restrict(branch.least, branch.most)
        constant = utility.constant()
        mix = master.solve()
        trial, value = branch.prices, branch.settled
        branch.taken, branch.blocks = mix.taken, mix.blocks
        for _ in range(iterations):
            trial = self._allowed(branch, trial)
            path = programme.best(trial)
            self.iterations += 1
            limits = np.where(
                trial.block >= 0.0,
                -trial.block * branch.least,
                -trial.block * np.where(np.isfinite(branch.most), branch.most, 0.0),
            )
            new = constant + utility.conjugate(trial.hour, trial.bonus, taken)
            new += path.value
            new += float(limits.sum())
            if new < value:
                value, branch.prices = new, trial
            branch.settled = value
            branch.value = min(branch.value, value)
            if path.arcs:
                self.paths.append(path)
                master.add(path)
            if branch.value <= good_enough or not self.spare():
                return
            mix = master.solve()
            branch.taken, branch.blocks = mix.taken, mix.blocks
            if value - (constant + mix.value) <= tolerance * abs(value):
                branch.converged = True
                return
            trial = branch.prices.toward(mix.prices, 1.0 - SMOOTHING)

    def _allowed(self, branch: Branch, prices: Prices) -> Prices:
        """A row without an upper limit cannot have a fine on its blocks."""
        block = np.where(np.isfinite(branch.most), prices.block, np.maximum(0.0, prices.block))
        return Prices(prices.hour, prices.bonus, block, np.zeros(block.size))

    def grow(self, tree: Tree, known: float, passes: int, gap: float) -> bool:
        """Work on the worst branches for so many passes; whether anything is left to do.

        A branch whose prices have not settled is lowered a little further before it is split:
        most are good enough, or no longer the worst, long before they settle. `known` is the
        objective of a schedule; branches that cannot hold one better by `gap` (a share) are left.
        """
        begun = self.iterations
        while self.iterations - begun < passes:
            enough = known + gap * abs(tree.bound)
            if not tree.open or tree.bound <= enough or not self.spare():
                return False
            branch = tree.take()
            if not branch.converged:
                self.lower(branch, FEW, good_enough=enough)
                tree.put(branch)
                continue
            halves = self._split(branch)
            if not halves:
                tree.close(branch.value)
            for half in halves:
                self.lower(half, FEW, good_enough=enough)
                tree.put(half)
                tree.splits += 1
        return True

    def _split(self, branch: Branch) -> list[Branch]:
        """Two branches at the row whose blocks are least whole, the dearest rows first."""
        floors = np.floor(branch.blocks)
        loose = np.abs(branch.blocks - np.round(branch.blocks))
        loose[(floors < branch.least) | (floors + 1.0 > branch.most)] = 0.0
        # A row taken up by part is split at none or some.
        part = np.minimum(branch.taken, 1.0 - branch.taken)
        score = loose + np.where(branch.blocks < 1.0 - WHOLE, part, 0.0)
        score = np.where(loose > WHOLE, score * (self.utility.value[:, -1] + 1e-12), 0.0)
        row = int(score.argmax())
        if score[row] <= 0.0:
            return []
        floor = float(floors[row])
        fewer, more = branch.most.copy(), branch.least.copy()
        fewer[row], more[row] = floor, floor + 1.0
        return [
            Branch(
                least, most, branch.value, branch.prices, branch.taken.copy(), branch.blocks.copy()
            )
            for least, most in ((branch.least, fewer), (more, branch.most))
        ]
