"""Areas that circles share with circles and with rectangles."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def circle_overlap_area(
    radius_a: ArrayLike, radius_b: ArrayLike, distance: ArrayLike
) -> FloatArray:
    """Area common to two circles, any length unit squared.

    Sum of the two circular segments on either side of the common chord (elementary geometry).

    Parameters
    ----------
    radius_a, radius_b : array_like
        Radii, not negative; broadcast together with `distance`.
    distance : array_like
        Distance between the centres, not negative.

    Returns
    -------
    ndarray
        Common area, shape of the broadcast.
    """
    a, b, d = np.broadcast_arrays(
        np.asarray(radius_a, float), np.asarray(radius_b, float), np.asarray(distance, float)
    )
    small, large = np.minimum(a, b), np.maximum(a, b)
    inside = d <= large - small
    apart = d >= large + small
    cut = ~(inside | apart)
    # Places outside the general case get harmless numbers and are overwritten below.
    r, s, e = np.where(cut, small, 1.0), np.where(cut, large, 1.0), np.where(cut, d, 1.0)
    half_r = np.arccos(np.clip((e * e + r * r - s * s) / (2.0 * e * r), -1.0, 1.0))
    half_s = np.arccos(np.clip((e * e + s * s - r * r) / (2.0 * e * s), -1.0, 1.0))
    lens = r * r * (half_r - np.sin(half_r) * np.cos(half_r))
    lens = lens + s * s * (half_s - np.sin(half_s) * np.cos(half_s))
    return np.where(inside, np.pi * small * small, np.where(apart, 0.0, lens))


def annulus_share_inside(
    outer_radius: float, inner_radius: float, edge_radius: ArrayLike, distance: ArrayLike
) -> FloatArray:
    """Share of a ring of light that passes a round opening, 0 to 1.

    Parameters
    ----------
    outer_radius, inner_radius : float
        Ring of light; an inner radius of 0 makes it a full disc.
    edge_radius, distance : array_like
        Radius of the opening, and distance from its middle to the ring's middle.
    """
    edge, away = np.asarray(edge_radius, float), np.asarray(distance, float)
    ring = np.pi * (outer_radius**2 - inner_radius**2)
    if ring <= 0.0:
        return np.where(away <= edge, 1.0, 0.0)
    passed = circle_overlap_area(outer_radius, edge, away)
    passed = passed - circle_overlap_area(inner_radius, edge, away)
    return np.clip(passed / ring, 0.0, 1.0)


def rectangle_share_inside_circle(width: float, height: float, diameter: float) -> float:
    """Share of a rectangle's area inside a circle about its middle, 0 to 1.

    Integral of the circle's chord, cut at the rectangle's sides (elementary geometry).
    """
    radius, half_width, half_height = diameter / 2.0, width / 2.0, height / 2.0
    if np.hypot(half_width, half_height) <= radius:
        return 1.0
    reach = min(half_width, radius)
    # Where |x| is below `level` the chord is longer than the rectangle is high.
    level = np.sqrt(max(radius**2 - half_height**2, 0.0))
    level = min(level, reach) if half_height < radius else 0.0

    def under_chord(x: float) -> float:
        x = min(x, radius)
        root = np.sqrt(max(radius**2 - x**2, 0.0))
        return float(0.5 * (x * root + radius**2 * np.arcsin(x / radius)))

    quarter = half_height * level + under_chord(reach) - under_chord(level)
    return float(quarter / (half_width * half_height))
