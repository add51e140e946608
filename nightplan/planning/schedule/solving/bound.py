"""The bound: no schedule of whole subs that keeps the rules is worth more.

For prices per equivalent hour and bonuses for taking a row up, both at least 0, a schedule is
worth at most

    what is had  +  Σ over targets of the conjugates of their rows' curves  +  the best path,

the path being worth its hours at their prices and the bonuses of the rows in it, less its change
costs. That holds at any prices; a linear programme over the paths met so far (Dantzig and Wolfe
1960, "Decomposition principle for linear programs") proposes ever better ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, IntArray
from nightplan.planning.schedule.solving.following import Follower
from nightplan.planning.schedule.solving.placing import HAD
from nightplan.planning.schedule.solving.pricing import Cells, Prices, price, values_for
from nightplan.planning.schedule.solving.tables import Tables

SMOOTHING = 0.5
"""Share of the best prices so far in the next ones to try; without it they leap about."""
SETTLED = 5e-5
"""Share of the bound below which a gap to the linear programme is not worth another path."""
SAFETY = 1e-9
"""Share added to the bound for rounding in its sums."""


@dataclass(frozen=True, eq=False)
class Mix:
    """The linear programme's answer; arrays by row. `visits` are those of the mixed paths."""

    value: float
    price: FloatArray
    bonus: FloatArray
    taken: FloatArray
    visits: FloatArray


class Master:
    """A mix of paths: hours x, taken up z and value v of each row, new angle y of each target."""

    def __init__(self, tables: Tables, angle_cost: FloatArray) -> None:
        import highspy

        self.tables, self.angle_cost = tables, angle_cost
        self.rows = rows = tables.at_h.shape[0]
        self.visits: list[FloatArray] = []
        self.infinity = highspy.kHighsInf
        # The base class: the convenience class prints a banner on standard output as it starts.
        self.lp = lp = highspy.Highs.__mro__[1]()
        for option, value in (
            ("output_flag", False),
            ("threads", 1),
            ("presolve", "off"),
            ("solver", "simplex"),
        ):
            lp.setOptionValue(option, value)
        none = (np.zeros(0, dtype=np.int32), np.zeros(0))
        for cost, low, high in (
            *((0.0, 0.0, self.infinity) for _ in range(rows)),
            *((0.0, 0.0, 1.0) for _ in range(rows)),
            *((-1.0, -self.infinity, self.infinity) for _ in range(rows)),
            *((float(cost), 0.0, 1.0) for cost in angle_cost),
        ):
            lp.addCol(cost, low, high, 0, *none)
        for column in range(2 * rows):
            self._at_least([column], [-1.0])
        lp.addRow(1.0, 1.0, 0, *none)
        self._curves()
        self.paths_from = lp.getNumCol()
        self.add(np.zeros(rows), np.zeros(rows), 0.0)

    def _at_least(self, index: list[int], value: list[float]) -> None:
        """A row: the sum is at least 0."""
        size, index_ = len(index), np.array(index, dtype=np.int32)
        self.lp.addRow(0.0, self.infinity, size, index_, np.array(value))

    def _curves(self) -> None:
        """v is at most each piece's line, where taken up by part its perspective."""
        at_h, value, rows = self.tables.at_h, self.tables.value, self.rows
        target_of = target_of_row(self.tables)
        for row in range(rows):
            for k in np.flatnonzero(np.diff(at_h[row]) > 0.0):
                rise, width = value[row, k + 1] - value[row, k], at_h[row, k + 1] - at_h[row, k]
                slope = float(rise / width)
                above = float(value[row, k] - slope * at_h[row, k])
                self._at_least([row, rows + row, 2 * rows + row], [slope, above, -1.0])
            self._at_least([rows + row, 2 * rows + row], [float(value[row, -1]), -1.0])
            target = int(target_of[row])
            if target >= 0 and self.angle_cost[target] > 0.0:
                self._at_least([3 * rows + target, rows + row], [1.0, -1.0])

    def add(self, hours: FloatArray, visits: FloatArray, cost: float) -> None:
        """One more path to mix."""
        held, begun = np.flatnonzero(hours), np.flatnonzero(visits)
        index = np.concatenate([held, self.rows + begun, [2 * self.rows]]).astype(np.int32)
        value = np.concatenate([hours[held], visits[begun], [1.0]])
        self.visits.append(visits.copy())
        self.lp.addCol(float(cost), 0.0, self.infinity, index.size, index, value)

    def solve(self) -> Mix:
        """The best mix of the paths known so far."""
        self.lp.run()
        solution, rows = self.lp.getSolution(), self.rows
        duals = np.nan_to_num(np.array(solution.row_dual))
        column = np.nan_to_num(np.array(solution.col_value))
        share = column[self.paths_from :]
        return Mix(
            value=-float(self.lp.getInfo().objective_function_value),
            price=np.maximum(0.0, duals[:rows]),
            bonus=np.maximum(0.0, duals[rows : 2 * rows]),
            taken=column[rows : 2 * rows],
            visits=share @ np.array(self.visits),
        )


