"""One rectangle over one outline: coverage, margin, the best angle, how far it may be off.

Angles are those of the field's long side at the field's own centre. The field is centred on the
outline's extent along its two sides, which for an ellipse is its middle at every angle.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

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

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

COVERAGE_SLACK = 0.02
"""Share of coverage that may be lost before a framing counts as lost (interface)."""

_RECENTRINGS = 4
_SAME_COVERAGE = 1e-4
_SAME_MARGIN_RAD = np.radians(0.01 / 60.0)
_HAIR_RAD = 1e-9
_STEP_DEG = 1.0


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
    return moved if moved.coverage > centred.coverage + _SAME_COVERAGE else centred


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


@dataclass(frozen=True)
class AngleChoice:
    """The angle taken, and why: one of those of `framing.Framing.angle_choice`."""

    angle_deg: float
    why: str


def fitting_angle(
    shape: Shape,
    field: Field,
    wanted_margin_rad: float,
    used_angles: Sequence[float] = (),
    flats_angles: Sequence[float] = (),
) -> AngleChoice | None:
    """The best angle of those at which one field gives the wanted margin; None if none does.

    All such angles count as equal. Of those: one used already for this target, then one whose
    flats are still good, then 0° or 90° (the one with more margin; 90°, north up on a landscape
    sensor, of equals), then the middle of the widest band, where the camera may be off most.
    """
    whole_degrees = np.arange(0.0, 180.0, _STEP_DEG)
    margins = scan_angles(shape, field, whole_degrees).margin_rad
    named = scan_angles(shape, field, _candidates(used_angles, flats_angles))
    good = named.margin_rad >= wanted_margin_rad - _HAIR_RAD
    choice = _preferred(good, used_angles, flats_angles, named)
    if choice is not None:
        return choice
    if margins.max() >= wanted_margin_rad:
        return AngleChoice(_middle_of_band(shape, field, wanted_margin_rad, margins), "middle")
    peak = _roomiest(shape, field, float(whole_degrees[int(np.argmax(margins))]))
    if scan_angles(shape, field, [peak]).margin_rad[0] >= wanted_margin_rad:
        # A band narrower than the scan's step: its peak is all there is to choose.
        return AngleChoice(float(wrap_axis_deg(peak)), "middle")
    return None


def widest_angle(
    shape: Shape,
    field: Field,
    used_angles: Sequence[float] = (),
    flats_angles: Sequence[float] = (),
    *,
    try_offsets: bool = True,
) -> AngleChoice:
    """The angle of most coverage, then of most margin; equals in the order of `fitting_angle`.

    `try_offsets` lets the field leave the outline's middle where that covers more, which costs
    time and matters only for an outline without symmetry.
    """
    scan = scan_angles(shape, field, np.arange(0.0, 180.0, _STEP_DEG))
    named = scan_angles(shape, field, _candidates(used_angles, flats_angles))
    if scan.margin_rad.max() >= 0.0:
        # Wholly inside at some angle: all such cover everything, so the margin decides.
        peak = _roomiest(shape, field, float(scan.angle_deg[int(np.argmax(scan.margin_rad))]))
        best = scan_angles(shape, field, [peak]).margin_rad[0]
        equal = named.margin_rad >= best - _SAME_MARGIN_RAD
    else:
        peak = _widest(shape, field, scan, try_offsets)
        best_placed = place_at(shape, field, peak, try_offsets=try_offsets)
        equal = np.zeros(len(named.angle_deg), bool)
        for index, angle in enumerate(named.angle_deg):
            placed = place_at(shape, field, float(angle), try_offsets=try_offsets)
            equal[index] = (
                placed.coverage >= best_placed.coverage - _SAME_COVERAGE
                and placed.margin_rad >= best_placed.margin_rad - _SAME_MARGIN_RAD
            )
    choice = _preferred(equal, used_angles, flats_angles, named)
    return choice or AngleChoice(float(wrap_axis_deg(np.round(peak, 1))), "widest")


def _widest(shape: Shape, field: Field, scan: AngleScan, try_offsets: bool) -> float:
    """Angle of most coverage, of equals the one with most margin."""
    angles = scan.angle_deg
    coverage = coverage_of_turns(shape, field, scan.ra_deg, scan.dec_deg, angles)
    if try_offsets and not shape.centred:
        coverage = _with_offsets(shape, field, scan, coverage)
    near = coverage >= coverage.max() - _SAME_COVERAGE
    top = int(np.argmax(np.where(near, scan.margin_rad, -np.inf)))
    if not shape.centred:
        return float(angles[top])
    return _peak(
        lambda turns: coverage_of_turns(shape, field, shape.ra_deg, shape.dec_deg, turns),
        float(angles[top]),
    )


def _roomiest(shape: Shape, field: Field, near_deg: float) -> float:
    return _peak(lambda angles: scan_angles(shape, field, angles).margin_rad, near_deg)


def _candidates(used: Sequence[float], flats: Sequence[float]) -> Floats:
    return np.array([*used, *flats, 90.0, 0.0], float)


def _preferred(
    good: Bools, used: Sequence[float], flats: Sequence[float], named: AngleScan
) -> AngleChoice | None:
    """First of the named angles that is good, by the order of preference."""
    for index in range(len(used) + len(flats)):
        if good[index]:
            why = "used" if index < len(used) else "flats"
            return AngleChoice(float(wrap_axis_deg(named.angle_deg[index])), why)
    north, across = bool(good[-2]), bool(good[-1])
    if not (north or across):
        return None
    more = named.margin_rad[-1] > named.margin_rad[-2] + _SAME_MARGIN_RAD
    return AngleChoice(0.0 if across and (more or not north) else 90.0, "round")


def _peak(function: Callable[[Floats], Floats], near_deg: float) -> float:
    """Where a function of angle is largest within a step of a place."""
    reach = _STEP_DEG
    for _ in range(4):
        angles = near_deg + reach * np.linspace(-1.0, 1.0, 21)
        near_deg = float(angles[int(np.argmax(function(angles)))])
        reach /= 10.0
    return near_deg


def _middle_of_band(shape: Shape, field: Field, wanted_rad: float, margins: Floats) -> float:
    """Middle of the widest run of angles that give the margin, to a whole degree if that does."""

    def good(angles: Floats) -> Bools:
        return scan_angles(shape, field, angles).margin_rad >= wanted_rad

    count = len(margins)
    keeps = margins >= wanted_rad
    start = int(np.argmin(keeps))  # one that does not give it: runs do not wrap from here
    order = (start + np.arange(count)) % count
    runs: list[list[int]] = []
    for position, index in enumerate(order):
        if keeps[index]:
            if runs and runs[-1][1] == position - 1:
                runs[-1][1] = position
            else:
                runs.append([position, position])
    first, last = max(runs, key=lambda run: run[1] - run[0])
    low = (start + first) * _STEP_DEG
    high = (start + last) * _STEP_DEG
    low -= float(first_failure(lambda turn: good(low - turn), _STEP_DEG, _STEP_DEG / 8.0))
    high += float(first_failure(lambda turn: good(high + turn), _STEP_DEG, _STEP_DEG / 8.0))
    middle = 0.5 * (low + high)
    rounded = float(np.round(middle))
    if good(np.array([rounded]))[0] and low <= rounded <= high:
        middle = rounded
    return float(wrap_axis_deg(middle))


def _with_offsets(shape: Shape, field: Field, scan: AngleScan, coverage: Floats) -> Floats:
    """Coverage of the most promising angles with the field moved to where it covers most."""
    better = coverage.copy()
    for index in range(0, len(coverage), 10):
        angle = float(scan.angle_deg[index])
        better[index] = max(better[index], place_at(shape, field, angle).coverage)
    top = int(np.argmax(better))
    for index in range(top - 6, top + 7, 2):
        where = index % len(coverage)
        better[where] = max(
            better[where], place_at(shape, field, float(scan.angle_deg[where])).coverage
        )
    return better


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
    has_margin = placement.margin_rad >= wanted_margin_rad - _HAIR_RAD
    if has_margin:

        def keeps(angles: Floats) -> Bools:
            along, across = to_rectangle_axes(hull, angles)
            margin = sky_margin(along, across, field.half_long, field.half_short)
            return np.asarray(margin >= wanted_margin_rad - 2.0 * _HAIR_RAD)
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
