"""The outline of a target, or of several together, as the framing sees it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from nightplan.arrays import Floats
from nightplan.model.target import Target
from nightplan.plane.polygons import convex_hull, densify, ellipse_points
from nightplan.sky.angles import separation_deg
from nightplan.sky.tangent_plane import deproject, project

POINT_ARCMIN = 1.0
"""Diameter that a target without a published size is given."""

_LARGEST_SEMI_AXIS_DEG = 70.0  # a tangent plane ends at 90
_ELLIPSE_POINTS = 360


@dataclass(frozen=True)
class Shape:
    """Outlines in the tangent plane at (`ra_deg`, `dec_deg`).

    Attributes
    ----------
    ra_deg, dec_deg : float
        Tangent point, the middle of the target.
    polygons : tuple of ndarray, shape (n, 2)
        One outline a member, as tangents (xi, eta).
    symmetric : bool
        Whether the outline looks the same turned by 180° about the tangent point.
    pinned_from : tuple of float, or None
        Where the field's centre is bound to the tangent point by the imager's wish: the place of
        the target's own middle.
    assumption : str
        What had to be assumed for want of data, or "".
    ellipse : tuple of float, or None
        Half axes as tangents and position angle of the major one, of a lone ellipse about the
        tangent point.
    """

    ra_deg: float
    dec_deg: float
    polygons: tuple[Floats, ...]
    symmetric: bool
    assumption: str = ""
    pinned_from: tuple[float, float] | None = None
    ellipse: tuple[float, float, float] | None = None

    @property
    def pinned(self) -> bool:
        """Whether the imager's wish binds the field's centre."""
        return self.pinned_from is not None

    @property
    def centred(self) -> bool:
        """Whether the field belongs on the tangent point at every angle."""
        return self.symmetric or self.pinned

    @property
    def reach(self) -> Floats:
        """Points that a centred rectangle has to clear: of a symmetric hull one half, (n, 2)."""
        hull = self.hull
        return hull[: len(hull) // 2] if self.symmetric else hull

    @property
    def hull(self) -> Floats:
        """Convex hull of all outlines, shape (n, 2): what a margin has to clear."""
        if len(self.polygons) == 1 and self.symmetric:
            return self.polygons[0]
        return convex_hull(np.concatenate(self.polygons))

    def seen_from(self, ra_deg: float, dec_deg: float) -> Shape:
        """The same outlines in the tangent plane at another place.

        Straight sides stay straight (they are great circles), so corners are all that moves.
        """
        if ra_deg == self.ra_deg and dec_deg == self.dec_deg:
            return self
        moved = []
        for polygon in self.polygons:
            ra, dec = deproject(polygon[:, 0], polygon[:, 1], self.ra_deg, self.dec_deg)
            moved.append(np.stack(project(ra, dec, ra_deg, dec_deg), axis=1))
        return Shape(ra_deg, dec_deg, tuple(moved), False, self.assumption)

    def pinned_at(self, ra_deg: float, dec_deg: float) -> Shape:
        """The same outlines with the field's centre bound to a place."""
        middle = (self.ra_deg, self.dec_deg)
        return replace(self.seen_from(ra_deg, dec_deg), pinned_from=middle)

    def offset_arcmin(self, ra_deg: float, dec_deg: float) -> float:
        """Distance of a place from the target's own middle."""
        middle = self.pinned_from or (self.ra_deg, self.dec_deg)
        return 60.0 * float(separation_deg(*middle, ra_deg, dec_deg))

    def edge_points(self, longest: float) -> Floats:
        """Points along all outlines, no farther apart than `longest` (tangents), shape (n, 2)."""
        return np.concatenate([densify(polygon, longest) for polygon in self.polygons])


def shape_of(target: Target) -> Shape:
    """Outline of one target: its own where the catalogue has one, else its ellipse.

    An elongated target of unknown angle is taken as the circle of its major axis, so that what
    is promised holds whichever way it lies. One of unknown size is a disc of `POINT_ARCMIN`.
    """
    if target.outline is not None:
        corners = np.radians(np.array(target.outline, float) / 60.0)
        return Shape(target.ra_deg, target.dec_deg, (corners,), False)
    major, minor, angle, assumption = ellipse_of(target)
    ellipse = (semi_axis_plane(major), semi_axis_plane(minor), angle)
    polygon = ellipse_points(*ellipse, _ELLIPSE_POINTS)
    return Shape(target.ra_deg, target.dec_deg, (polygon,), True, assumption, ellipse=ellipse)


def ellipse_of(target: Target) -> tuple[float, float, float, str]:
    """Major and minor axis (arcmin), position angle, and what had to be assumed, of a target."""
    axes = target.axes_arcmin
    if axes is None:
        return (
            POINT_ARCMIN,
            POINT_ARCMIN,
            0.0,
            f"its size is unknown and taken as {POINT_ARCMIN:g}′",
        )
    major, minor = axes
    if target.angle_deg is not None:
        return major, minor, target.angle_deg, ""
    if minor < 0.95 * major:
        return (
            major,
            major,
            0.0,
            f"its angle is unknown, so room is kept for {major:g}′ in every direction",
        )
    return major, major, 0.0, ""


def semi_axis_plane(axis_arcmin: float) -> float:
    """Half a full axis as a tangent."""
    return float(np.tan(np.radians(min(axis_arcmin / 120.0, _LARGEST_SEMI_AXIS_DEG))))


def shape_of_group(targets: Sequence[Target]) -> Shape:
    """Outlines of several targets in one plane, about the middle of their common extent."""
    shapes = [shape_of(target) for target in targets]
    ra, dec = shapes[0].ra_deg, shapes[0].dec_deg
    for _ in range(4):
        polygons = [shape.seen_from(ra, dec).polygons for shape in shapes]
        points = np.concatenate([each for group in polygons for each in group])
        middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
        new_ra, new_dec = deproject(middle[0], middle[1], ra, dec)
        ra, dec = float(new_ra), float(new_dec)
    placed = tuple(each for shape in shapes for each in shape.seen_from(ra, dec).polygons)
    notes = "; ".join(
        f"{target.name}: {shape.assumption}"
        for target, shape in zip(targets, shapes, strict=True)
        if shape.assumption
    )
    return Shape(ra, dec, placed, False, notes)