def target_of_row(tables: Tables) -> IntArray:
    """Target of each row that has a lane, else -1."""
    found = np.full(tables.at_h.shape[0], -1, dtype=np.int64)
    lane, place = np.nonzero(tables.row >= 0)
    found[tables.row[lane, place]] = tables.target[lane]
    return found


def taken_up(tables: Tables, bonus: FloatArray) -> FloatArray:
    """What a change of lane earns, (lane + 1, lane): the bonuses (row,) of rows that the new lane
    feeds and the old one does not."""
    lanes, places = tables.row.shape
    before = np.vstack([tables.row, np.full((1, places), -1, dtype=np.int64)])
    found = np.zeros((lanes + 1, lanes))
    for place in range(places):
        row = tables.row[:, place]
        held = (before[:, None, :] == row[None, :, None]).any(axis=2)
        found += np.where(held | (row < 0), 0.0, bonus[row])
    return found


def conjugate(
    tables: Tables, price: FloatArray, bonus: FloatArray, angle_cost: FloatArray
) -> float:
    """Most of value - price x hours - bonus x taken - angles, over all hours and taken from 0 to
    1; `angle_cost` (target,) without those that paths pay."""
    width = np.diff(tables.at_h, axis=1)
    over = np.maximum(0.0, np.diff(tables.value, axis=1) - price[:, None] * width).sum(axis=1)
    net = np.maximum(0.0, over - bonus)
    target = target_of_row(tables)
    has = target >= 0
    sums = np.bincount(target[has], weights=net[has], minlength=angle_cost.size)
    return float(np.maximum(0.0, sums - angle_cost).sum())


@dataclass
class Bound:
    """Lowers the bound (`value`), path by path.

    `paths` holds the latest paths, as (lane, subs) of each run, for orders to start from.
    """

    tables: Tables
    price: FloatArray = field(init=False)
    bonus: FloatArray = field(init=False)
    value: float = np.inf
    priced: int = 0
    paths: list[tuple[tuple[int, int], ...]] = field(default_factory=list)
    mix: Mix | None = None

    def __post_init__(self) -> None:
        rows = self.tables.at_h.shape[0]
        self.price, self.bonus = np.zeros(rows), np.zeros(rows)

    def start_from(self, hours: FloatArray) -> None:
        """First prices: each row's slope at what a known order brings, (row,)."""
        width = np.diff(self.tables.at_h, axis=1)
        rise = np.diff(self.tables.value, axis=1)
        slope = np.divide(rise, width, out=np.zeros_like(rise), where=width > 0.0)
        piece = (self.tables.at_h[:, 1:-1] <= hours[:, None]).sum(axis=1)
        self.price = slope[np.arange(hours.size), piece]

    def lower(
        self, cells: Cells, most: int, targets: IntArray, enough: float,
        known: Sequence[tuple[FloatArray, float]],
    ) -> float:  # fmt: skip
        """Price up to `most` paths in these cells; the least bound that they gave.

        Parameters
        ----------
        targets : int array
            Targets whose camera angle paths pay for once, by a bit each.
        enough : float
            A bound that need not be lowered.
        known : sequence of (hours, cost)
            What real orders bring and cost, angles of `targets` included: no mix is worse.
        """
        tables, rows = self.tables, self.price.size
        angle_cost = tables.angle_cost.copy()
        angle_cost[targets] = 0.0
        master = Master(tables, angle_cost)
        for hours, cost in known:
            master.add(hours, (hours > 0.0).astype(float), cost)
        values = values_for(tables, cells, targets.size)
        follower = Follower(tables, cells, values)
        first = np.zeros(5, dtype=np.int64)
        had, best = float(tables.scalar[HAD]), np.inf
        price_, bonus = self.price, self.bonus
        if known:
            self.mix = master.solve()
        for _ in range(most):
            q = self._by_lane(price_, bonus, targets)
            value = price(tables, cells, values, q, first)
            self.priced += 1
            found = had + conjugate(tables, price_, bonus, angle_cost) + value
            found += SAFETY * abs(found)
            if found < best:
                best, self.price, self.bonus = found, price_, bonus
            path = follower.follow(q, first)
            self.paths.append(path.runs)
            master.add(path.hours, path.visits, path.cost)
            self.mix = master.solve()
            settled = best - had - self.mix.value
            if best <= enough or settled <= SETTLED * abs(best):
                break
            price_ = SMOOTHING * self.price + (1.0 - SMOOTHING) * self.mix.price
            bonus = SMOOTHING * self.bonus + (1.0 - SMOOTHING) * self.mix.bonus
        assert price_.size == rows
        self.value = min(self.value, best)
        return best

    def _by_lane(self, price_: FloatArray, bonus: FloatArray, targets: IntArray) -> Prices:
        tables = self.tables
        mask = np.zeros(tables.angle_cost.size, dtype=np.int64)
        mask[targets] = 1 << np.arange(targets.size)
        angle = np.where(mask > 0, tables.angle_cost, 0.0)
        return Prices(
            np.where(tables.row >= 0, price_[tables.row], 0.0),
            taken_up(tables, bonus),
            angle[tables.target],
            mask[tables.target],
        )
