"""The utility of rows as the bound needs it: exact conjugates.

Per row the gain of y more share of the goal is weight (2 room y - y^2). On/off enters by its
perspective, taken x gain(y / taken), at a bonus per start. A path's square of y is at least the
sum of squares of its runs, which the path programme counts; so part of the curvature (`curve`)
can be charged there, run by run, and a mix of long and short runs no longer passes for their mean.
The Lagrangian of a target is then  max(0, sum of positive parts - cost of a new angle), in closed
form, so that the bound holds at any prices, whatever the linear programme's tangents are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, IntArray, Problem
from nightplan.planning.schedule.schedule import EVEN_REST, block_hours, share_of_goal


@dataclass(frozen=True, eq=False)
class RowUtility:
    """Rows of progress as arrays (row,): all that the objective says of them.

    `goal_h`, `had_h` (earlier nights and blocks kept), `weight` (priority / rows of the target,
    or the priority in plain mode), `target` (index), and for each target `angle_cost`. `guide`
    above 0 softens strict balance, -log(mean exp(-guide share)) / guide in place of the least
    share, so that a search that starts from nothing sees a slope (the least complete filter
    alone shows none until all are begun); 0 for the true utility. `cap` (target,) is what is known
    of the least share that a target can reach tonight; only the bound of strict balance uses it.
    """

    balance: str
    goal_h: FloatArray
    had_h: FloatArray
    gathered_h: FloatArray
    weight: FloatArray
    target: np.ndarray
    priority: FloatArray
    angle_cost: FloatArray
    sunk_cost: float
    cap: FloatArray
    guide: float = 0.0

    @property
    def bends(self) -> bool:
        """Whether rows have diminishing returns of their own."""
        return self.balance == "diminishing"

    @property
    def room(self) -> FloatArray:
        """Share of the goal that is still wanted, array (row,)."""
        had = np.array([share_of_goal(h, g) for h, g in zip(self.had_h, self.goal_h, strict=True)])
        return 1.0 - had

    def constant(self) -> float:
        """Objective if nothing more is shot."""
        return self.total(np.zeros(self.goal_h.size)) - self.sunk_cost

    def total(self, hours: FloatArray) -> float:
        """Utility after `hours` more of each row, array (row,)."""
        return float(self.totals(hours[None, :])[0])

    def totals(self, hours: FloatArray) -> FloatArray:
        """Utility of many outcomes: `hours` array (outcome, row), result (outcome,)."""
        if self.balance == "plain":
            done = np.minimum(self.had_h + hours, np.maximum(self.goal_h, self.gathered_h))
            return (done - self.gathered_h) @ self.weight
        safe = np.where(self.goal_h > 0.0, self.goal_h, 1.0)
        share = np.minimum((self.had_h + hours) / safe, 1.0)
        share[:, self.goal_h <= 0.0] = 1.0
        if self.balance == "diminishing":
            return (share * (2.0 - share)) @ self.weight
        total = EVEN_REST * (share @ self.weight)
        for number, priority in enumerate(self.priority):
            mine = share[:, self.target == number]
            if self.guide:
                least = -np.log(np.exp(-self.guide * mine).mean(axis=1)) / self.guide
            else:
                least = mine.min(axis=1)
            total += (1.0 - EVEN_REST) * priority * least
        return total

    def least_shares(self, target: int) -> tuple[IntArray, float, float]:
        """Rows of a target, the share that the least of them has, and the most it can reach."""
        rows = np.flatnonzero(self.target == target)
        low = float((1.0 - self.room[rows]).min())
        return rows, low, max(low, float(self.cap[target]))

    def capped(self, bound: float) -> RowUtility:
        """With what a bound of the whole objective says of each target's least share.

        Other targets cannot lose what they have, so whatever is gained may be this target's;
        the lower the share that a target can reach, the more each part of it must be started.
        """
        gain = max(0.0, bound - self.constant()) / (1.0 - EVEN_REST)
        lows = np.array([self.least_shares(number)[1] for number in range(self.priority.size)])
        reach = np.divide(
            gain, self.priority, out=np.full(lows.size, np.inf), where=self.priority > 0.0
        )
        return replace(self, cap=np.minimum(self.cap, lows + reach))

    def conjugate(
        self,
        price: FloatArray,
        bonus: FloatArray,
        curve: FloatArray,
        taken: FloatArray,
    ) -> float:
        """Most of utility - price x hours - bonus x taken + curve x squares.

        Over hours >= 0, taken in [0, 1] and squares >= the share gained, squared; arrays (row,).
        `taken`: nan leaves a row free, 1 forces it to be taken up, 0 forbids it. `curve` lies
        between 0 and `weight`, and is 0 but for diminishing returns.
        """
        room = self.room
        if self.balance == "even":
            return self._conjugate_even(price, bonus, taken)
        if self.balance == "plain":
            most = np.maximum(0.0, self.goal_h - self.had_h) * np.maximum(0.0, self.weight - price)
        else:
            slope = np.maximum(0.0, 2.0 * self.weight * room - price * self.goal_h)
            bend = np.maximum(self.weight - curve, 0.0)
            share = np.minimum(room, slope / np.maximum(2.0 * bend, 1e-12))
            most = slope * share - bend * share**2
        net = most - bonus
        return self._sum_targets(np.where(taken == 1.0, net, np.maximum(0.0, net)), taken)

    def _sum_targets(self, net: FloatArray, taken: FloatArray) -> float:
        net = np.where(taken == 0.0, 0.0, net)
        sums = np.bincount(self.target, weights=net, minlength=self.priority.size)
        forced = np.bincount(self.target, weights=taken == 1.0, minlength=self.priority.size) > 0
        after = sums - self.angle_cost
        return float(np.sum(np.where(forced, after, np.maximum(0.0, after))))

    def _conjugate_even(self, price: FloatArray, bonus: FloatArray, taken: FloatArray) -> float:
        """Strict balance: one level per target, piecewise linear between the rows' shares."""
        total = 0.0
        for number, priority in enumerate(self.priority):
            mine, low, cap = self.least_shares(number)
            room, goal = self.room[mine], self.goal_h[mine]
            per_share = price[mine] * goal
            mean = EVEN_REST * self.weight[mine]
            # Above the level a row earns its part of the mean only if that pays by itself.
            extra = np.maximum(0.0, mean - per_share)
            best = 0.0
            for level in np.unique(np.minimum(np.append(1.0 - room, 1.0), cap)):
                raised = np.maximum(0.0, level - (1.0 - room))
                value = (1.0 - EVEN_REST) * priority * (level - low)
                rows = raised * (mean - per_share) + extra * np.minimum(room, 1.0 - level)
                rows = np.where(1.0 - room > level, extra * room, rows)
                must = raised > 0.0
                value += float(np.sum(np.where(must, rows - bonus[mine], 0.0)))
                free = np.maximum(0.0, rows - bonus[mine])
                value += float(np.sum(np.where(must, 0.0, free)))
                best = max(best, value - (self.angle_cost[number] if value > 0.0 else 0.0))
            forced = mine[taken[mine] == 1.0]
            if forced.size:
                best += float(np.sum(np.maximum(0.0, -bonus[forced])))
            total += max(0.0, best)
        return total


