"""Area that a disc shares with an upright rectangle, in closed form."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def disc_rectangle_area(
    centre_x: ArrayLike,
    centre_y: ArrayLike,
    radius: ArrayLike,
    x_range: tuple[float, float],
    y_range: tuple[float, float],
) -> FloatArray:
    """Common area of discs and one rectangle, any length unit squared.

    The disc's part with x and y below a corner is integrated over its chords (elementary
    geometry); the rectangle is the sum of four such parts with changing signs.

    Parameters
    ----------
    centre_x, centre_y, radius : array_like
        The discs; broadcast together.
    x_range, y_range : (low, high)
        The rectangle's sides.
    """
    x, y, r = np.broadcast_arrays(
        np.asarray(centre_x, float), np.asarray(centre_y, float), np.asarray(radius, float)
    )
    area = np.zeros(x.shape)
    for sign_x, edge_x in ((-1.0, x_range[0]), (1.0, x_range[1])):
        for sign_y, edge_y in ((-1.0, y_range[0]), (1.0, y_range[1])):
            area = area + sign_x * sign_y * _area_below(edge_x - x, edge_y - y, r)
    return np.maximum(area, 0.0)


def _area_below(x: FloatArray, y: FloatArray, r: FloatArray) -> FloatArray:
    """Area of the disc about the origin where both coordinates lie below (x, y)."""
    x, y = np.clip(x, -r, r), np.clip(y, -r, r)
    corner = np.sqrt(np.maximum(r * r - y * y, 0.0))
    middle = np.clip(x, -corner, corner)
    area = _chords(middle, r) - _chords(-corner, r) + y * (middle + corner)
    left = _chords(np.minimum(x, -corner), r) - _chords(-r, r)
    right = _chords(np.maximum(x, corner), r) - _chords(corner, r)
    return area + np.where(y > 0.0, 2.0 * (left + right), 0.0)


def _chords(x: FloatArray, r: FloatArray) -> FloatArray:
    """Integral of half the chord's length from 0 to x."""
    share = np.divide(x, r, out=np.zeros_like(x), where=r > 0.0)
    root = np.sqrt(np.maximum(r * r - x * x, 0.0))
    return 0.5 * (x * root + r * r * np.arcsin(np.clip(share, -1.0, 1.0)))
