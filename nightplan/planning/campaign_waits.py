"""What should wait for the dark of the moon: filters that moonlight takes most of the worth from."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nightplan.planning.campaign_policy import DONE, Rows

Floats = NDArray[np.float64]

SPOILED = 0.5
"""Share of its best nights' worth below which a filter had better wait."""
GOOD = 0.8
"""Share of its best night's worth from which a night counts as one of the best."""
SHORTEST_UP_H = 0.5


@dataclass(frozen=True)
class Wait:
    """Filters of one target that should wait, and for what.

    `wait_from` to `wait_to` is the first stretch of evenings that moonlight spoils, `best_from` to
    `best_to` the first stretch that is worth the wait (or still good before it). `moonlit_share`
    is what an hour of the worst evening brings of what one of the best brings.
    """

    target: int
    filters: tuple[str, ...]
    wait_from: datetime.date
    wait_to: datetime.date
    best_from: datetime.date
    best_to: datetime.date
    moonlit_share: float
    moon_illuminated_fraction: float
    others: tuple[str, ...]
    """Filters that keep more than `SPOILED` on those nights."""
    others_share: float | None


def waits(
    rows: Rows,
    filters: Sequence[str],
    evenings: Sequence[datetime.date],
    moon_illuminated_fraction: Floats,
    offered_h: Floats,
    up_h: Floats,
) -> tuple[Wait, ...]:
    """What should wait, target by target, in the nights given.

    Parameters
    ----------
    rows : Rows
    filters : sequence of str
        Names along the wheel.
    moon_illuminated_fraction : ndarray, shape (night,)
    offered_h : ndarray, shape (night, row)
        Equivalent hours that a whole night would bring a row.
    up_h : ndarray, shape (night, target)
        Hours that the target keeps altitude and skyline, whatever the moon does.
    """
    found = []
    for target in range(up_h.shape[1]):
        own = np.flatnonzero((rows.target == target) & (rows.share < DONE))
        up = np.flatnonzero(up_h[:, target] >= SHORTEST_UP_H)
        if own.size == 0 or up.size < 2:
            continue
        worth = offered_h[np.ix_(up, own)] / up_h[up, target][:, None]
        best = worth.max(axis=0)
        lit = np.nan_to_num(moon_illuminated_fraction[up])
        # The season changes worth too; only nights with a good part of the moon lit are its doing.
        least = np.where(lit[:, None] >= 0.5, worth, np.inf).min(axis=0)
        spoiled = (best > 0.0) & (least < SPOILED * best)
        if not spoiled.any():
            continue
        share = (worth[:, spoiled] / best[spoiled]).mean(axis=1)
        bad = _first_run(np.where(lit >= 0.5, share, 1.0) < SPOILED, up)
        good = _first_run(share >= GOOD * share.max(), up)
        if bad is None or good is None:
            continue
        inside = np.flatnonzero((up >= bad[0]) & (up <= bad[1]))
        worst = int(inside[np.argmin(share[inside])])
        kept = own[(best > 0.0) & ~spoiled]
        others_share = None
        if kept.size:
            others_share = float(
                np.mean(worth[worst][(best > 0.0) & ~spoiled] / best[(best > 0.0) & ~spoiled])
            )
        found.append(
            Wait(
                target=target,
                filters=tuple(filters[rows.filter[row]] for row in own[spoiled]),
                wait_from=evenings[bad[0]],
                wait_to=evenings[bad[1]],
                best_from=evenings[good[0]],
                best_to=evenings[good[1]],
                moonlit_share=float(share[worst]),
                moon_illuminated_fraction=float(lit[worst]),
                others=tuple(filters[rows.filter[row]] for row in kept),
                others_share=others_share,
            )
        )
    return tuple(found)


def _first_run(mask: NDArray[np.bool_], nights: NDArray[np.intp]) -> tuple[int, int] | None:
    """First and last night of the first run of true values; a night out of the sky ends a run."""
    chosen = nights[mask]
    if chosen.size == 0:
        return None
    ends = np.flatnonzero(np.diff(chosen) > 1)
    last = chosen[ends[0]] if ends.size else chosen[-1]
    return int(chosen[0]), int(last)
