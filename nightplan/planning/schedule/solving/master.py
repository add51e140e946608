"""The bound's linear programme over the night paths found so far; it proposes prices.

Dantzig & Wolfe 1960, "Decomposition principle for linear programs": a mix of paths, its hours
and starts per row, and the value under its curves. It only steers; the bound itself is the
Lagrangian at whatever prices come out, so no tolerance can make it false.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from nightplan.planning.schedule.problem import FloatArray
from nightplan.planning.schedule.solving.path_programme import NightPath, Prices
from nightplan.planning.schedule.solving.utility_model import RowUtility


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

    v is at most the line of each piece of the row's curve.
    """

    def __init__(self, utility: RowUtility) -> None:
        import highspy

        self.utility = utility
        self.rows = rows = utility.most_h.size
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
        for cost, low, high in (
            *((0.0, 0.0, self.infinity) for _ in range(rows)),
            *((0.0, 0.0, 1.0) for _ in range(rows)),
            *((-1.0, -self.infinity, self.infinity) for _ in range(rows)),
            *((float(cost), 0.0, 1.0) for cost in utility.angle_cost),
        ):
            lp.addCol(cost, low, high, 0, *self.nothing)
        for column in range(2 * rows):
            self._at_least(0.0, [column], [-1.0])
        lp.addRow(1.0, 1.0, 0, *self.nothing)
        for row in range(rows):
            self._at_least(0.0, [2 * rows + row], [0.0])
        self._curve_rows()
        for row, target in enumerate(utility.target):
            if utility.angle_cost[target] > 0.0:
                self._at_least(0.0, [3 * rows + int(target), rows + row], [1.0, -1.0])
        self._block_rows()
        none = np.zeros(rows)
        self.add(NightPath(0.0, (), none, none, none, none, 0.0))

    def _curve_rows(self) -> None:
        """v is at most each piece's line, where taken up by part its perspective."""
        u, rows = self.utility, self.rows
        for row in range(rows):
            for piece in np.flatnonzero(u.widths[row] > 0.0):
                slope = float(u.slopes[row, piece])
                above = float(u.value[row, piece]) - slope * float(u.at_h[row, piece])
                index = [row, rows + row, 2 * rows + row]
                self._at_least(0.0, index, [slope, above, -1.0])
            self._at_least(0.0, [rows + row, 2 * rows + row], [float(u.value[row, -1]), -1.0])

    def _block_rows(self) -> None:
        """Blocks of each row, between bounds that branching sets; a fine keeps it soluble."""
        u = self.utility
        self.block_row = self.lp.getNumRow()
        fine = 2.0 * (float(np.sum(u.value[:, -1])) + 1.0)
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

    def add(self, path: NightPath) -> None:
        """One more path to mix."""
        hours, starts = np.flatnonzero(path.hours), np.flatnonzero(path.starts)
        blocks = np.flatnonzero(path.blocks)
        own = 2 * self.rows
        index = np.concatenate([hours, self.rows + starts, [own], self.block_row + blocks]).astype(
            np.int32
        )
        value = np.concatenate(
            [
                path.hours[hours],
                path.starts[starts],
                [1.0],
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
        taken = column[rows : 2 * rows]
        blocks = np.zeros(rows)
        for number, path in self.paths:
            if column[number] > 1e-9:
                blocks += column[number] * path.blocks
        return Mix(
            value=-float(self.lp.getInfo().objective_function_value),
            prices=Prices(
                np.maximum(0.0, duals[:rows]),
                np.maximum(0.0, duals[rows : 2 * rows]),
                duals[self.block_row : self.block_row + rows],
                np.zeros(rows),
            ),
            taken=taken,
            blocks=blocks,
        )
