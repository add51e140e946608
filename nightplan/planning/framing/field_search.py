"""One rectangle over one outline: coverage, margin, the best angle, how far it may be off.

Angles are those of the field's long side at the field's own centre. The field is centred on the
outline's extent along its two sides, which for an ellipse is its middle at every angle.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Bools, Floats
from nightplan.plane.ellipses import area_share
from nightplan.plane.polygons import clip_convex, solid_angle
from nightplan.plane.rectangles import (
    area_inside,
    rectangle_corners,
    sky_margin,
    to_rectangle_axes,
)
from nightplan.planning.framing.outlines import Shape
from nightplan.sky.angles import wrap_axis_deg
from nightplan.sky.tangent_plane import deproject, project

COVERAGE_SLACK = 0.02
"""Share of coverage that may be lost before a framing counts as lost (interface)."""

_RECENTRINGS = 4
SAME_COVERAGE = 1e-4
HAIR_RAD = 1e-9


@dataclass(frozen=True)
class Field:
    """A field's half sides as tangents, `half_long` at least `half_short`."""

    half_long: float
    half_short: float


@dataclass(frozen=True)
class Placement:
    """A field put over an outline.

    Attributes
    ----------
    ra_deg, dec_deg : float
        The field's centre.
    angle_deg : float
        Position angle of its long side there, 0 <= angle < 180.
    coverage : float
        Share of the outline's true area inside, 0 to 1.
    margin_rad : float
        Least angle from the outline to the field's edge, negative outside.
    """

    ra_deg: float
    dec_deg: float
    angle_deg: float
    coverage: float
    margin_rad: float


@dataclass(frozen=True)
class AngleScan:
    """Many angles tried at once: arrays of shape (angle,)."""

    angle_deg: Floats
    ra_deg: Floats
    dec_deg: Floats
    margin_rad: Floats


def scan_angles(shape: Shape, field: Field, angles_deg: ArrayLike) -> AngleScan:
    """Margin at each angle, with the field centred on the outline's extent at that angle."""
    angles = np.atleast_1d(np.asarray(angles_deg, float))
    if shape.centred:
        along, across = to_rectangle_axes(shape.reach, angles)
        centre_ra, centre_dec = (
            np.full(angles.shape, shape.ra_deg),
            np.full(angles.shape, shape.dec_deg),
        )
    else:
        hull = shape.hull
        centre_ra, centre_dec = _centred(shape, hull, angles)
        along, across = _axes_at(shape, hull, angles, centre_ra, centre_dec)
    margin = sky_margin(along, across, field.half_long, field.half_short)
    return AngleScan(angles, centre_ra, centre_dec, margin)


def _axes_at(
    shape: Shape, points: Floats, angles_deg: Floats, ra_deg: Floats, dec_deg: Floats
) -> tuple[Floats, Floats]:
    """Points of a shape along the axes of fields, one a centre and angle: (angle, n) each."""
    point_ra, point_dec = deproject(points[:, 0], points[:, 1], shape.ra_deg, shape.dec_deg)
    xi, eta = project(point_ra, point_dec, ra_deg[:, None], dec_deg[:, None])
    return to_rectangle_axes(np.stack((xi, eta), axis=-1), angles_deg)


def _centred(shape: Shape, hull: Floats, angles_deg: Floats) -> tuple[Floats, Floats]:
    """Centres from which the hull reaches equally far to opposite sides."""
    ra, dec = np.full(angles_deg.shape, shape.ra_deg), np.full(angles_deg.shape, shape.dec_deg)
    turn = np.radians(angles_deg)
    for _ in range(_RECENTRINGS):
        along, across = _axes_at(shape, hull, angles_deg, ra, dec)
        u = 0.5 * (along.min(axis=-1) + along.max(axis=-1))
        v = 0.5 * (across.min(axis=-1) + across.max(axis=-1))
        east, north = u * np.sin(turn) - v * np.cos(turn), u * np.cos(turn) + v * np.sin(turn)
        ra, dec = deproject(east, north, ra, dec)
    return ra, dec


def place(shape: Shape, field: Field, ra_deg: float, dec_deg: float, angle_deg: float) -> Placement:
    """Exact coverage and margin of one field: areas on the sphere, distances on the sphere."""
    seen = shape.seen_from(ra_deg, dec_deg)
    corners = rectangle_corners(field.half_long, field.half_short, angle_deg)
    along, across = to_rectangle_axes(seen.hull, angle_deg)
    margin = float(sky_margin(along, across, field.half_long, field.half_short))
    if margin >= 0.0:
        coverage = 1.0
    else:
        whole = sum(solid_angle(polygon) for polygon in seen.polygons)
        inside = sum(solid_angle(clip_convex(polygon, corners)) for polygon in seen.polygons)
        coverage = min(inside / whole, 1.0)
    return Placement(ra_deg, dec_deg, float(wrap_axis_deg(angle_deg)), coverage, margin)


def place_at(
    shape: Shape, field: Field, angle_deg: float, *, try_offsets: bool = True
) -> Placement:
    """The best field at an angle: centred for the margin or, where that fails, for coverage."""
    found = scan_angles(shape, field, [angle_deg])
    centred = place(shape, field, float(found.ra_deg[0]), float(found.dec_deg[0]), angle_deg)
    if shape.centred or not try_offsets or centred.margin_rad >= 0.0:
        return centred
    ra, dec = _widest_centre(shape, field, angle_deg, centred)
    moved = place(shape, field, ra, dec, angle_deg)
    return moved if moved.coverage > centred.coverage + SAME_COVERAGE else centred


