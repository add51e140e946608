"""Polygons in a plane: clipping, areas, hulls.

A polygon is an array of shape (n, 2), corners in order, not closed by repeating the first. The
plane may be a tangent plane of the sky; `solid_angle` then gives the true area on the sphere.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nightplan.arrays import Floats


def following(corners: NDArray[Any]) -> NDArray[Any]:
    """The next corner of each, along the first axis, the first after the last."""
    return np.concatenate((corners[1:], corners[:1]))


def signed_area(polygon: ArrayLike) -> float:
    """Area by the surveyor's formula, positive when the corners run counter-clockwise."""
    corners = np.asarray(polygon, float)
    if len(corners) < 3:
        return 0.0
    x, y = corners[:, 0], corners[:, 1]
    # Sums of products of small differences keep their digits far from the origin.
    x, y = x - x[0], y - y[0]
    return float(0.5 * np.sum(x * following(y) - following(x) * y))


def area(polygon: ArrayLike) -> float:
    """Area, never negative."""
    return abs(signed_area(polygon))


def solid_angle(polygon: ArrayLike) -> float:
    """Area on the sphere of a polygon given in a tangent plane, steradians, not negative.

    Straight sides of the plane are great circles. Sum of the signed spherical triangles from the
    tangent point to each side, each by eq. 8 of Van Oosterom & Strackee 1983, IEEE Trans. Biomed.
    Eng. 30, 125.

    Parameters
    ----------
    polygon : array_like, shape (n, 2)
        Corners as tangents (xi, eta), of `nightplan.sky.tangent_plane`.
    """
    corners = np.asarray(polygon, float)
    if len(corners) < 3:
        return 0.0
    x, y = corners[:, 0], corners[:, 1]
    next_x, next_y = following(x), following(y)
    length = np.sqrt(1.0 + x * x + y * y)
    next_length = following(length)
    triple = x * next_y - next_x * y
    below = length * next_length + x * next_x + y * next_y + 1.0 + length + next_length
    return float(abs(np.sum(2.0 * np.arctan2(triple, below))))


def ellipse_points(
    semi_major: float, semi_minor: float, angle_deg: float, count: int = 360
) -> Floats:
    """Points on an ellipse about the origin, shape (count, 2), counter-clockwise.

    `angle_deg` is the major axis's direction from the second coordinate (north) through the
    first (east). The polygon's area is short of the ellipse's by 2 pi² / (3 count²).
    """
    turn = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    along, across = semi_major * np.cos(turn), semi_minor * np.sin(turn)
    sin, cos = np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))
    return np.stack((along * sin - across * cos, along * cos + across * sin), axis=1)


def clip_half_plane(polygon: ArrayLike, normal: ArrayLike, offset: float) -> Floats:
    """Part of a polygon where normal . point <= offset, shape (m, 2); (0, 2) if none.

    Sutherland & Hodgman 1974, CACM 17, 32. Where a hollow polygon falls into pieces they stay
    joined by edges along the cutting line that run there and back, so areas are right.
    """
    corners = np.asarray(polygon, float)
    if len(corners) == 0:
        return corners.reshape(0, 2)
    depth = offset - corners @ np.asarray(normal, float)
    inside = depth >= 0.0
    if inside.all():
        return corners
    if not inside.any():
        return np.empty((0, 2))
    after, depth_after = following(corners), following(depth)
    crosses = inside != following(inside)
    share = np.zeros(len(corners))
    share[crosses] = depth[crosses] / (depth[crosses] - depth_after[crosses])
    cut = corners + share[:, None] * (after - corners)
    both = np.stack((corners, cut), axis=1).reshape(-1, 2)
    keep = np.stack((inside, crosses), axis=1).reshape(-1)
    return both[keep]


def edge_lines(convex: ArrayLike) -> tuple[Floats, Floats]:
    """Outward normals (n, 2) and offsets (n,) of a convex polygon's sides, either sense.

    The inside is where normals . point <= offsets. Normals have unit length.
    """
    corners = np.asarray(convex, float)
    if signed_area(corners) < 0.0:
        corners = corners[::-1]
    along = following(corners) - corners
    normals = np.stack((along[:, 1], -along[:, 0]), axis=1)
    normals = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    return normals, np.sum(normals * corners, axis=1)


def clip_convex(polygon: ArrayLike, convex: ArrayLike) -> Floats:
    """Part of any polygon inside a convex one, shape (m, 2); (0, 2) if none."""
    piece = np.asarray(polygon, float)
    for normal, offset in zip(*edge_lines(convex), strict=True):
        piece = clip_half_plane(piece, normal, float(offset))
    return piece


def subtract_convex(pieces: list[Floats], convex: ArrayLike) -> list[Floats]:
    """Parts of polygons outside a convex one, as pieces that do not overlap."""
    normals, offsets = edge_lines(convex)
    left: list[Floats] = []
    for whole in pieces:
        rest = whole
        for normal, offset in zip(normals, offsets, strict=True):
            outer = clip_half_plane(rest, -normal, -float(offset))
            if len(outer) >= 3:
                left.append(outer)
            rest = clip_half_plane(rest, normal, float(offset))
            if len(rest) < 3:
                break
    return left


def convex_hull(points: ArrayLike) -> Floats:
    """Convex hull, counter-clockwise, shape (m, 2): Andrew 1979, Inf. Proc. Lett. 9, 216."""
    ordered = np.unique(np.asarray(points, float), axis=0)
    if len(ordered) < 3:
        return ordered

    def chain(rows: list[list[float]]) -> list[list[float]]:
        hull: list[list[float]] = []
        for x, y in rows:
            while len(hull) > 1 and (hull[-1][0] - hull[-2][0]) * (y - hull[-2][1]) <= (
                hull[-1][1] - hull[-2][1]
            ) * (x - hull[-2][0]):
                hull.pop()
            hull.append([x, y])
        return hull[:-1]

    rows = ordered.tolist()
    return np.array(chain(rows) + chain(rows[::-1]))


def contains(polygon: ArrayLike, points: ArrayLike) -> NDArray[np.bool_]:
    """Whether points lie inside a simple polygon, by the even-odd rule of a ray.

    Parameters
    ----------
    polygon : array_like, shape (n, 2)
    points : array_like, shape (m, 2)

    Returns
    -------
    ndarray of bool, shape (m,)
    """
    corners, places = np.asarray(polygon, float), np.asarray(points, float)
    after = following(corners)
    x, y = places[:, 0, None], places[:, 1, None]
    spans = (corners[:, 1] > y) != (after[:, 1] > y)
    rise = np.where(after[:, 1] == corners[:, 1], 1.0, after[:, 1] - corners[:, 1])
    at = corners[:, 0] + (y - corners[:, 1]) / rise * (after[:, 0] - corners[:, 0])
    return np.asarray(np.sum(spans & (x < at), axis=1) % 2 == 1)


def densify(polygon: ArrayLike, longest: float) -> Floats:
    """The same outline with more points, so that no side is longer than `longest`."""
    corners = np.asarray(polygon, float)
    after = following(corners)
    counts = np.maximum(1, np.ceil(np.linalg.norm(after - corners, axis=1) / longest)).astype(int)
    start = np.repeat(corners, counts, axis=0)
    step = np.repeat(after - corners, counts, axis=0)
    place = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    return start + step * (place / np.repeat(counts, counts))[:, None]
