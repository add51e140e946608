"""Ellipses in rectangles: share of area and room to spare, in closed form, many at once.

The ellipse and the rectangle share one middle; `turn_deg` is the angle from the rectangle's first
axis to the ellipse's major axis, either sense. All arguments broadcast.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats


def half_extents(
    semi_major: ArrayLike, semi_minor: ArrayLike, turn_deg: ArrayLike
) -> tuple[Floats, Floats]:
    """Half the ellipse's extent along the rectangle's first and second axis.

    The support function of an ellipse: sqrt(a² cos² + b² sin²).
    """
    turn = np.radians(np.asarray(turn_deg, float))
    cos2, sin2 = np.cos(turn) ** 2, np.sin(turn) ** 2
    a2, b2 = np.square(semi_major, dtype=float), np.square(semi_minor, dtype=float)
    return np.sqrt(a2 * cos2 + b2 * sin2), np.sqrt(a2 * sin2 + b2 * cos2)


def room(
    semi_major: ArrayLike,
    semi_minor: ArrayLike,
    turn_deg: ArrayLike,
    half_width: ArrayLike,
    half_height: ArrayLike,
) -> Floats:
    """Least distance from the ellipse to the rectangle's sides, negative where it crosses one."""
    along, across = half_extents(semi_major, semi_minor, turn_deg)
    return np.minimum(np.asarray(half_width) - along, np.asarray(half_height) - across)


def area_share(
    semi_major: ArrayLike,
    semi_minor: ArrayLike,
    turn_deg: ArrayLike,
    half_width: ArrayLike,
    half_height: ArrayLike,
) -> Floats:
    """Share of the ellipse's area inside the rectangle, exact.

    Squeezing the ellipse to the unit circle makes the rectangle a parallelogram and keeps shares.
    A parallelogram's common area with the circle is the sum, over its sides, of the signed area
    that the circle shares with the triangle from the middle to that side; opposite sides give the
    same, so two are worked out.
    """
    turn = np.radians(np.asarray(turn_deg, float))
    a, b, turn, wide, high = np.broadcast_arrays(
        np.asarray(semi_major, float),
        np.asarray(semi_minor, float),
        turn,
        np.asarray(half_width, float),
        np.asarray(half_height, float),
    )
    sin, cos = np.sin(turn), np.cos(turn)

    def squeezed(x: Floats, y: Floats) -> tuple[Floats, Floats]:
        return (x * cos + y * sin) / a, (y * cos - x * sin) / b

    first = squeezed(wide, -high)
    second = squeezed(wide, high)
    third = squeezed(-wide, high)
    half = _circle_triangle(first, second) + _circle_triangle(second, third)
    return np.clip(2.0 * np.abs(half) / np.pi, 0.0, 1.0)


def _circle_triangle(p: tuple[Floats, Floats], q: tuple[Floats, Floats]) -> Floats:
    """Signed area common to the unit circle and the triangle (origin, p, q)."""
    (px, py), (qx, qy) = p, q
    dx, dy = qx - px, qy - py
    length2 = dx * dx + dy * dy
    # Where the side's line enters and leaves the circle, as shares of the side.
    along = -(px * dx + py * dy) / length2
    height2 = (px * qy - qx * py) ** 2 / length2
    half_chord = np.sqrt(np.maximum(1.0 - height2, 0.0) / length2)
    enter = np.clip(along - half_chord, 0.0, 1.0)
    leave = np.clip(along + half_chord, 0.0, 1.0)
    ex, ey, lx, ly = px + enter * dx, py + enter * dy, px + leave * dx, py + leave * dy
    straight = 0.5 * (ex * ly - lx * ey)
    return _sector(px, py, ex, ey) + straight + _sector(lx, ly, qx, qy)


def _sector(ax: Floats, ay: Floats, bx: Floats, by: Floats) -> Floats:
    return 0.5 * np.arctan2(ax * by - bx * ay, ax * bx + ay * by)
