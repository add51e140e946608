"""What one night would add to a target if it had the night for itself; many targets at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from nightplan.planning.value.progress_value import LEAST_GOAL_H, slope_of_share, value_of_share

Floats = NDArray[np.float64]

STEPS = 16
"""Steps of the method: within 2 % of the best, enough to rank by."""


def night_value(offered_h: Floats, goal_h: Floats, had_h: Floats, fall: float) -> Floats:
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
    """
    wanted = goal_h > 0.0
    goal = np.maximum(goal_h, LEAST_GOAL_H)
    offered = np.where(wanted[:, None, :], offered_h, 0.0)
    tonight = np.zeros_like(goal)
    for step in range(STEPS):
        slope = slope_of_share((had_h + tonight) / goal, fall)
        best = (offered * slope[:, None, :]).argmax(axis=2)
        taken = np.take_along_axis(offered, best[..., None], 2)[..., 0]
        whole = np.zeros_like(tonight)
        for column in range(goal.shape[1]):
            whole[:, column] = np.where(best == column, taken, 0.0).sum(axis=1)
        tonight += 2.0 / (step + 2.0) * (whole - tonight)
    reached = value_of_share((had_h + tonight) / goal, fall) - value_of_share(had_h / goal, fall)
    return np.asarray((goal * reached * wanted).sum(axis=1))
