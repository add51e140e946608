"""What a beginning of the night has brought, and the most that may be added to it at given prices.

`RowUtility.conjugate` of what is left, for many beginnings at once: a row that is begun pays no
bonus any more, and a target that is begun has paid for its camera angle.
"""

from __future__ import annotations

import numpy as np

from nightplan.planning.schedule.problem import BoolArray, FloatArray
from nightplan.planning.schedule.schedule import EVEN_REST
from nightplan.planning.schedule.solving.path_programme import Prices
from nightplan.planning.schedule.solving.utility_model import RowUtility


class Completion:
    """The objective of beginnings at `prices`; hours are arrays (beginning, row)."""

    def __init__(self, utility: RowUtility, prices: Prices) -> None:
        self.utility, self.prices = utility, prices
        self.room = utility.room
        self.goal_h = np.where(utility.goal_h > 0.0, utility.goal_h, 1.0)
        self.rows = [np.flatnonzero(utility.target == k) for k in range(utility.priority.size)]
        self.angles_due = bool(np.any(utility.angle_cost > 0.0))
        self.bend = np.maximum(utility.weight - prices.curve, 0.0)

    def now(self, hours: FloatArray) -> FloatArray:
        """What nights are worth that end here, the cost of their changes aside."""
        worth = self.utility.totals(hours) - self.utility.sunk_cost
        if self.angles_due:
            worth -= self.angles(hours)
        return worth

    def most(self, hours: FloatArray) -> FloatArray:
        """That, and the most that hours beyond can add over their price."""
        utility, prices = self.utility, self.prices
        taken = hours > 0.0
        worth = utility.totals(hours) - utility.sunk_cost
        if utility.balance == "even":
            for number, mine in enumerate(self.rows):
                begun = taken[:, mine]
                added = self._even(number, hours[:, mine], begun)
                worth += self._less_angle(number, added, begun)
            return worth
        if utility.balance == "plain":
            left = np.maximum(0.0, utility.goal_h - utility.had_h - hours)
            most = left * np.maximum(0.0, utility.weight - prices.hour)
        else:
            room = np.maximum(0.0, self.room - hours / self.goal_h)
            slope = np.maximum(0.0, 2.0 * utility.weight * room - prices.hour * utility.goal_h)
            share = np.minimum(room, slope / np.maximum(2.0 * self.bend, 1e-12))
            most = (slope - self.bend * share) * share
        net = np.where(taken, most, np.maximum(0.0, most - prices.bonus))
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

    def _even(self, number: int, hours: FloatArray, begun: BoolArray) -> FloatArray:
        """Strict balance: one level per target, piecewise linear between the rows' shares.

        Arrays (beginning, row of the target) and inside (beginning, level, row).
        """
        utility, mine = self.utility, self.rows[number]
        share = np.minimum(1.0, 1.0 - self.room[mine] + hours / self.goal_h[mine])
        low = share.min(axis=1)
        cap = np.maximum(low, utility.cap[number])[:, None]
        level = np.minimum(np.concatenate([share, np.ones((share.shape[0], 1))], axis=1), cap)
        per_share = self.prices.hour[mine] * self.goal_h[mine]
        mean = EVEN_REST * utility.weight[mine]
        # Above the level a row earns its part of the mean only if that pays by itself.
        extra = np.maximum(0.0, mean - per_share)
        level, share = level[:, :, None], share[:, None, :]
        raised = np.maximum(0.0, level - share)
        gain = raised * (mean - per_share) + extra * np.minimum(1.0 - share, 1.0 - level)
        gain = np.where(share > level, extra * (1.0 - share), gain)
        gain -= np.where(begun, 0.0, self.prices.bonus[mine])[:, None, :]
        gain = np.where((raised > 0.0) | begun[:, None, :], gain, np.maximum(0.0, gain))
        value = gain.sum(axis=2)
        value += (1.0 - EVEN_REST) * utility.priority[number] * (level[:, :, 0] - low[:, None])
        result: FloatArray = np.maximum(0.0, value.max(axis=1))
        return result
