"""Outline of a field that frames several targets together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats
from nightplan.model.target import Outline, Target
from nightplan.plane.polygons import convex_hull, ellipse_points
from nightplan.sky.angles import unit_vector
from nightplan.sky.tangent_plane import deproject, project

COMPOSITE_OUTLINE = "computed from the members' ellipses"
"""How the outline of a field of several targets says that it is one."""

_EDGE_POINTS = 48
_ARCMIN_PER_RADIAN = 60.0 * 180.0 / np.pi


def is_composite(outline_source: NDArray[Any]) -> NDArray[np.bool_]:
    """Whether each outline is that of several targets together; (target,)."""
    return np.array([COMPOSITE_OUTLINE in str(text) for text in outline_source], dtype=bool)


class CompositeField(NamedTuple):
    """Smallest rectangle around several targets, and their convex hull.

    `outline` counts arcminutes east and north of (`ra_deg`, `dec_deg`), the rectangle's centre,
    in the tangent plane there.
    """

    ra_deg: float
    dec_deg: float
    major_arcmin: float
    minor_arcmin: float
    angle_deg: float
    outline: Outline


def composite_field(members: Sequence[Target]) -> CompositeField:
    """Field that holds all members' ellipses.

    A member without a size counts as a point, one without an angle as the circle over its major
    axis. Of all rectangles around a convex polygon the smallest has a side along one of the
    polygon's (Freeman & Shapira 1975, Comm. ACM 18, 409). The tangent plane starts at the
    members' mean direction and is laid anew at the rectangle's centre.
    """
    directions = unit_vector(
        np.radians([member.ra_deg for member in members]),
        np.radians([member.dec_deg for member in members]),
    )
    x, y, z = directions.sum(axis=0)
    ra, dec = float(np.degrees(np.arctan2(y, x))), float(np.degrees(np.arctan2(z, np.hypot(x, y))))
    for _ in range(3):
        middle, *_ = _smallest_rectangle(_hull(members, ra, dec))
        xi, eta = middle / _ARCMIN_PER_RADIAN
        new_ra, new_dec = deproject(xi, eta, ra, dec)
        ra, dec = float(new_ra), float(new_dec)
    hull = _hull(members, ra, dec)
    _, major, minor, angle = _smallest_rectangle(hull)
    return CompositeField(
        ra_deg=ra,
        dec_deg=dec,
        major_arcmin=major,
        minor_arcmin=minor,
        angle_deg=angle,
        outline=tuple((float(east), float(north)) for east, north in hull),
    )


def _hull(members: Sequence[Target], ra_deg: float, dec_deg: float) -> Floats:
    """Convex hull (n, 2) of all members' edges, arcminutes east and north in one plane."""
    return convex_hull(np.concatenate([_edge(member, ra_deg, dec_deg) for member in members]))


def _edge(member: Target, ra_deg: float, dec_deg: float) -> Floats:
    major, minor = member.axes_arcmin or (0.0, 0.0)
    if member.angle_deg is None:
        minor = major
    own = ellipse_points(major / 2.0, minor / 2.0, member.angle_deg or 0.0, _EDGE_POINTS)
    xi, eta = (own / _ARCMIN_PER_RADIAN).T
    place = deproject(xi, eta, member.ra_deg, member.dec_deg)
    xi, eta = project(*place, ra_deg, dec_deg)
    return np.stack([xi, eta], axis=-1) * _ARCMIN_PER_RADIAN


def _smallest_rectangle(hull: Floats) -> tuple[Floats, float, float, float]:
    """Centre, long side, short side, position angle (degrees) of the rectangle of least area."""
    edges = np.roll(hull, -1, axis=0) - hull
    angle = np.arctan2(edges[:, 0], edges[:, 1])
    along = np.stack([np.sin(angle), np.cos(angle)])
    across = np.stack([np.cos(angle), -np.sin(angle)])
    u, v = hull @ along, hull @ across
    length, width = np.ptp(u, axis=0), np.ptp(v, axis=0)
    best = int(np.argmin(length * width))
    middle = (u[:, best].max() + u[:, best].min()) / 2.0 * along[:, best]
    middle = middle + (v[:, best].max() + v[:, best].min()) / 2.0 * across[:, best]
    direction = float(np.degrees(angle[best]))
    major, minor = float(length[best]), float(width[best])
    if minor > major:
        major, minor, direction = minor, major, direction + 90.0
    return middle, major, minor, direction % 180.0
