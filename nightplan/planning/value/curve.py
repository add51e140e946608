"""A row's value curve: what equivalent hours of one target, panel and filter are worth tonight.

Concave, increasing and piecewise linear. The schedule's solver takes such curves and knows
nothing else of goals, priorities or the coming nights.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from nightplan.arrays import Floats

SLOPE_TOLERANCE = 1e-9
"""Relative; how much a later piece may be steeper by rounding alone."""


@dataclass(frozen=True)
class ValueCurve:
    """Value of one row as a function of its equivalent hours in all.

    Parameters
    ----------
    hours_h : tuple of float
        Equivalent hours in all, strictly rising; the first is what earlier nights gathered.
    value : tuple of float
        Value at them, not falling, concave; 0 at the first. Beyond the last nothing is added.

    Raises
    ------
    ValueError
        The points are no concave, increasing curve from value 0.
    """

    hours_h: tuple[float, ...]
    value: tuple[float, ...]

    def __post_init__(self) -> None:
        hours, value = np.asarray(self.hours_h), np.asarray(self.value)
        if hours.size < 2 or hours.shape != value.shape or value[0] != 0.0:
            raise ValueError("a value curve has at least two points and begins at value 0")
        if not (np.isfinite(hours).all() and np.isfinite(value).all()):
            raise ValueError("a value curve is finite")
        if (np.diff(hours) <= 0.0).any() or (np.diff(value) < 0.0).any():
            raise ValueError("a value curve rises")
        slope = self.slopes
        if (np.diff(slope) > SLOPE_TOLERANCE * max(1.0, float(slope[0]))).any():
            raise ValueError("a value curve is concave")

    @property
    def gathered_h(self) -> float:
        """Equivalent hours of earlier nights."""
        return self.hours_h[0]

    @property
    def widths_h(self) -> Floats:
        """Length of each piece, equivalent hours, (piece,)."""
        return np.diff(np.asarray(self.hours_h))

    @property
    def slopes(self) -> Floats:
        """Value per equivalent hour of each piece, falling, (piece,)."""
        return np.diff(np.asarray(self.value)) / self.widths_h

    def at(self, hours_h: Floats | float) -> Floats:
        """Value at equivalent hours in all, any shape."""
        return np.asarray(np.interp(hours_h, self.hours_h, self.value))

    def gain(self, tonight_h: Floats | float) -> Floats:
        """Value that `tonight_h` more hours bring, any shape."""
        return self.at(self.gathered_h + np.asarray(tonight_h))

    def with_urgent_start(self, first_h: float, times: float) -> ValueCurve:
        """The same with the first `first_h` hours worth more: `times` the steepest slope is added.

        A sum of concave curves, so concave again.
        """
        end_h = min(self.gathered_h + first_h, self.hours_h[-1])
        points = sorted({*self.hours_h, end_h})
        extra = np.minimum(np.asarray(points) - self.gathered_h, end_h - self.gathered_h)
        value = self.at(np.asarray(points)) + times * float(self.slopes[0]) * extra
        return ValueCurve(tuple(points), tuple(value.tolist()))

    @classmethod
    def from_slopes(
        cls, gathered_h: float, widths_h: Sequence[float], slopes: Sequence[float]
    ) -> ValueCurve:
        """From the length and slope of each piece; pieces without length are left out."""
        widths, rises = np.asarray(widths_h, dtype=float), np.asarray(slopes, dtype=float)
        kept = widths > 0.0
        hours = gathered_h + np.concatenate([[0.0], np.cumsum(widths[kept])])
        value = np.concatenate([[0.0], np.cumsum(widths[kept] * rises[kept])])
        return cls(tuple(hours.tolist()), tuple(value.tolist()))
