"""Skies to come: which nights are clear, and what the policy makes of each such history.

Every night is clear with the same chance, on its own. Many histories are drawn from a fixed seed
and the policy is replayed in each. Within a night exactly the chance's share of the histories is
clear, in a random order of its own (Latin hypercube sampling: McKay, Beckman & Conover 1979,
Technometrics 21, 239), which makes the shares found closer to the true ones than free draws. A
night's order depends on the nights before it only, so a longer campaign holds the shorter one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nightplan.model.preferences import Balance
from nightplan.planning.campaign.policy import DONE, Rows, night_work, utility

Floats = NDArray[np.float64]

HISTORIES = 4096
SEED = 20270101
LUNATION_NIGHTS = 30
"""How far the policy looks ahead: a synodic month is 29.5 days."""


@dataclass(frozen=True, eq=False)
class Replay:
    """What came of the histories.

    Attributes
    ----------
    clock_h, equivalent_h : ndarray, shape (night, row)
        What the night holds if it is clear and every target stands where the median history has
        it by then.
    train : ndarray of int, shape (night,)
        Train of that; -1 for none.
    finished : ndarray, shape (night, target)
        Share of the histories in which all of a target's goals are reached after the night.
    start_share : ndarray, shape (row,)
        Share of goal before the first night.
    mean_share : ndarray, shape (row,)
        Mean over the histories after the last night.
    mean_utility : float
        Mean over the histories of the plan's utility after the last night.
    histories : int
    """

    clock_h: Floats
    equivalent_h: Floats
    train: NDArray[np.intp]
    finished: Floats
    start_share: Floats
    mean_share: Floats
    mean_utility: float
    histories: int


def clear_nights(nights: int, chance: float, histories: int = HISTORIES) -> NDArray[np.bool_]:
    """Which nights are clear, (night, history)."""
    rng = np.random.default_rng(SEED)
    count = round(chance * histories)
    clear = np.zeros((nights, histories), dtype=bool)
    for night in range(nights):
        clear[night, rng.permutation(histories)[:count]] = True
    return clear


def typical_rates(rate: Floats, slot_h: Floats, slots: NDArray[np.intp]) -> Floats:
    """Mean rate per hour of working span over the coming lunation, shape (night, row).

    Parameters
    ----------
    rate : ndarray, shape (night, slot, row)
        With `LUNATION_NIGHTS` more nights than are asked for, so that all look equally far.
    slot_h, slots : ndarray, shape (night,)
    """
    offered = rate.sum(axis=1) * slot_h[:, None]
    worked = slots * slot_h
    ahead = min(LUNATION_NIGHTS, len(worked))
    sums = np.cumsum(np.vstack([np.zeros(offered.shape[1]), offered]), axis=0)
    hours = np.cumsum(np.concatenate([[0.0], worked]))
    last = np.minimum(np.arange(len(worked)) + ahead, len(worked))
    span = hours[last] - hours[:-1]
    return (sums[last] - sums[:-1]) / np.maximum(span, 1e-300)[:, None]


def replay(
    rows: Rows,
    rate: Floats,
    typical: Floats,
    slot_h: Floats,
    slots: NDArray[np.intp],
    chance: float,
    balance: Balance,
    histories: int = HISTORIES,
    progress: Callable[[int, int], None] | None = None,
) -> Replay:
    """Replay the policy over every history.

    Parameters
    ----------
    rate, typical : ndarray, shapes (night, slot, row) and (night, row)
        Of the nights asked for.
    chance : float
        Chance of a clear night. 0 and 1 leave one history.
    """
    nights = rate.shape[0]
    certain = chance <= 0.0 or chance >= 1.0
    clear = clear_nights(nights, chance, 1 if certain else histories)
    count = clear.shape[1]
    share = np.repeat(rows.share[None, :], count, axis=0)
    targets = int(rows.target.max(initial=-1)) + 1
    member = rows.of_target(targets)
    clock = np.zeros((nights, rows.goal_h.size))
    gained = np.zeros_like(clock)
    train = np.full(nights, -1, dtype=np.intp)
    finished = np.zeros((nights, targets))
    for night in range(nights):
        if slots[night] > 0:
            middle = median_share(rows, share, member)
            going = np.flatnonzero(clear[night])
            work = night_work(
                rows,
                np.vstack([middle[None, :], share[going]]),
                rate[night, : slots[night]],
                typical[night],
                float(slot_h[night]),
                balance,
            )
            clock[night] = work.clock_h[0]
            gained[night] = (work.share[0] - middle) * rows.goal_h
            train[night] = work.train[0]
            share[going] = work.share[1:]
        for target in range(targets):
            finished[night, target] = (share[:, member[target]] >= DONE).all(axis=1).mean()
        if progress is not None:
            progress(night + 1, nights)
    return Replay(
        clock_h=clock,
        equivalent_h=gained,
        train=train,
        finished=finished,
        start_share=rows.share,
        mean_share=share.mean(axis=0),
        mean_utility=float(utility(rows, share, balance).mean()),
        histories=count,
    )


def median_share(rows: Rows, share: Floats, member: NDArray[np.bool_]) -> Floats:
    """Shares (row,) of the history that stands in the middle, target by target.

    Histories are ordered by the target's mean share; so the middle one is finished as soon as
    half of all are.
    """
    middle = np.empty(share.shape[1])
    place = share.shape[0] // 2
    for own in member:
        part = share[:, own]
        at = np.argpartition(part.mean(axis=1), place)[place]
        middle[own] = part[at]
    return middle
