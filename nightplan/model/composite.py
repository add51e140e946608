"""Outline of a field that frames several targets together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from nightplan.model.target import Outline, Target

_CORNERS = 48


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
    """Field that holds all members' ellipses (a member without size counts as a point).

    The hull of the ellipses is taken in the tangent plane (gnomonic projection; Calabretta &
    Greisen 2002, A&A 395, 1077, eqs. 12 to 15 and 54) at the members' mean direction; of all
    rectangles around a convex polygon the smallest has a side along one of the polygon's
    (Freeman & Shapira 1975, Comm. ACM 18, 409). The plane is then laid anew at the rectangle's
    centre.
    """
    ra = np.radians([member.ra_deg for member in members])
    dec = np.radians([member.dec_deg for member in members])
    mean = np.array(
        [(np.cos(dec) * np.cos(ra)).mean(), (np.cos(dec) * np.sin(ra)).mean(), np.sin(dec).mean()]
    )
    centre = (
        float(np.arctan2(mean[1], mean[0])),
        float(np.arcsin(mean[2] / np.hypot.reduce(mean))),
    )
    for _ in range(3):
        points = np.concatenate([_ellipse(member, centre) for member in members])
        hull = _convex_hull(points)
        middle, major, minor, angle = _smallest_rectangle(hull)
        centre = _from_plane(middle, centre)
    points = np.concatenate([_ellipse(member, centre) for member in members])
    hull = _convex_hull(points)
    _, major, minor, angle = _smallest_rectangle(hull)
    return CompositeField(
        ra_deg=float(np.degrees(centre[0]) % 360.0),
        dec_deg=float(np.degrees(centre[1])),
        major_arcmin=major,
        minor_arcmin=minor,
        angle_deg=angle,
        outline=tuple((float(east), float(north)) for east, north in hull),
    )


_Floats = NDArray[np.float64]


def _ellipse(member: Target, centre: tuple[float, float]) -> _Floats:
    """Points (n, 2) of a member's edge, arcminutes east and north in the plane at `centre`."""
    axes = member.axes_arcmin or (0.0, 0.0)
    turn = np.linspace(0.0, 2.0 * np.pi, _CORNERS, endpoint=False)
    along, across = np.cos(turn) * axes[0] / 2.0, np.sin(turn) * axes[1] / 2.0
    angle = np.radians(member.angle_deg or 0.0)
    if member.angle_deg is None:
        # Unknown direction: the circle that holds the ellipse at every angle.
        across = np.sin(turn) * axes[0] / 2.0
    edge = np.stack(
        [along * np.sin(angle) + across * np.cos(angle),
         along * np.cos(angle) - across * np.sin(angle)],
        axis=-1,
    )  # fmt: skip
    ra, dec = _sky(edge, (np.radians(member.ra_deg), np.radians(member.dec_deg)))
    turn_ra = ra - centre[0]
    depth = np.sin(dec) * np.sin(centre[1]) + np.cos(dec) * np.cos(centre[1]) * np.cos(turn_ra)
    east = np.cos(dec) * np.sin(turn_ra) / depth
    north = (
        np.sin(dec) * np.cos(centre[1]) - np.cos(dec) * np.sin(centre[1]) * np.cos(turn_ra)
    ) / depth
    return np.degrees(np.stack([east, north], axis=-1)) * 60.0


def _sky(points: _Floats, centre: tuple[float, float]) -> tuple[_Floats, _Floats]:
    """Right ascension and declination, radians, of tangent-plane points in arcminutes."""
    east, north = np.radians(points / 60.0).T
    sine, cosine = np.sin(centre[1]), np.cos(centre[1])
    ra = centre[0] + np.arctan2(east, cosine - north * sine)
    dec = np.arctan2(sine + north * cosine, np.hypot(east, cosine - north * sine))
    return ra, dec


def _from_plane(point: _Floats, centre: tuple[float, float]) -> tuple[float, float]:
    ra, dec = _sky(point[None, :], centre)
    return float(ra[0]), float(dec[0])


def _convex_hull(points: _Floats) -> _Floats:
    """Corners, counted anticlockwise in (east, north); monotone chain (Andrew 1979)."""
    ordered = sorted({(round(float(x), 6), round(float(y), 6)) for x, y in points})

    def half(sequence: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
        chain: list[tuple[float, float]] = []
        for point in sequence:
            while len(chain) >= 2 and (
                (chain[-1][0] - chain[-2][0]) * (point[1] - chain[-2][1])
                - (chain[-1][1] - chain[-2][1]) * (point[0] - chain[-2][0])
                <= 0.0
            ):
                chain.pop()
            chain.append(point)
        return chain[:-1]

    return np.array(half(ordered) + half(ordered[::-1]))


def _smallest_rectangle(hull: _Floats) -> tuple[_Floats, float, float, float]:
    """Centre, long side, short side, position angle (degrees) of the rectangle of least area."""
    edges = np.roll(hull, -1, axis=0) - hull
    angle = np.arctan2(edges[:, 0], edges[:, 1])
    along = np.stack([np.sin(angle), np.cos(angle)])
    across = np.stack([np.cos(angle), -np.sin(angle)])
    u, v = hull @ along, hull @ across
    length, width = np.ptp(u, axis=0), np.ptp(v, axis=0)
    best = int(np.argmin(length * width))
    middle = (u[:, best].max() + u[:, best].min()) / 2.0 * along[:, best] + (
        v[:, best].max() + v[:, best].min()
    ) / 2.0 * across[:, best]
    direction = float(np.degrees(angle[best]))
    major, minor = float(length[best]), float(width[best])
    if minor > major:
        major, minor, direction = minor, major, direction + 90.0
    return middle, major, minor, direction % 180.0
