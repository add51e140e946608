"""The bound's linear programme over the night paths found so far; it proposes prices.

Dantzig & Wolfe 1960, "Decomposition principle for linear programs": a mix of paths, its hours
and starts per row, and the utility under its tangents. It only steers; the bound itself is the
Lagrangian at whatever prices come out, so neither tolerance nor tangents can make it false.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from nightplan.planning.schedule.problem import FloatArray
from nightplan.planning.schedule.schedule import EVEN_REST
from nightplan.planning.schedule.solving.path_programme import NightPath, Prices
from nightplan.planning.schedule.solving.utility_model import RowUtility

SHARES = np.linspace(0.0, 1.0, 7)
LOOSE = 2e-5


@dataclass(frozen=True, eq=False)
class Mix:
    """The linear programme's answer: value, prices, and by row how far it is taken up (0 to 1)
    and how many blocks it has on average."""

    value: float
    prices: Prices
    taken: FloatArray
    blocks: FloatArray


class Master:
    """Columns: hours x, taken up z and utility v of each row, the target's new angle y, paths.

    Under diminishing returns v is charged for: its column is the square s of the share gained,
    at least its tangents (2 m x / goal - m^2 z) and at least the squares of the paths' runs.
    """

    def __init__(self, utility: RowUtility) -> None:
        import highspy

        self.utility = utility
        self.rows = rows = utility.goal_h.size
        self.paths: list[tuple[int, NightPath]] = []
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
        self.nothing = (np.zeros(0, dtype=np.int32), np.zeros(0))
        self.goal_h = np.where(utility.goal_h > 0.0, utility.goal_h, 1.0)
        per_hour, third = self._objective()
        for cost, low, high in (
            *((-float(slope), 0.0, self.infinity) for slope in per_hour),
            *((0.0, 0.0, 1.0) for _ in range(rows)),
            *((float(cost), -self.infinity, self.infinity) for cost in third),
            *((float(cost), 0.0, 1.0) for cost in utility.angle_cost),
        ):
            lp.addCol(cost, low, high, 0, *self.nothing)
        for column in range(2 * rows):
            self._at_least(0.0, [column], [-1.0])
        lp.addRow(1.0, 1.0, 0, *self.nothing)
        for row in range(rows):
            self._at_least(0.0, [2 * rows + row], [1.0 if utility.bends else 0.0])
        if utility.balance == "even":
            self._even_rows(utility.priority.size)
        elif utility.balance == "plain":
            self._plain_rows()
        else:
            for row in range(rows):
                for share in SHARES:
                    self._tangent(row, float(share * utility.room[row]))
        for row, target in enumerate(utility.target):
            if utility.angle_cost[target] > 0.0:
                self._at_least(0.0, [3 * rows + int(target), rows + row], [1.0, -1.0])
        self._block_rows()
        none = np.zeros(rows)
        self.add(NightPath(0.0, (), none, none, none, none, 0.0))

    def _objective(self) -> tuple[FloatArray, FloatArray]:
        """Utility per hour, and what the third column of each row costs."""
        u = self.utility
        if u.bends:
            return 2.0 * u.weight * u.room / self.goal_h, u.weight
        return np.zeros(self.rows), -np.ones(self.rows)

    def _plain_rows(self) -> None:
        """v <= weight x hours, and weight x hours wanted if taken up."""
        u, rows = self.utility, self.rows
        for row in range(rows):
            weight, room_h = float(u.weight[row]), max(0.0, float(u.goal_h[row] - u.had_h[row]))
            self._at_least(0.0, [row, 2 * rows + row], [weight, -1.0])
            self._at_least(0.0, [rows + row, 2 * rows + row], [weight * room_h, -1.0])

    def _block_rows(self) -> None:
        """Blocks of each row, between bounds that branching sets; a fine keeps it soluble."""
        u = self.utility
        self.block_row = self.lp.getNumRow()
        fine = 2.0 * (float(np.sum(u.weight * np.maximum(u.goal_h, 1.0))) + 1.0)
        for _ in range(self.rows):
            self._at_least(0.0, [], [])
        for row in range(self.rows):
            for sign in (1.0, -1.0):
                index = np.array([self.block_row + row], dtype=np.int32)
                self.lp.addCol(fine, 0.0, self.infinity, 1, index, np.array([sign]))

    def _at_least(self, low: float, index: list[int], value: list[float]) -> None:
        self.lp.addRow(
            low, self.infinity, len(index), np.array(index, dtype=np.int32), np.array(value)
        )

    def _tangent(self, row: int, share: float) -> None:
        """s >= 2 m x / goal - m^2 z at share gained m."""
        index = [row, self.rows + row, 2 * self.rows + row]
        self._at_least(0.0, index, [-2.0 * share / self.goal_h[row], share**2, 1.0])

    def _even_rows(self, targets: int) -> None:
        """v of a target's first row carries its level; v of the others is nothing."""
        u, rows = self.utility, self.rows
        room = u.room
        for target in range(targets):
            mine, low, cap = u.least_shares(target)
            first = int(mine[0])
            # Gain of the mean, capped per row by an extra column each.
            for row in mine:
                column = self.lp.getNumCol()
                self.lp.addCol(
                    -EVEN_REST * float(u.weight[row]), 0.0, float(room[row]), 0, *self.nothing
                )
                # share gained <= x / goal, and only if taken up
                self._at_least(
                    0.0, [int(row), column], [1.0 / max(float(u.goal_h[row]), 1e-9), -1.0]
                )
                self._at_least(0.0, [rows + int(row), column], [float(room[row]), -1.0])
                # level - low <= share had - low + share gained
                scale = (1.0 - EVEN_REST) * float(u.priority[target])
                had = 1.0 - float(room[row])
                self._at_least(low - had, [column, 2 * rows + first], [1.0, -1.0 / scale])
                # level <= share had, or the cap if taken up
                self._at_least(
                    low - had,
                    [rows + int(row), 2 * rows + first],
                    [max(0.0, cap - had), -1.0 / scale],
                )
            for row in mine[1:]:
                self._at_least(0.0, [2 * rows + int(row)], [-1.0])

    def add(self, path: NightPath) -> None:
        """One more path to mix."""
        hours, starts = np.flatnonzero(path.hours), np.flatnonzero(path.starts)
        blocks = np.flatnonzero(path.blocks)
        squares = np.flatnonzero(path.squares) if self.utility.bends else blocks[:0]
        own = 2 * self.rows
        index = np.concatenate(
            [hours, self.rows + starts, [own], own + 1 + squares, self.block_row + blocks]
        ).astype(np.int32)
        value = np.concatenate(
            [
                path.hours[hours],
                path.starts[starts],
                [1.0],
                -path.squares[squares],
                path.blocks[blocks],
            ]
        )
        self.paths.append((self.lp.getNumCol(), path))
        self.lp.addCol(float(path.cost), 0.0, self.infinity, index.size, index, value)

    def restrict(self, least: FloatArray, most: FloatArray) -> None:
        """Fewest and most blocks of each row, arrays (row,)."""
        for row in range(self.rows):
            high = float(most[row]) if np.isfinite(most[row]) else self.infinity
            self.lp.changeRowBounds(self.block_row + row, float(least[row]), high)

    def solve(self) -> Mix:
        """The best mix of the paths known so far."""
        self.lp.run()
        solution = self.lp.getSolution()
        rows = self.rows
        duals = np.nan_to_num(np.array(solution.row_dual))
        column = np.nan_to_num(np.array(solution.col_value))
        hours, taken, square = np.split(column[: 3 * rows], 3)
        blocks = np.zeros(rows)
        for number, path in self.paths:
            if column[number] > 1e-9:
                blocks += column[number] * path.blocks
        if self.utility.bends:
            self._refine(hours, taken, square)
        return Mix(
            value=-float(self.lp.getInfo().objective_function_value),
            prices=Prices(
                np.maximum(0.0, duals[:rows]),
                np.maximum(0.0, duals[rows : 2 * rows]),
                duals[self.block_row : self.block_row + rows],
                np.maximum(0.0, duals[2 * rows + 1 : 3 * rows + 1]),
            ),
            taken=taken,
            blocks=blocks,
        )

    def _refine(self, hours: FloatArray, taken: FloatArray, square: FloatArray) -> None:
        """Tangents where the mix is valued too high."""
        u = self.utility
        for row in np.flatnonzero(taken > 1e-6):
            share = hours[row] / (taken[row] * self.goal_h[row])
            if u.weight[row] * (taken[row] * share**2 - square[row]) > LOOSE:
                self._tangent(int(row), float(share))
