"""A row's curve from its goal and priority alone: no shares, no coming nights."""

from __future__ import annotations

import numpy as np

from nightplan.planning.value.curve import ValueCurve

PIECES = 6
"""Equal pieces between nothing and the goal."""
AT_GOAL = 0.7
"""Slope as the goal is reached, the first hour's being 1."""
BEYOND = 0.08
"""Slope from the goal to twice the goal; by hours of another target it never pays."""
FILLING, FILLING_H = 0.02, 24.0
"""Slope of hours that only fill idle time, and how many of them count."""


def plain_curve(priority: float, goal_h: float, gathered_h: float) -> ValueCurve:
    """Slopes fall from `priority` to 0.7 of it at the goal, then 0.08, then 0.02.

    Parameters
    ----------
    priority : float
    goal_h, gathered_h : float
        Equivalent hours wanted, and those that earlier nights brought.
    """
    ends = np.concatenate([goal_h * np.arange(1, PIECES + 1) / PIECES, [2.0 * goal_h]])
    slopes = [*np.linspace(1.0, AT_GOAL, PIECES), BEYOND, FILLING]
    ends = np.append(ends, max(2.0 * goal_h, gathered_h) + FILLING_H)
    starts = np.concatenate([[0.0], ends[:-1]])
    widths = np.maximum(0.0, ends - np.maximum(starts, gathered_h))
    return ValueCurve.from_slopes(gathered_h, widths, [priority * slope for slope in slopes])
