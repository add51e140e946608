"""Was it good enough: how much of the reference framing a night's field shares, and the crop.

Fields are rectangles in the reference field's tangent plane; a second field is projected there
corner by corner, so that another centre and the turn of its own north are both in. Areas are of
the plane, which for fields of a few degrees differ from the sphere's by parts in a thousand, in
both alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats
from nightplan.errors import InputError
from nightplan.plane.polygons import clip_convex, edge_lines
from nightplan.plane.rectangles import (
    area_inside,
    overlap_share,
    rectangle_corners,
    to_rectangle_axes,
)
from nightplan.sky.tangent_plane import deproject, project

GOOD_SHARE = 0.98
"""Share of the reference field that a return should keep."""


@dataclass(frozen=True)
class Field:
    """A field on the sky: ICRS centre, line of the long side, full sides as tangents (radians)."""

    ra_deg: float
    dec_deg: float
    position_angle_deg: float
    long_side: float
    short_side: float


@dataclass(frozen=True)
class Crop:
    """Largest rectangle along the reference's axes that every field covers.

    `long_side` and `short_side` in the unit of the reference's sides; `share` of its area.
    """

    long_side: float
    short_side: float
    share: float


def corners_in(reference: Field, other: Field) -> Floats:
    """Corners of a field along the long and short axis of the reference, tangents, shape (4, 2).

    Raises
    ------
    InputError
        The two centres are 90° apart or more.
    """
    own = rectangle_corners(other.long_side / 2.0, other.short_side / 2.0, other.position_angle_deg)
    ra, dec = deproject(own[:, 0], own[:, 1], other.ra_deg, other.dec_deg)
    east, north = project(ra, dec, reference.ra_deg, reference.dec_deg)
    if not (np.all(np.isfinite(east)) and np.all(np.isfinite(north))):
        raise InputError(
            "framing", "centre", (other.ra_deg, other.dec_deg), "a place near the first"
        )
    along, across = to_rectangle_axes(
        np.stack((east, north), axis=1), np.array(reference.position_angle_deg)
    )
    return np.stack((along, across), axis=1)


def shared_area(reference: Field, tonight: Field) -> float:
    """Share of the reference field that tonight's field covers, 0 to 1."""
    corners = corners_in(reference, tonight)
    half_long, half_short = reference.long_side / 2.0, reference.short_side / 2.0
    inside = float(area_inside(corners[:, 0], corners[:, 1], half_long, half_short))
    return min(1.0, inside / (reference.long_side * reference.short_side))


def shared_area_of_errors(
    long_side: float,
    short_side: float,
    angle_error_deg: float,
    error_along: float = 0.0,
    error_across: float = 0.0,
) -> float:
    """Share that an equal field covers, turned by an angle and off by a step; any one unit."""
    return float(overlap_share(long_side, short_side, angle_error_deg, error_along, error_across))


def angle_tolerance_deg(
    long_side: float,
    short_side: float,
    keep: float = GOOD_SHARE,
    error_along: float = 0.0,
    error_across: float = 0.0,
) -> float:
    """Largest turn, either way, up to which the shared area stays at `keep` or above; at most 90.

    Zero where the centre error alone breaks it.

    Raises
    ------
    InputError
        `keep` is not above 0 and below 1.
    """
    from scipy.optimize import brentq

    if not 0.0 < keep < 1.0:
        raise InputError("framing", "keep", keep, "a share above 0 and below 1")

    def spare(turn_deg: ArrayLike) -> Floats:
        turns = np.asarray(turn_deg, float)
        shares = [
            overlap_share(long_side, short_side, way * turns, error_along, error_across)
            for way in (1.0, -1.0)
        ]
        return np.minimum(*shares) - keep

    turns = np.arange(0.0, 90.0 + 0.25, 0.25)
    spares = spare(turns)
    if spares[0] < 0.0:
        return 0.0
    below = np.flatnonzero(spares < 0.0)
    if below.size == 0:
        return 90.0
    last = int(below[0])
    return float(brentq(spare, turns[last - 1], turns[last], xtol=1e-9))


def largest_common_rectangle(reference: Field, others: Sequence[Field]) -> Crop:
    """What remains after cropping a stack of the reference and other nights to full cover.

    A rectangle of sides w, h at (x, y) lies inside a half plane n · p <= o exactly if
    n · (x, y) + |n_x| w / 2 + |n_y| h / 2 <= o. For a given h the widest w is a linear
    programme, and the best h is sought on log w + log h, which is concave.
    """
    half_long, half_short = reference.long_side / 2.0, reference.short_side / 2.0
    shapes = [
        np.array(
            [
                [-half_long, -half_short],
                [half_long, -half_short],
                [half_long, half_short],
                [-half_long, half_short],
            ]
        ),
        *(corners_in(reference, other) for other in others),
    ]
    return _largest(shapes, reference.long_side, reference.short_side)


