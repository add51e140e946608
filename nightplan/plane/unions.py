"""The outer edge of several convex polygons together, and how far places are from it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nightplan.arrays import Floats
from nightplan.plane.polygons import edge_lines, following

_SLACK = 1e-12


def boundary_segments(polygons: list[Floats]) -> tuple[Floats, Floats]:
    """Stretches of the sides that lie in no other polygon: the union's edge, holes' edges too.

    Parameters
    ----------
    polygons : list of ndarray, shape (n, 2)
        Convex polygons.

    Returns
    -------
    start, end : ndarray, shape (k, 2)
    """
    lines = [edge_lines(polygon) for polygon in polygons]
    middles = [polygon.mean(axis=0) for polygon in polygons]
    radii = [
        float(np.linalg.norm(polygon - middle, axis=1).max())
        for polygon, middle in zip(polygons, middles, strict=True)
    ]
    starts: list[Floats] = []
    ends: list[Floats] = []
    for own, polygon in enumerate(polygons):
        near = [
            line
            for other, line in enumerate(lines)
            if other != own
            and np.hypot(*(middles[own] - middles[other])) < radii[own] + radii[other]
        ]
        for p, q in zip(polygon, following(polygon), strict=True):
            covered = [_inside_stretch(p, q, *line) for line in near]
            for a, b in _gaps([c for c in covered if c is not None]):
                starts.append(p + a * (q - p))
                ends.append(p + b * (q - p))
    if not starts:
        return np.empty((0, 2)), np.empty((0, 2))
    return np.array(starts), np.array(ends)


def _inside_stretch(
    p: Floats, q: Floats, normals: Floats, offsets: Floats
) -> tuple[float, float] | None:
    """Shares of the side p..q between which it is inside a convex polygon (Cyrus & Beck 1978).

    A side that runs along the other polygon's side is not inside it: twins of one outer edge stay.
    """
    depth, change = offsets - normals @ p, normals @ (q - p)
    low, high = 0.0, 1.0
    for d, c in zip(depth.tolist(), change.tolist(), strict=True):
        if abs(c) < 1e-300:
            if d < _SLACK:
                return None
        elif c > 0.0:
            high = min(high, (d - _SLACK) / c)
        else:
            low = max(low, (d - _SLACK) / c)
    return (low, high) if high > low else None


def _gaps(covered: list[tuple[float, float]]) -> list[tuple[float, float]]:
    free, reached = [], 0.0
    for a, b in sorted(covered):
        if a > reached + _SLACK:
            free.append((reached, a))
        reached = max(reached, b)
    if reached < 1.0 - _SLACK:
        free.append((reached, 1.0))
    return free


def inside_any(points: ArrayLike, polygons: list[Floats]) -> NDArray[np.bool_]:
    """Whether each place, shape (m, 2), is inside any of the convex polygons."""
    places = np.asarray(points, float)
    found = np.zeros(len(places), dtype=bool)
    for polygon in polygons:
        normals, offsets = edge_lines(polygon)
        found |= (places @ normals.T <= offsets + _SLACK).all(axis=1)
    return found


def union_margin(
    points: ArrayLike, polygons: list[Floats], segments: tuple[Floats, Floats] | None = None
) -> float:
    """Least angle from places to the edge of a union, radians; negative where one is outside.

    Nearest places are sought in the tangent plane and their distance measured on the sphere,
    which is right to second order in the field's size.

    Parameters
    ----------
    points : array_like, shape (m, 2)
        Places of an outline as tangents.
    polygons : list of ndarray, shape (n, 2)
        Convex polygons of the same plane.
    segments : pair of ndarray, optional
        Their `boundary_segments`, if known already.
    """
    places = np.asarray(points, float)
    start, end = boundary_segments(polygons) if segments is None else segments
    along = end - start
    length2 = np.maximum(np.sum(along * along, axis=1), 1e-300)
    share = np.sum((places[:, None] - start) * along, axis=-1) / length2
    near = start + np.clip(share, 0.0, 1.0)[..., None] * along
    flat = np.sum((places[:, None] - near) ** 2, axis=-1)
    which = np.argmin(flat, axis=1)
    nearest = near[np.arange(len(places)), which]
    x, y, u, v = places[:, 0], places[:, 1], nearest[:, 0], nearest[:, 1]
    cross = np.sqrt((y - v) ** 2 + (u - x) ** 2 + (x * v - y * u) ** 2)
    distance = np.arctan2(cross, x * u + y * v + 1.0)
    return float(np.min(np.where(inside_any(places, polygons), distance, -distance)))
