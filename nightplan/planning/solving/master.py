"""The bound's linear programme over the night paths found so far; it proposes prices.

Dantzig & Wolfe 1960, "Decomposition principle for linear programs": a mix of paths, its hours
and starts per row, and the utility under its tangents. It only steers; the bound itself is the
Lagrangian at whatever prices come out, so neither tolerance nor tangents can make it false.
"""

from __future__ import annotations

import numpy as np

from nightplan.planning.schedule_problem import FloatArray
from nightplan.planning.solving.path_programme import NightPath
from nightplan.planning.solving.utility_model import RowUtility

SHARES = np.linspace(0.0, 1.0, 7)
LOOSE = 2e-5


class Master:
    """Columns: hours x, taken up z and utility v of each row, the target's new angle y, paths."""

    def __init__(self, utility: RowUtility) -> None:
        import highspy

        self.utility = utility
        self.rows = rows = utility.goal_h.size
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
        targets = utility.priority.size
        nothing = self.nothing = (np.zeros(0, dtype=np.int32), np.zeros(0))
        for _ in range(rows):
            lp.addCol(0.0, 0.0, self.infinity, 0, *nothing)
        for _ in range(rows):
            lp.addCol(0.0, 0.0, 1.0, 0, *nothing)
        for _ in range(rows):
            lp.addCol(-1.0, -self.infinity, self.infinity, 0, *nothing)
        for cost in utility.angle_cost:
            lp.addCol(float(cost), 0.0, 1.0, 0, *nothing)
        for row in range(rows):
            self._at_least(0.0, [row], [-1.0])
        for row in range(rows):
            self._at_least(0.0, [rows + row], [-1.0])
        lp.addRow(1.0, 1.0, 0, *nothing)
        if utility.balance == "even":
            self._even_rows(targets)
        for row in range(rows):
            if utility.balance != "even":
                for slope, intercept in utility.tangents(row, SHARES):
                    self._tangent(row, slope, intercept)
            target = int(utility.target[row])
            if utility.angle_cost[target] > 0.0:
                self._at_least(0.0, [3 * rows + target, rows + row], [1.0, -1.0])
        self.add(NightPath(0.0, (), np.zeros(rows), np.zeros(rows), 0.0))

    def _at_least(self, low: float, index: list[int], value: list[float]) -> None:
        self.lp.addRow(
            low, self.infinity, len(index), np.array(index, dtype=np.int32), np.array(value)
        )

    def _tangent(self, row: int, slope: float, intercept: float) -> None:
        rows = self.rows
        self._at_least(0.0, [row, rows + row, 2 * rows + row], [slope, intercept, -1.0])

    def _even_rows(self, targets: int) -> None:
        """v of a target's first row carries its level; v of the others is nothing."""
        from nightplan.planning.schedule import EVEN_REST

        u, rows = self.utility, self.rows
        room = u.room
        for target in range(targets):
            mine = np.flatnonzero(u.target == target)
            first = int(mine[0])
            low = float((1.0 - room[mine]).min())
            # Gain of the mean, capped per row by an extra column each.
            means = []
            for row in mine:
                column = self.lp.getNumCol()
                self.lp.addCol(
                    -EVEN_REST * float(u.weight[row]), 0.0, float(room[row]), 0, *self.nothing
                )
                means.append(column)
                # share gained <= x / goal, and only if taken up
                self._at_least(
                    0.0, [int(row), column], [1.0 / max(float(u.goal_h[row]), 1e-9), -1.0]
                )
                self._at_least(0.0, [rows + int(row), column], [float(room[row]), -1.0])
                # level - low <= share had - low + share gained
                scale = (1.0 - EVEN_REST) * float(u.priority[target])
                self._at_least(
                    -(1.0 - float(room[row]) - low), [column, 2 * rows + first], [1.0, -1.0 / scale]
                )
            for row in mine[1:]:
                self._at_least(0.0, [2 * rows + int(row)], [-1.0])

    def add(self, path: NightPath) -> None:
        """One more path to mix."""
        hours, starts = np.flatnonzero(path.hours), np.flatnonzero(path.starts)
        index = np.concatenate([hours, self.rows + starts, [2 * self.rows]]).astype(np.int32)
        value = np.concatenate([path.hours[hours], path.starts[starts], [1.0]])
        self.lp.addCol(float(path.cost), 0.0, self.infinity, index.size, index, value)

    def force(self, taken: FloatArray) -> None:
        """Rows forced (1), forbidden (0) or free (nan); array (row,)."""
        for row in range(self.rows):
            low = 1.0 if taken[row] == 1.0 else 0.0
            high = 0.0 if taken[row] == 0.0 else 1.0
            self.lp.changeColBounds(self.rows + row, low, high)

    def solve(self) -> tuple[float, FloatArray, FloatArray, FloatArray, FloatArray]:
        """Value, price (row,), bonus (row,), and hours and taken up (row,) of the best mix."""
        self.lp.run()
        solution = self.lp.getSolution()
        dual = np.maximum(0.0, np.array(solution.row_dual[: 2 * self.rows]))
        column = np.array(solution.col_value[: 3 * self.rows])
        value = -float(self.lp.getInfo().objective_function_value)
        rows = self.rows
        hours, taken, gain = column[:rows], column[rows : 2 * rows], column[2 * rows :]
        if self.utility.balance == "diminishing":
            self._refine(hours, taken, gain)
        return value, dual[:rows], dual[rows:], hours, taken

    def _refine(self, hours: FloatArray, taken: FloatArray, gain: FloatArray) -> None:
        """Tangents where the mix is valued too high."""
        u = self.utility
        room = u.room
        for row in np.flatnonzero((taken > 1e-6) & (room > 0.0)):
            share = min(1.0, hours[row] / (taken[row] * u.goal_h[row] * room[row]))
            true = taken[row] * u.weight[row] * room[row] ** 2 * (1.0 - (1.0 - share) ** 2)
            if gain[row] > true + LOOSE:
                for slope, intercept in u.tangents(int(row), np.array([share])):
                    self._tangent(int(row), slope, intercept)
