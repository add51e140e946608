"""The value of rows as the bound needs it: exact conjugates of their curves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, Problem
from nightplan.planning.schedule.schedule import block_hours, count_changes


@dataclass(frozen=True, eq=False)
class RowUtility:
    """Rows of progress as arrays: all that the objective says of them.

    `at_h` and `value` (row, point) are the curves beyond what is had, both 0 at the first point
    and padded with their last; `target` (row,) an index, and for each target `angle_cost`.
    """

    at_h: FloatArray
    value: FloatArray
    target: np.ndarray
    angle_cost: FloatArray
    start: float

    @property
    def most_h(self) -> FloatArray:
        """Hours that still bring something, array (row,)."""
        return self.at_h[:, -1]

    @property
    def widths(self) -> FloatArray:
        """Length of each piece, (row, piece)."""
        return np.diff(self.at_h, axis=1)

    @property
    def slopes(self) -> FloatArray:
        """Value per hour of each piece, 0 where it has no length, (row, piece)."""
        rise = np.diff(self.value, axis=1)
        return np.divide(rise, self.widths, out=np.zeros_like(rise), where=self.widths > 0.0)

    def constant(self) -> float:
        """Objective if nothing more is shot."""
        return self.start

    def totals(self, hours: FloatArray) -> FloatArray:
        """Objective of many outcomes, costs to come left out: (outcome, row) to (outcome,)."""
        total = np.full(hours.shape[0], self.start)
        for row in range(self.at_h.shape[0]):
            total += np.interp(hours[:, row], self.at_h[row], self.value[row])
        return total

    def conjugate(self, price: FloatArray, bonus: FloatArray, taken: FloatArray) -> float:
        """Most of value - price x hours - bonus x taken, over hours >= 0 and taken in [0, 1].

        `taken`: nan leaves a row free, 1 forces it to be taken up, 0 forbids it.
        """
        most = (self.widths * np.maximum(0.0, self.slopes - price[:, None])).sum(axis=1)
        net = most - bonus
        net = np.where(taken == 1.0, net, np.maximum(0.0, net))
        net = np.where(taken == 0.0, 0.0, net)
        sums = np.bincount(self.target, weights=net, minlength=self.angle_cost.size)
        forced = np.bincount(self.target, weights=taken == 1.0, minlength=sums.size) > 0
        after = sums - self.angle_cost
        return float(np.sum(np.where(forced, after, np.maximum(0.0, after))))


def row_utility(problem: Problem) -> RowUtility:
    """Collect what the objective says of each row of `problem`, with what was kept."""
    keys = problem.row_keys
    target = np.array([problem.targets.index(key[0]) for key in keys], dtype=int)
    angle = np.zeros(len(problem.targets))
    for number, name in enumerate(problem.targets):
        # Where some field of a target owes no flats, the bound may not count on any.
        if all(pointing.new_angle for pointing in problem.pointings if pointing.target == name):
            angle[number] = problem.change_costs.new_angle
    kept = np.zeros(len(keys))
    for block in problem.kept:
        kept[problem.row_of_task[block.task]] += block_hours(problem, block)
        pointing = problem.pointings[block.pointing]
        if pointing.new_angle:
            angle[problem.targets.index(pointing.target)] = 0.0
    changes = count_changes(problem, problem.kept)
    costs = problem.change_costs
    start = -sum(changes[name] * getattr(costs, name) for name in changes)
    size = max((len(curve.hours_h) for curve in problem.curves), default=2)
    at, value = np.zeros((len(keys), size)), np.zeros((len(keys), size))
    for row, curve in enumerate(problem.curves):
        had = curve.gathered_h + kept[row]
        beyond = [hour for hour in curve.hours_h if hour > had]
        worth = curve.at(np.array([had, *beyond]))
        start += float(worth[0])
        at[row] = np.pad(np.array([0.0, *(hour - had for hour in beyond)]),
                         (0, size - 1 - len(beyond)), mode="edge")  # fmt: skip
        value[row] = np.pad(worth - worth[0], (0, size - 1 - len(beyond)), mode="edge")
    return RowUtility(at, value, target, angle, start)
