"""How the hours of a clear night are given out: one train, then slot by slot to the best filter.

A slot goes to the row (a filter of a target) where

    marginal utility of the row's share × equivalent hours the slot brings × advantage

is largest. The first two are the objective's own slope. The advantage is the slot's rate over the
row's mean rate per dark hour in the coming lunation, to a power: so what the moon spoils waits for
the dark nights, narrowband takes the moonlit ones, and a target that leaves the sky soon goes
first. It looks the same number of nights ahead from every night, so what a night holds does not
depend on how many nights were asked for. Changing target or filter costs the minutes it takes.

All histories (skies that were clear on other nights) are worked through at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nightplan.model.preferences import Balance

Floats = NDArray[np.float64]

ADVANTAGE_POWER = 1.0
EVEN_REST = 0.01
"""Weight of the mean beside the least complete filter when strict balance is asked for."""
DONE = 1.0 - 1e-9
"""Share of a goal from which it counts as reached."""


@dataclass(frozen=True, eq=False)
class Rows:
    """Every wanted filter of every target, as arrays (row,) in the order of the targets.

    Attributes
    ----------
    target, filter, train : ndarray of int
        Indices into the campaign's targets, the wheel's filters and the trains.
    goal_h, gathered_h : ndarray
        Equivalent hours over all panels; what earlier nights brought counts up to the goal.
    weight : ndarray
        Priority of the target ÷ number of its rows.
    priority : ndarray
        Of the target.
    change_h : ndarray, shape (row + 2, row)
        Hours lost when a slot goes to a row after another; on the diagonal nothing. The last two
        lines are the night's start, in focus on the first target, and the end of a pause.
    """

    target: NDArray[np.intp]
    filter: NDArray[np.intp]
    train: NDArray[np.intp]
    goal_h: Floats
    gathered_h: Floats
    weight: Floats
    priority: Floats
    change_h: Floats

    @property
    def share(self) -> Floats:
        """Share of the goal that stands before the first night, (row,)."""
        return np.minimum(1.0, self.gathered_h / self.goal_h)

    def of_target(self, targets: int) -> NDArray[np.bool_]:
        """Which rows are a target's, (target, row)."""
        return np.arange(targets)[:, None] == self.target[None, :]


@dataclass(frozen=True, eq=False)
class NightWork:
    """What a clear night brings to each history.

    Attributes
    ----------
    clock_h : ndarray, shape (history, row)
        Hours on the clock, changes included.
    share : ndarray, shape (history, row)
        Share of goal after the night.
    train : ndarray of int, shape (history,)
        Train of the night; -1 where there is nothing to do.
    """

    clock_h: Floats
    share: Floats
    train: NDArray[np.intp]


def night_work(
    rows: Rows,
    share: Floats,
    rate: Floats,
    typical_rate: Floats,
    slot_h: float,
    balance: Balance = "diminishing",
    power: float = ADVANTAGE_POWER,
) -> NightWork:
    """Give out one clear night.

    Parameters
    ----------
    rows : Rows
    share : ndarray, shape (history, row)
        Shares of goal before the night.
    rate : ndarray, shape (slot, row)
        Equivalent hours per hour.
    typical_rate : ndarray, shape (row,)
        Mean rate per dark hour of the coming lunation.
    slot_h : float
        Length of a slot.
    balance : str
        As of the plan of one night.
    power : float
        Of the advantage.
    """
    histories = share.shape[0]
    clock = np.zeros_like(share)
    after = share.copy()
    train = np.full(histories, -1, dtype=np.intp)
    best = np.zeros(histories)
    offered = (rate > 0.0).any(axis=0) & (share < DONE).any(axis=0)
    for number in np.unique(rows.train[offered]):
        mine = np.flatnonzero(offered & (rows.train == number))
        gained, hours, shares = _sweep(
            rows, mine, share, rate[:, mine], typical_rate[mine], slot_h, balance, power
        )
        better = np.flatnonzero(gained > best)
        train[better] = number
        best[better] = gained[better]
        clock[better] = 0.0
        after[better] = share[better]
        clock[np.ix_(better, mine)] = hours[better]
        after[np.ix_(better, mine)] = shares[better]
    return NightWork(clock, after, train)


