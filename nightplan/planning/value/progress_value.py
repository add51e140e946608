"""What progress towards a goal is worth, in hours: the one statement of the value that plans make
largest.

An hour of a target at the start of its goal, of priority 1, is worth 1, whatever the goal. The
slope falls with the share reached, so that the filters of a target keep step with the wanted
ratio; a target that was begun weighs more, so that it is finished before another is opened; and
beyond the goal an hour keeps a little worth, so that a rig never idles under a usable target.

The figures below were chosen by simulated months (`benchmarks/bench_months.py`).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from nightplan.arrays import Floats
from nightplan.planning.value.curve import ValueCurve

FALL: dict[str, float] = {"plain": 0.0, "diminishing": 0.6, "even": 0.8}
"""How far the slope falls from the start of a goal to its end, by `preferences.balance`: the
steeper, the more strictly the filters of a target keep step."""
BEYOND = 0.08
"""Slope just beyond the goal: under a tenth, so that no wanted hour waits for a finished row."""
FAR_BEYOND = 0.02
"""Slope from twice the goal on: more of the same still beats an idle rig."""
FINISH = 3.0
"""A target at share c of its goals weighs 1 + FINISH c: with less, eight nights begin many targets
and finish none; with 8, hours are spent on what the moon spoils."""
NODES = 16
"""Points of a curve over what one night can bring."""
LEAST_GOAL_H = 1.0 / 60.0


def slope_of_share(share: Floats, fall: float, dear: Any = 1.0) -> Floats:
    """Value of one more hour at a share of the goal, any shape; falls, never to nothing.

    `dear`, 0 to 1, is how much of a row's hours only dark nights bring: beyond the goal the rig
    gathers first what it cannot have under the moon.
    """
    inside = 1.0 - fall * share
    beyond = BEYOND + (FAR_BEYOND - BEYOND) * (share - 1.0)
    return np.where(share < 1.0, inside, np.maximum(FAR_BEYOND, beyond) * (0.5 + 0.5 * dear))


def value_of_share(share: Floats, fall: float, dear: Any = 1.0) -> Floats:
    """Integral of `slope_of_share` from 0, in goals; any shape, concave."""
    inside = np.minimum(share, 1.0)
    beyond = np.clip(share - 1.0, 0.0, 1.0)
    far = np.maximum(share - 2.0, 0.0)
    outside = BEYOND * beyond + 0.5 * (FAR_BEYOND - BEYOND) * beyond**2 + FAR_BEYOND * far
    return inside - 0.5 * fall * inside**2 + outside * (0.5 + 0.5 * dear)


def target_weight(priority: Any, share: Any) -> Any:
    """Weight of a target at a share of its goals (0 to 1, all filters together)."""
    return priority * (1.0 + FINISH * np.clip(share, 0.0, 1.0))


def row_curve(
    goal_h: float,
    gathered_h: float,
    weight: float,
    later_h: Floats,
    most_h: float,
    fall: float,
    dear: float = 1.0,
) -> ValueCurve:
    """The value curve of one row, averaged over what coming nights would bring it.

    Parameters
    ----------
    goal_h, gathered_h : float
        Equivalent hours wanted, and those of earlier nights.
    weight : float
        Of the row's target, as `target_weight`.
    later_h : array (future,)
        Hours that each of several futures adds after tonight, 0 where there is none. The more
        they bring, the less tonight's hours are worth.
    most_h : float
        What tonight can bring at most; the curve ends there.
    fall, dear : float
        As of `slope_of_share`.
    """
    goal_h = max(goal_h, LEAST_GOAL_H)
    tonight_h = np.linspace(0.0, max(most_h, LEAST_GOAL_H), NODES)
    had = gathered_h + np.asarray(later_h, dtype=float)
    reached = value_of_share((had[:, None] + tonight_h) / goal_h, fall, dear)
    value = weight * goal_h * (reached - reached[:, :1]).mean(axis=0)
    slopes = _falling(value, tonight_h)
    return ValueCurve.from_slopes(gathered_h, np.diff(tonight_h).tolist(), slopes.tolist())


def _falling(value: Floats, at_h: Floats) -> Floats:
    """Slopes of a concave sample; rounding may not let one rise."""
    return np.minimum.accumulate(np.diff(value) / np.diff(at_h))
