"""What a beginning of the night has brought, and the most that may be added to it at given prices.

`RowUtility.conjugate` of what is left, for many beginnings at once: a row that is begun pays no
bonus any more, and a target that is begun has paid for its camera angle.
"""

from __future__ import annotations

import numpy as np

from nightplan.planning.schedule.problem import BoolArray, FloatArray
from nightplan.planning.schedule.solving.path_programme import Prices
from nightplan.planning.schedule.solving.utility_model import RowUtility


class Completion:
    """The objective of beginnings at `prices`; hours are arrays (beginning, row)."""

    def __init__(self, utility: RowUtility, prices: Prices) -> None:
        self.utility, self.prices = utility, prices
        self.rows = [np.flatnonzero(utility.target == k) for k in range(utility.angle_cost.size)]
        self.angles_due = bool(np.any(utility.angle_cost > 0.0))
        over = np.maximum(0.0, utility.slopes - prices.hour[:, None])
        steps = np.cumsum(utility.widths * over, axis=1)
        self.over = np.concatenate([np.zeros((len(over), 1)), steps], axis=1)

    def now(self, hours: FloatArray) -> FloatArray:
        """What nights are worth that end here, the cost of their changes aside."""
        worth = self.utility.totals(hours)
        if self.angles_due:
            worth -= self.angles(hours)
        return worth

    def most(self, hours: FloatArray) -> FloatArray:
        """That, and the most that hours beyond can add over their price."""
        utility, taken = self.utility, hours > 0.0
        worth = utility.totals(hours)
        most = np.empty(hours.shape)
        for row in range(hours.shape[1]):
            most[:, row] = self.over[row, -1] - np.interp(
                hours[:, row], utility.at_h[row], self.over[row]
            )
        net = np.where(taken, most, np.maximum(0.0, most - self.prices.bonus))
        if not self.angles_due:
            result: FloatArray = worth + net.sum(axis=1)
            return result
        for number, mine in enumerate(self.rows):
            worth += self._less_angle(number, net[:, mine].sum(axis=1), taken[:, mine])
        return worth

    def angles(self, hours: FloatArray) -> FloatArray:
        """Cost of the new camera angles that are used."""
        cost = np.zeros(hours.shape[0])
        if self.angles_due:
            for number, mine in enumerate(self.rows):
                used = (hours[:, mine] > 0.0).any(axis=1)
                cost += used * self.utility.angle_cost[number]
        return cost

    def _less_angle(self, number: int, added: FloatArray, begun: BoolArray) -> FloatArray:
        after = added - self.utility.angle_cost[number]
        result: FloatArray = np.where(begun.any(axis=1), after, np.maximum(0.0, after))
        return result
