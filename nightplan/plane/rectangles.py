"""Rectangles against outlines and against each other, at many angles at once.

A rectangle here has half sides (half_width, half_height) along its own axes and its middle at the
origin; "turned by an angle" means its first axis points at that angle from the plane's second
coordinate (north) through the first (east), as a sensor's long side does.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats


def rectangle_corners(half_width: float, half_height: float, angle_deg: float) -> Floats:
    """Corners of a turned rectangle, shape (4, 2)."""
    sin, cos = np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))
    along = half_width * np.array([-1.0, 1.0, 1.0, -1.0])
    across = half_height * np.array([-1.0, -1.0, 1.0, 1.0])
    return np.stack((along * sin - across * cos, along * cos + across * sin), axis=1)


def to_rectangle_axes(points: ArrayLike, angles_deg: ArrayLike) -> tuple[Floats, Floats]:
    """Coordinates of points along the axes of a rectangle turned by each angle.

    Parameters
    ----------
    points : array_like, shape (..., n, 2)
        East and north; leading axes broadcast with `angles_deg`.
    angles_deg : array_like, shape (...)

    Returns
    -------
    along, across : ndarray, shape (..., n)
    """
    places = np.asarray(points, float)
    turn = np.radians(np.asarray(angles_deg, float))[..., None]
    sin, cos = np.sin(turn), np.cos(turn)
    east, north = places[..., 0], places[..., 1]
    return east * sin + north * cos, north * sin - east * cos


def sky_margin(
    along: ArrayLike, across: ArrayLike, half_width: float, half_height: float
) -> Floats:
    """Least angle from an outline to a field's edge, radians, negative where it sticks out.

    The rectangle lies in its own tangent plane, so its sides are great circles: the sine of a
    place's distance to the side at x = X is (X - x) / sqrt(1 + X²) / sqrt(1 + x² + y²). Outside,
    the distance is the one to the nearest place of the rectangle.

    Parameters
    ----------
    along, across : array_like, shape (..., n)
        Places as tangents along the rectangle's axes.
    half_width, half_height : float
        Half sides as tangents.

    Returns
    -------
    ndarray, shape (...)
        Least over the n places.
    """
    x, y = np.abs(np.asarray(along, float)), np.abs(np.asarray(across, float))
    length = np.sqrt(1.0 + x * x + y * y)
    by_width = (half_width - x) / np.sqrt(1.0 + half_width**2)
    by_height = (half_height - y) / np.sqrt(1.0 + half_height**2)
    sine = np.min(np.minimum(by_width, by_height) / length, axis=-1)
    margin = np.arcsin(np.clip(sine, -1.0, 1.0))
    out = np.asarray(sine < 0.0)
    if out.any():
        margin = np.asarray(margin)
        margin[out] = -_farthest_outside(x[out], y[out], half_width, half_height)
    return margin


def _farthest_outside(x: Floats, y: Floats, half_width: float, half_height: float) -> Floats:
    near_x, near_y = np.minimum(x, half_width), np.minimum(y, half_height)
    # Angle between (x, y, 1) and (near_x, near_y, 1) from cross and dot product.
    cross = np.sqrt((y - near_y) ** 2 + (near_x - x) ** 2 + (x * near_y - y * near_x) ** 2)
    return np.max(np.arctan2(cross, x * near_x + y * near_y + 1.0), axis=-1)


def area_inside(
    along: ArrayLike, across: ArrayLike, half_width: ArrayLike, half_height: ArrayLike
) -> Floats:
    """Area of polygons inside a rectangle, exact, for many turns at once.

    The sum over the polygon's sides of the integral of x, held between the rectangle's sides,
    along the part of y between its top and bottom (Green's theorem).

    Parameters
    ----------
    along, across : array_like, shape (..., n)
        Corners of a simple polygon along the rectangle's axes.
    half_width, half_height : array_like, shape (...)
        Half sides.

    Returns
    -------
    ndarray, shape (...)
        Area, not negative.
    """
    x0, y0 = np.asarray(along, float), np.asarray(across, float)
    wide = np.asarray(half_width, float)[..., None]
    high = np.asarray(half_height, float)[..., None]
    x1, y1 = np.roll(x0, -1, axis=-1), np.roll(y0, -1, axis=-1)
    rise = y1 - y0
    flat = np.abs(rise) < 1e-300
    slope = (x1 - x0) / np.where(flat, 1.0, rise)
    low, top = np.clip(y0, -high, high), np.clip(y1, -high, high)
    start, end = x0 + slope * (low - y0), x0 + slope * (top - y0)
    held = _mean_held(np.minimum(start, end), np.maximum(start, end), wide)
    return np.abs(np.sum(np.where(flat, 0.0, held * (top - low)), axis=-1))


def _mean_held(start: Floats, end: Floats, limit: Floats) -> Floats:
    """Mean of x held between -limit and limit while x runs evenly from start up to end.

    The parts below, between and above are weighed by their lengths, so that nothing is lost to
    cancellation where the run is short.
    """
    run = end - start
    a, b = np.clip(start, -limit, limit), np.clip(end, -limit, limit)
    below = np.maximum(np.minimum(end, -limit) - start, 0.0)
    above = np.maximum(end - np.maximum(start, limit), 0.0)
    total = 0.5 * (a + b) * (b - a) + limit * (above - below)
    still = run <= 0.0
    return np.where(still, a, total / np.where(still, 1.0, run))


def overlap_share(
    width: float,
    height: float,
    delta_deg: ArrayLike,
    dx: ArrayLike = 0.0,
    dy: ArrayLike = 0.0,
) -> Floats:
    """Share of a rectangle that an equal one covers, turned by an angle and shifted.

    Parameters
    ----------
    width, height : float
        Sides, any unit.
    delta_deg : array_like
        Turn of the second rectangle about its own middle; either sense.
    dx, dy : array_like
        Shift of its middle along the first one's width and height, unit of the sides.

    Returns
    -------
    ndarray
        Shared area over the area of one, 0 to 1, shape of the broadcast.
    """
    turn, shift_x, shift_y = np.broadcast_arrays(
        np.radians(np.asarray(delta_deg, float)), np.asarray(dx, float), np.asarray(dy, float)
    )
    sin, cos = np.sin(turn)[..., None], np.cos(turn)[..., None]
    x = width / 2.0 * np.array([-1.0, 1.0, 1.0, -1.0])
    y = height / 2.0 * np.array([-1.0, -1.0, 1.0, 1.0])
    shared = area_inside(
        x * cos - y * sin + shift_x[..., None],
        x * sin + y * cos + shift_y[..., None],
        width / 2.0,
        height / 2.0,
    )
    return np.clip(shared / (width * height), 0.0, 1.0)