def _sweep(
    rows: Rows,
    mine: NDArray[np.intp],
    share: Floats,
    rate: Floats,
    typical_rate: Floats,
    slot_h: float,
    balance: Balance,
    power: float,
) -> tuple[Floats, Floats, Floats]:
    """One train's night in order of time: advantage-weighted gain, clock hours, shares after."""
    histories = share.shape[0]
    goal = rows.goal_h[mine]
    change_h = rows.change_h[np.ix_(np.append(mine, (-2, -1)), mine)]
    kept = np.maximum(0.0, 1.0 - change_h / slot_h)
    lift = np.where(typical_rate > 0.0, rate / np.maximum(typical_rate, 1e-300), 0.0) ** power
    index = rate * lift
    after = share[:, mine]
    hours = np.zeros_like(after)
    gained = np.zeros(histories)
    before = np.full(histories, mine.size)
    every = np.arange(histories)
    slope = marginal(rows, mine, after, balance)
    for slot in range(rate.shape[0]):
        if not index[slot].any():
            before[before != mine.size] = mine.size + 1
            continue
        value = kept[before]
        value *= slope
        value *= index[slot]
        chosen = np.argmax(value, axis=1)
        top = value[every, chosen]
        work = np.flatnonzero(top > 0.0)
        if work.size < histories:
            idle = (top <= 0.0) & (before != mine.size)
            before[idle] = mine.size + 1
        row = chosen[work]
        offer_h = rate[slot, row] * slot_h * kept[before[work], row]
        missing_h = (1.0 - after[work, row]) * goal[row]
        used = np.minimum(1.0, missing_h / offer_h)
        after[work, row] = np.where(
            used < 1.0, 1.0, np.minimum(1.0, after[work, row] + offer_h / goal[row])
        )
        hours[work, row] += slot_h * used
        gained[work] += top[work] * slot_h * used
        before[work] = row
        if balance == "even":
            slope = marginal(rows, mine, after, balance)
        else:
            one = marginal_of(rows, mine[row], after[work, row], balance)
            slope[work, row] = one
    return gained, hours, after


def marginal_of(rows: Rows, row: NDArray[np.intp], share: Floats, balance: Balance) -> Floats:
    """Utility per equivalent hour of rows at their shares, for any balance but ``even``."""
    if balance == "plain":
        return np.where(share < DONE, rows.priority[row], 0.0)
    left = np.where(share < DONE, 1.0 - share, 0.0)
    return np.asarray(rows.weight[row] * 2.0 * left / rows.goal_h[row])


def marginal(rows: Rows, mine: NDArray[np.intp], share: Floats, balance: Balance) -> Floats:
    """Utility per equivalent hour, (history, row), of the rows `mine` at their shares.

    The slope of the plan's objective: of p(2 - p) over the goal; for ``plain`` the priority; for
    ``even`` nearly all of it on each target's least complete row.
    """
    if balance != "even":
        return marginal_of(rows, np.broadcast_to(mine, share.shape), share, balance)
    per_share = np.broadcast_to(EVEN_REST * rows.weight[mine], share.shape).copy()
    for target in np.unique(rows.target[mine]):
        own = np.flatnonzero(rows.target[mine] == target)
        least = share[:, own].min(axis=1, keepdims=True)
        is_least = share[:, own] <= least + 1e-9
        lead = (1.0 - EVEN_REST) * rows.priority[mine[own]]
        per_share[:, own] += np.where(is_least, lead / is_least.sum(axis=1, keepdims=True), 0.0)
    return np.where(share < DONE, per_share / rows.goal_h[mine], 0.0)


def utility(rows: Rows, share: Floats, balance: Balance = "diminishing") -> Floats:
    """Sum over targets of priority × mean over rows of p(2 - p), (history,), or by `balance`."""
    if balance == "plain":
        return np.asarray((rows.priority * rows.goal_h * share).sum(axis=1))
    mean = share * (2.0 - share) if balance == "diminishing" else EVEN_REST * share
    total = (rows.weight * mean).sum(axis=1)
    if balance == "even":
        for target in np.unique(rows.target):
            own = np.flatnonzero(rows.target == target)
            lead = (1.0 - EVEN_REST) * rows.priority[own[0]]
            total = total + lead * share[:, own].min(axis=1)
    return np.asarray(total)
