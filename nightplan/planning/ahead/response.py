"""Tonight's hours and the hours of sampled futures, shared out so that their mean value is
largest.

    max over x of (1/K) Σ_k max over y_k of V(had + tonight(x) + later_k(y_k))

V is concave, x and y_k share out slots among rows, one train a night. Solved by the method of
Frank & Wolfe 1956, Naval Res. Logist. Q. 3, 95: each step gives every slot to the row whose hour
is worth most at the present slopes, then moves 2/(step + 2) of the way (Jaggi 2013, ICML 28,
427). Its dual gap (Jaggi 2013, eq. 2) bounds what is left to gain, at every step.

Many states of progress are worked through at once: axis 0 is the state (a history, a choice of
targets), and all states see the same futures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Bools, Floats
from nightplan.planning.ahead.futures import Futures
from nightplan.planning.ahead.rows import Rows

STEPS = 60
"""Steps of the method: the gap is then under 1 % of what the hours are worth."""


@dataclass(frozen=True, eq=False)
class Response:
    """What each state's best sharing of hours brings.

    Attributes
    ----------
    tonight_h, slots : array (state, row)
        Equivalent hours of tonight, slots shared freely, and how many slots they take; the rows
        of a lane take the same slots.
    later_h : array (state, future, row)
    price : array (state, row)
        Value of one more equivalent hour tonight, mean over the futures.
    """

    tonight_h: Floats
    slots: Floats
    later_h: Floats
    price: Floats


def respond(
    rows: Rows,
    had_h: Floats,
    weight: Floats,
    tonight_h: Floats,
    futures: Futures,
    steps: int = STEPS,
    sure: Bools | None = None,
) -> Response:
    """Share out tonight's slots and those of the futures.

    Parameters
    ----------
    had_h, weight : array (state, row)
    tonight_h : array (state, slot, row)
        Equivalent hours that each slot of tonight offers; 0 where a row may not be shot.
    sure : bool array (state, row), optional
        Rows whose price tonight counts on no later night.
    """
    states, size = had_h.shape
    tonight, slots = np.zeros((states, size)), np.zeros((states, size))
    later = np.zeros((states, futures.count, size))
    groups = _trains(rows)
    offered = futures.offered_h
    lookahead = offered.shape[1] > 0
    price = np.zeros((states, size))
    for step in range(steps):
        slope = weight[:, None, :] * rows.slope((had_h + tonight)[:, None, :] + later)
        price = slope.mean(axis=1)
        if sure is not None and sure.any():
            price = np.where(sure, weight * rows.slope(had_h + tonight), price)
        part = 2.0 / (step + 2.0)
        best_h, best_slots = _best_tonight(price, tonight_h, groups)
        tonight += part * (best_h - tonight)
        slots += part * (best_slots - slots)
        if lookahead:
            later += part * (_best_nights(slope, offered, groups) - later)
    return Response(tonight, slots, later, price)


@dataclass(frozen=True, eq=False)
class _Train:
    """Rows of one train, the lane of each from 0 on, and where each lane's rows begin."""

    rows: NDArray[np.intp]
    lane: NDArray[np.intp]
    first: NDArray[np.intp]

    def by_lane(self, value: Floats) -> Floats:
        """Sums over each lane, (..., lane), of values (..., row of the train)."""
        if self.first.size == self.rows.size:
            return value
        return np.asarray(np.add.reduceat(value, self.first, axis=-1))


def _trains(rows: Rows) -> list[_Train]:
    found = []
    for train in np.unique(rows.train):
        own = np.flatnonzero(rows.train == train)
        _, first, lane = np.unique(rows.lane[own], return_index=True, return_inverse=True)
        found.append(_Train(own, lane, first))
    return found


def _best_tonight(price: Floats, slot_h: Floats, groups: list[_Train]) -> tuple[Floats, Floats]:
    """Hours and slots (state, row) of the most valuable night: one train, each slot to its best
    lane."""
    earned, hours, counts = [], [], []
    for group in groups:
        own = slot_h[:, :, group.rows]
        value = group.by_lane(own * price[:, None, group.rows])
        best = value.argmax(axis=2)
        most = np.take_along_axis(value, best[..., None], 2)
        mine = (best[..., None] == group.lane) & (most > 0.0)
        earned.append(most[..., 0].sum(axis=1))
        whole = np.zeros((2, *price.shape))
        whole[0][:, group.rows] = (mine * own).sum(axis=1)
        whole[1][:, group.rows] = mine.sum(axis=1)
        hours.append(whole[0])
        counts.append(whole[1])
    first = np.argmax(np.stack(earned), axis=0)
    every = np.arange(price.shape[0])
    return np.stack(hours)[first, every], np.stack(counts)[first, every]


def _best_nights(slope: Floats, offered_h: Floats, groups: list[_Train]) -> Floats:
    """Hours (state, future, row) where each night takes its best train, each slot its best lane.

    `slope` is (state, future, row); `offered_h` (future, night, slot, row) for all states alike.
    """
    states, count, size = slope.shape
    table = offered_h[None]
    earned, chosen = [], []
    for group in groups:
        value = group.by_lane(table[..., group.rows] * slope[:, :, None, None, group.rows])
        best = value.argmax(axis=-1)
        earned.append(np.take_along_axis(value, best[..., None], -1)[..., 0].sum(axis=-1))
        chosen.append(best)
    first = np.argmax(np.stack(earned), axis=0)
    result = np.zeros(states * count * size)
    base = (np.arange(states * count) * size).reshape(states, count, 1, 1)
    for number, group in enumerate(groups):
        # A lane's rows one after the other: its first, where it has them its second, its third.
        for place in range(int(np.bincount(group.lane).max())):
            many = np.bincount(group.lane) > place
            row = group.rows[np.where(many, group.first + place, group.first)][chosen[number]]
            own_h = np.broadcast_to(table, (states, count, *table.shape[2:]))
            taken = np.take_along_axis(own_h, row[..., None], -1)[..., 0]
            taken = taken * ((first == number)[..., None] & many[chosen[number]])
            result += np.bincount((base + row).ravel(), taken.ravel(), states * count * size)
    return result.reshape(states, count, size)


def foresight_bound(
    rows: Rows, had_h: Floats, weight: Floats, futures: Futures, steps: int = STEPS
) -> float:
    """Most value that any way of sharing out could add on the mean, clear nights known ahead.

    No policy knows the sky, so none reaches more (information relaxation: Brown, Smith & Sun
    2010, Oper. Res. 58, 785); slots are shared freely and changes cost nothing. What the method
    leaves is added by its dual gap.

    Parameters
    ----------
    had_h, weight : array (row,)
    futures : Futures
        The histories, their nights from the first on.
    """
    none = np.zeros((1, 1, had_h.size))
    found = respond(rows, had_h[None], weight[None], none, futures, steps)
    reached = had_h + found.later_h[0]
    slope = weight * rows.slope(reached)
    best = _best_nights(slope[None], futures.offered_h, _trains(rows))[0]
    gap = (slope * (best - found.later_h[0])).sum(axis=1)
    added = rows.value(reached, weight) - rows.value(had_h, weight)
    return float((added + np.maximum(gap, 0.0)).mean())
