"""A smooth curve through points that never overshoots them; small, so that scipy can stay out.

Importing scipy.interpolate would cost more time than a whole exposure document.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from nightplan.light.photometry import Floats


class MonotoneCurve:
    """Piecewise cubic with slopes by Fritsch & Butland 1984 (SIAM J. Sci. Stat. Comput. 5, 300).

    `x` and `y` have shape (P,), P at least 3, `x` rising. The curve is monotone wherever the
    points are, and continuous in its first derivative. Outside the points the end values hold.
    """

    def __init__(self, x: npt.ArrayLike, y: npt.ArrayLike) -> None:
        self.x = np.asarray(x, dtype=float)
        self.y = np.asarray(y, dtype=float)
        step = np.diff(self.x)
        if self.x.ndim != 1 or self.x.size < 3 or np.any(step <= 0.0):
            raise ValueError("x must hold at least three rising values")
        chord = np.diff(self.y) / step
        self.slope = np.zeros_like(self.x)
        left, right = chord[:-1], chord[1:]
        same = left * right > 0.0
        before = 2.0 * step[1:] + step[:-1]
        after = step[1:] + 2.0 * step[:-1]
        total = before + after
        with np.errstate(divide="ignore", invalid="ignore"):
            harmonic = total / (before / left + after / right)
        self.slope[1:-1] = np.where(same, harmonic, 0.0)
        self.slope[0] = _end_slope(step[0], step[1], chord[0], chord[1])
        self.slope[-1] = _end_slope(step[-1], step[-2], chord[-1], chord[-2])

    def __call__(self, x: npt.ArrayLike) -> Floats:
        """Value at each x, in its shape."""
        where = np.clip(np.asarray(x, dtype=float), self.x[0], self.x[-1])
        left = np.clip(np.searchsorted(self.x, where, side="right") - 1, 0, self.x.size - 2)
        step = self.x[left + 1] - self.x[left]
        t = (where - self.x[left]) / step
        rest = 1.0 - t
        return np.asarray(
            self.y[left] * rest * rest * (1.0 + 2.0 * t)
            + self.slope[left] * step * t * rest * rest
            + self.y[left + 1] * t * t * (3.0 - 2.0 * t)
            - self.slope[left + 1] * step * t * t * rest
        )


def _end_slope(step: float, next_step: float, chord: float, next_chord: float) -> float:
    """One-sided three-point slope, kept from overshooting."""
    slope = ((2.0 * step + next_step) * chord - step * next_chord) / (step + next_step)
    if slope * chord <= 0.0:
        return 0.0
    if chord * next_chord <= 0.0 and abs(slope) > 3.0 * abs(chord):
        return 3.0 * chord
    return slope