def _widest_centre(
    shape: Shape, field: Field, angle_deg: float, start: Placement
) -> tuple[float, float]:
    """Centre of most coverage near a start, by a grid of offsets made finer three times.

    Sought in the plane at the start, where areas are right to second order; the caller measures
    the outcome on the sphere.
    """
    seen = shape.seen_from(start.ra_deg, start.dec_deg)
    turned = [to_rectangle_axes(polygon, angle_deg) for polygon in seen.polygons]
    reach_u = max(float(np.abs(along).max()) for along, _ in turned)
    reach_v = max(float(np.abs(across).max()) for _, across in turned)
    centre_u, centre_v = 0.0, 0.0
    for step in (1.0, 0.25, 0.06):
        u = centre_u + step * reach_u * np.linspace(-1.0, 1.0, 9)[:, None]
        v = centre_v + step * reach_v * np.linspace(-1.0, 1.0, 9)[None, :]
        inside = np.zeros((9, 9))
        for along, across in turned:
            inside += area_inside(
                along - u[..., None], across - v[..., None], field.half_long, field.half_short
            )
        # Of equals the nearest to the middle, so that a flat top does not wander.
        inside -= 1e-9 * inside.max() * (u * u + v * v) / (reach_u**2 + reach_v**2)
        best = np.unravel_index(int(np.argmax(inside)), inside.shape)
        centre_u, centre_v = float(u[best[0], 0]), float(v[0, best[1]])
    sin, cos = np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))
    ra, dec = deproject(
        centre_u * sin - centre_v * cos,
        centre_u * cos + centre_v * sin,
        start.ra_deg,
        start.dec_deg,
    )
    return float(ra), float(dec)


def coverage_of_turns(
    shape: Shape, field: Field, ra_deg: ArrayLike, dec_deg: ArrayLike, angles_deg: ArrayLike
) -> Floats:
    """Coverage at many centres and angles at once, areas taken in each field's own plane.

    The plane overrates area far from the middle by (1 + xi² + eta²)^1.5: 0.1 % at 1.5 degrees.
    Good for seeking; `place` measures on the sphere.
    """
    angles = np.atleast_1d(np.asarray(angles_deg, float))
    ra = np.broadcast_to(np.asarray(ra_deg, float), angles.shape)
    dec = np.broadcast_to(np.asarray(dec_deg, float), angles.shape)
    one_centre = np.ptp(ra) == 0.0 and np.ptp(dec) == 0.0
    inside, whole = np.zeros(angles.shape), np.zeros(angles.shape)
    seen = shape.seen_from(float(ra[0]), float(dec[0])) if one_centre else shape
    if one_centre and seen.ellipse is not None:
        major, minor, tilt = seen.ellipse
        return area_share(major, minor, angles - tilt, field.half_long, field.half_short)
    for polygon in seen.polygons:
        if one_centre:
            along, across = to_rectangle_axes(polygon, angles)
        else:
            along, across = _axes_at(shape, polygon, angles, ra, dec)
        after_along, after_across = np.roll(along, -1, axis=-1), np.roll(across, -1, axis=-1)
        whole += 0.5 * np.abs(np.sum(along * after_across - after_along * across, axis=-1))
        inside += area_inside(along, across, field.half_long, field.half_short)
    return np.minimum(inside / whole, 1.0)


def first_failure(
    keeps: Callable[[Floats], Bools], limit: float, step: float, rounds: int = 4
) -> float:
    """Largest turn up to which a condition holds all the way, at most `limit`.

    The first failing place of an even scan is closed in on by scans of 17 places each: to
    step / 16^rounds. `keeps` takes turns (n,) and gives booleans (n,); it holds at 0.
    """
    low, high = 0.0, limit
    turns = np.append(np.arange(step, limit, step), limit)
    for _ in range(rounds + 1):
        failing = np.flatnonzero(~keeps(turns))
        if failing.size == 0:
            return high if high == limit else low
        first = int(failing[0])
        low, high = (float(turns[first - 1]) if first else low), float(turns[first])
        turns = np.linspace(low, high, 17)[1:]
    return low


def angle_tolerance_deg(
    shape: Shape, field: Field, placement: Placement, wanted_margin_rad: float
) -> float:
    """Largest turn either way, about the field's centre, that keeps what the framing gives.

    That is the wanted margin where the placement has it, else the coverage within
    `COVERAGE_SLACK`. At most 90: a rectangle's turn beyond that comes back from the other side.
    """
    seen = shape.seen_from(placement.ra_deg, placement.dec_deg)
    hull = seen.reach
    has_margin = placement.margin_rad >= wanted_margin_rad - HAIR_RAD
    if has_margin:

        def keeps(angles: Floats) -> Bools:
            along, across = to_rectangle_axes(hull, angles)
            margin = sky_margin(along, across, field.half_long, field.half_short)
            return np.asarray(margin >= wanted_margin_rad - 2.0 * HAIR_RAD)
    else:
        floor = coverage_of_turns(
            shape, field, placement.ra_deg, placement.dec_deg, [placement.angle_deg]
        )[0]

        def keeps(angles: Floats) -> Bools:
            found = coverage_of_turns(shape, field, placement.ra_deg, placement.dec_deg, angles)
            return np.asarray(found >= floor - COVERAGE_SLACK)

    eastward = first_failure(lambda turn: keeps(placement.angle_deg + turn), 90.0, 1.0)
    westward = first_failure(lambda turn: keeps(placement.angle_deg - turn), 90.0, 1.0)
    return min(eastward, westward)
