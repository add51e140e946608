"""What should wait for the dark of the moon: filters from which moonlight takes most worth."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats
from nightplan.planning.ahead.rows import BRIGHT, DONE, Rows

SPOILED = 0.5
"""A filter waits if bright nights leave it less than this share of its best night's worth."""
GOOD = 0.8
"""Share of the best worth from which a night is worth the wait."""
SHORTEST_UP_H = 0.5


@dataclass(frozen=True)
class Wait:
    """Filters of one target that should wait, from when to when, and what for.

    `target` indexes the campaign's targets. `wait_from` to `wait_to` is the first stretch of
    evenings on which the moon spoils the filters; `good_from` to `good_to` the first stretch
    after it that is worth the wait (None: not in the nights looked at). `bright_share` is what an
    hour on bright nights brings of what one on the best night brings; `others` are the filters
    that keep more, with theirs.
    """

    target: int
    filters: tuple[str, ...]
    wait_from: datetime.date
    wait_to: datetime.date
    good_from: datetime.date | None
    good_to: datetime.date | None
    bright_share: float
    others: tuple[str, ...]
    others_share: float | None


def waits(
    rows: Rows,
    filters: Sequence[str],
    evenings: Sequence[datetime.date],
    moon_illuminated_fraction: Floats,
    offered_h: Floats,
    up_h: Floats,
    nights: int,
) -> tuple[Wait, ...]:
    """What should wait, target by target.

    Parameters
    ----------
    rows : Rows
    filters : sequence of str
        Names of the channels.
    evenings : sequence of date, length night
    moon_illuminated_fraction : ndarray, shape (night,)
    offered_h : ndarray, shape (night, row)
        Equivalent hours that a whole night would bring a row.
    up_h : ndarray, shape (night, target)
        Hours that the target keeps altitude and skyline, whatever the moon does.
    nights : int
        The wait has to begin within the first `nights`.
    """
    bright = np.nan_to_num(moon_illuminated_fraction) >= BRIGHT
    found = []
    for target in range(up_h.shape[1]):
        own = np.flatnonzero((rows.target == target) & (rows.gathered_h / rows.goal_h < DONE))
        up = np.flatnonzero(up_h[:, target] >= SHORTEST_UP_H)
        lit = bright[up]
        if own.size == 0 or not lit.any():
            continue
        worth = offered_h[np.ix_(up, own)] / up_h[up, target][:, None]
        best = worth.max(axis=0)
        share = worth / np.where(best > 0.0, best, 1.0)
        on_bright = share[lit].mean(axis=0)
        spoiled = (best > 0.0) & (on_bright < SPOILED)
        kept = (best > 0.0) & ~spoiled
        if not spoiled.any():
            continue
        mean = share[:, spoiled].mean(axis=1)
        bad = _first_run(up[lit & (mean < SPOILED)])
        if bad is None or bad[0] >= nights:
            continue
        good = _first_run(up[(mean >= GOOD * mean.max()) & (up > bad[1])])
        found.append(
            Wait(
                target=target,
                filters=tuple(filters[rows.channel[row]] for row in own[spoiled]),
                wait_from=evenings[bad[0]],
                wait_to=evenings[bad[1]],
                good_from=None if good is None else evenings[good[0]],
                good_to=None if good is None else evenings[good[1]],
                bright_share=float(on_bright[spoiled].mean()),
                others=tuple(filters[rows.channel[row]] for row in own[kept]),
                others_share=float(on_bright[kept].mean()) if kept.any() else None,
            )
        )
    return tuple(found)


def _first_run(nights: NDArray[np.intp]) -> tuple[int, int] | None:
    """First and last of the first run of consecutive nights."""
    if nights.size == 0:
        return None
    gaps = np.flatnonzero(np.diff(nights) > 1)
    return int(nights[0]), int(nights[gaps[0]] if gaps.size else nights[-1])
