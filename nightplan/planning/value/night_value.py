"""What one night would add to a target if it had the night for itself; many targets at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats
from nightplan.planning.value.progress_value import LEAST_GOAL_H, slope_of_share, value_of_share

Ints = NDArray[np.intp]

STEPS = 24
"""Steps of the method: within 2 % of the best, enough to rank by."""


def night_value(
    offered_h: Floats, goal_h: Floats, had_h: Floats, fall: float, lane: Ints | None = None
) -> Floats:
    """Value, hours, of the night shared out among a target's filters, (target,).

    By the method of Frank & Wolfe 1956 (Naval Res. Logist. Q. 3, 95), as
    `nightplan.planning.ahead.response` for a night among others.

    Parameters
    ----------
    offered_h : array (target, slot, filter)
        Equivalent hours that each slot of the night offers.
    goal_h, had_h : array (target, filter)
        Hours wanted, 0 for a filter that is not, and hours gathered.
    fall : float
        As of `slope_of_share`.
    lane : int array (filter,), optional
        Filters of one number are gathered at once, and share the weight of an hour.
    """
    wanted = goal_h > 0.0
    lane = np.arange(goal_h.shape[1]) if lane is None else lane
    lanes = (lane == np.arange(int(lane.max()) + 1)[:, None]).astype(float)
    weight = 1.0 / np.maximum(wanted @ lanes.T, 1.0)[:, lane]
    goal = np.maximum(goal_h, LEAST_GOAL_H)
    offered = np.where(wanted[:, None, :], offered_h, 0.0)
    tonight = np.zeros_like(goal)
    for step in range(STEPS):
        slope = weight * slope_of_share((had_h + tonight) / goal, fall)
        best = ((offered * slope[:, None, :]) @ lanes.T).argmax(axis=2)
        whole = np.zeros_like(tonight)
        for column, own in enumerate(lane):
            whole[:, column] = np.where(best == own, offered[..., column], 0.0).sum(axis=1)
        tonight += 2.0 / (step + 2.0) * (whole - tonight)
    reached = value_of_share((had_h + tonight) / goal, fall) - value_of_share(had_h / goal, fall)
    return np.asarray((weight * goal * reached * wanted).sum(axis=1))