def row_utility(problem: Problem) -> RowUtility:
    """Collect what the objective says of each row of `problem`, with what was kept."""
    keys = problem.row_keys
    first = {row: number for number, row in reversed(list(enumerate(problem.row_of_task)))}
    tasks = [problem.tasks[first[row]] for row in range(len(keys))]
    target = np.array([problem.targets.index(key[0]) for key in keys], dtype=int)
    counts = np.bincount(target, minlength=len(problem.targets))
    priority = np.zeros(len(problem.targets))
    angle = np.zeros(len(problem.targets))
    for number, name in enumerate(problem.targets):
        # Where some field of a target owes no flats, the bound may not count on any.
        if all(pointing.new_angle for pointing in problem.pointings if pointing.target == name):
            angle[number] = problem.change_costs.new_angle
    for row, task in enumerate(tasks):
        priority[target[row]] = problem.pointings[task.pointing].priority
    had = np.array([task.gathered_h for task in tasks])
    kept = np.zeros(len(keys))
    from nightplan.planning.schedule.schedule import count_changes

    for block in problem.kept:
        kept[problem.row_of_task[block.task]] += block_hours(problem, block)
        pointing = problem.pointings[block.pointing]
        if pointing.new_angle:
            angle[problem.targets.index(pointing.target)] = 0.0
    changes = count_changes(problem, problem.kept)
    costs = problem.change_costs
    sunk = sum(changes[name] * getattr(costs, name) for name in changes)
    weight = priority[target]
    if problem.balance != "plain":
        weight = weight / counts[target]
    return RowUtility(
        balance=problem.balance,
        goal_h=np.array([task.goal_h for task in tasks]),
        had_h=had + kept,
        gathered_h=had,
        weight=weight,
        target=target,
        priority=priority,
        angle_cost=angle,
        sunk_cost=sunk,
        cap=np.ones(len(problem.targets)),
    )