def _largest(shapes: Sequence[Floats], long_side: float, short_side: float) -> Crop:
    from scipy.optimize import linprog, minimize_scalar

    common = shapes[0]
    for shape in shapes[1:]:
        common = clip_convex(common, shape)
        if len(common) < 3:
            return Crop(0.0, 0.0, 0.0)
    scale = max(long_side, short_side)
    common = common / scale
    edges = np.linalg.norm(np.roll(common, -1, axis=0) - common, axis=1)
    common = common[edges > 1e-12]
    if len(common) < 3:
        return Crop(0.0, 0.0, 0.0)
    normals, offsets = edge_lines(common)
    size = np.abs(normals) / 2.0

    def widest(height: float) -> float:
        found = linprog(
            [0.0, 0.0, -1.0],
            A_ub=np.column_stack((normals, size[:, 0])),
            b_ub=offsets - size[:, 1] * height,
            bounds=[(None, None), (None, None), (0.0, None)],
            method="highs",
        )
        return float(found.x[2]) if found.success else 0.0

    top = float(np.ptp(common[:, 1]))
    best = minimize_scalar(
        lambda height: -height * widest(height),
        bounds=(0.0, top),
        method="bounded",
        options={"xatol": 1e-7 * top},
    )
    # The whole height is at the bound's edge, which the search only comes near to.
    height = max((float(best.x), top), key=lambda one: one * widest(one))
    width = widest(height)
    area = width * height * scale * scale
    return Crop(width * scale, height * scale, min(1.0, area / (long_side * short_side)))


def crop_within(
    long_side: float, short_side: float, angle_error_deg: float, centre_error: float
) -> Crop:
    """Rectangle that is sure to remain while every field keeps within these errors, either way.

    A field turned by s and off by at most e in any direction covers a centred rectangle w × h of
    the reference's axes while  w cos s + h sin s <= W - 2e  and  w sin s + h cos s <= H - 2e
    (support of the rectangle along the turned field's axes). With w = r cos b and h = r sin b
    the left sides are r cos(b - s) and r sin(b + s); their greatest over all s up to the angle
    error t bounds r for each shape b, and the best shape is sought.
    """
    from scipy.optimize import minimize_scalar

    turn = math.radians(min(abs(angle_error_deg), 90.0))
    wide, high = long_side - 2.0 * centre_error, short_side - 2.0 * centre_error
    if min(wide, high) <= 0.0:
        return Crop(0.0, 0.0, 0.0)

    def reach(shape: Floats) -> Floats:
        by_width = wide / np.cos(np.maximum(shape - turn, 0.0))
        by_height = high / np.sin(np.minimum(shape + turn, math.pi / 2.0))
        return np.minimum(by_width, by_height)

    def loss(shape: Floats) -> Floats:
        return -(reach(shape) ** 2) * np.sin(2.0 * shape)

    shapes = np.linspace(1e-4, math.pi / 2.0 - 1e-4, 2001)
    best = int(np.argmin(loss(shapes)))
    around = (shapes[max(best - 1, 0)], shapes[min(best + 1, len(shapes) - 1)])
    found = minimize_scalar(loss, bounds=around, method="bounded", options={"xatol": 1e-12})
    size = float(reach(np.array(found.x)))
    width, height = size * math.cos(found.x), size * math.sin(found.x)
    return Crop(width, height, width * height / (long_side * short_side))


def typical_worst(error: float, nights: int) -> float:
    """Median of the largest of n errors, each normal with this standard deviation.

    The largest of n absolute values is below q with the chance erf(q / (σ√2))^n; at one half,
    q = σ √2 erfinv(2^(-1/n)).
    """
    from scipy.special import erfinv

    if nights < 1:
        raise InputError("framing", "nights", nights, "a whole number from 1")
    return float(error * math.sqrt(2.0) * erfinv(0.5 ** (1.0 / nights)))


def crop_after_nights(
    long_side: float,
    short_side: float,
    nights: int,
    angle_error_deg: float,
    centre_error: float,
) -> Crop:
    """What the crop will have cost after n nights of returning with such errors.

    Parameters
    ----------
    angle_error_deg, centre_error : float
        Standard deviations of a return: of the angle, and of the centre along each axis in the
        unit of the sides. The typical worst of n nights, to both sides at once, is what the crop
        allows for; so it errs on the safe side.
    """
    angle = typical_worst(angle_error_deg, nights)
    along_axis = typical_worst(centre_error, nights)
    turn = math.radians(min(angle, 90.0))
    # A step of at most q along each axis is one of q (cos t + sin t) along the turned axes.
    reach = along_axis * (math.cos(turn) + math.sin(turn))
    return crop_within(long_side, short_side, angle, reach)
