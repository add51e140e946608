"""Mosaics: the fewest panels that hold a target, laid out right at any declination.

Panels form a grid in the tangent plane at the mosaic's centre. Each panel is a field of its own,
tangent at its own centre, turned so that its sides run along the grid there; near a pole that
turn is many degrees.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats
from nightplan.plane.rectangles import rectangle_corners, to_rectangle_axes
from nightplan.planning.framing.field_search import (
    Field,
    coverage_of_turns,
    scan_angles,
)
from nightplan.planning.framing.outlines import Shape
from nightplan.planning.framing.panel_grid import Grid, measured, without_idle_panels
from nightplan.sky.angles import wrap_180_deg, wrap_axis_deg
from nightplan.sky.tangent_plane import deproject, direction_angle_deg, project

_ANGLE_STEP_DEG = 1.0
_REBUILDS = 6


def panels_needed(extent: Floats, side: float, overlap: float) -> Floats:
    """Panels in a row that span an extent: 1 + the rest over a side less the overlap, whole."""
    rest = np.maximum(np.asarray(extent, float) - side, 0.0)
    return 1.0 + np.ceil(rest / (side * (1.0 - overlap)) - 1e-9)


def plan_grid(
    shape: Shape,
    field: Field,
    overlap: float,
    wanted_margin_rad: float,
    most_panels: int,
    angle_deg: float | None = None,
    preferred_angles: Sequence[float] = (),
) -> Grid | None:
    """The grid of fewest panels that holds the outline with the margin, or None if none may.

    All angles that need equally few panels count as equal: the first of `preferred_angles` among
    them is taken, else the one that leaves most room.

    Parameters
    ----------
    shape, field
        Outline, and one panel's half sides.
    overlap : float
        Least share of a side common to neighbours, 0 to below 1.
    wanted_margin_rad : float
        Room wanted round the outline.
    most_panels : int
        Largest number of panels allowed.
    angle_deg : float, optional
        The one angle allowed.
    preferred_angles : sequence of float
        In order of preference.
    """
    every = np.arange(0.0, 180.0, _ANGLE_STEP_DEG)
    angles = np.array([angle_deg]) if angle_deg is not None else every
    angles = angles if angle_deg is not None else np.append(np.array(preferred_angles), angles)
    width, height = _extents(shape, field, angles)
    # An angle far from the centre looks longer in the plane.
    stretch = 1.0 + 0.25 * (width + 2.0 * wanted_margin_rad) ** 2 + 0.25 * height**2
    width = width + 2.0 * wanted_margin_rad * stretch
    height = height + 2.0 * wanted_margin_rad * stretch
    columns = panels_needed(width, 2.0 * field.half_long, overlap)
    rows = panels_needed(height, 2.0 * field.half_short, overlap)
    counts = columns * rows
    if counts.min() > most_panels:
        return None
    slack = np.minimum(
        _span(columns, field.half_long, overlap) - width,
        _span(rows, field.half_short, overlap) - height,
    )
    fewest = counts == counts.min()
    ranked = np.argsort(-np.where(fewest, slack, -np.inf), kind="stable")
    named = [index for index in range(len(angles) - len(every)) if fewest[index]]
    order = [*named, *ranked[: max(int(fewest.sum()), 1)]]
    for index in order[:3]:
        grid = build_grid(
            shape,
            field,
            float(angles[index]),
            int(columns[index]),
            int(rows[index]),
            overlap,
        )
        if grid.margin_rad >= wanted_margin_rad - 1e-7:
            return without_idle_panels(shape, field, grid, wanted_margin_rad)
    # Far from the centre the plane and the sphere differ; one more row or column then.
    index = order[0]
    return _grown(shape, field, float(angles[index]), columns[index], rows[index], overlap,
                  wanted_margin_rad, most_panels)  # fmt: skip


def _grown(
    shape: Shape,
    field: Field,
    angle_deg: float,
    columns: float,
    rows: float,
    overlap: float,
    wanted_margin_rad: float,
    most_panels: int,
) -> Grid | None:
    tries = sorted(
        ((int(columns) + c, int(rows) + r) for c in range(3) for r in range(3)),
        key=lambda size: size[0] * size[1],
    )
    for size in tries[1:]:
        if size[0] * size[1] > most_panels:
            return None
        grid = build_grid(shape, field, angle_deg, *size, overlap)
        if grid.margin_rad >= wanted_margin_rad - 1e-7:
            return without_idle_panels(shape, field, grid, wanted_margin_rad)
    return None


def best_partial_grid(
    shape: Shape,
    field: Field,
    overlap: float,
    most_panels: int,
    angle_deg: float | None = None,
    preferred_angles: Sequence[float] = (),
) -> Grid:
    """The grid within the limit that covers most, for a target that no allowed grid holds."""
    angles = np.array([angle_deg], float) if angle_deg is not None else np.arange(0.0, 180.0, 3.0)
    scan = scan_angles(shape, field, angles)
    best, most = (0, 1, 1), -1.0
    for columns in range(1, most_panels + 1):
        rows = most_panels // columns
        # To rank sizes and angles, a grid is one large field.
        whole = Field(
            0.5 * float(_span(np.array(columns), field.half_long, overlap)),
            0.5 * float(_span(np.array(rows), field.half_short, overlap)),
        )
        share = coverage_of_turns(shape, whole, scan.ra_deg, scan.dec_deg, angles)
        if share.max() > most + 1e-4:
            best, most = (int(np.argmax(share)), columns, rows), float(share.max())
    index, columns, rows = best
    angle = float(angles[index])
    grid = build_grid(shape, field, angle, columns, rows, overlap)
    for preferred in preferred_angles if angle_deg is None else ():
        other = build_grid(shape, field, float(preferred), columns, rows, overlap)
        if other.coverage >= grid.coverage - 1e-3:
            grid = other
            break
    return without_idle_panels(shape, field, grid, grid.margin_rad)


def fewest_panels(
    shape: Shape,
    field: Field,
    overlap: float,
    wanted_margin_rad: float,
    angle_deg: float | None = None,
) -> int:
    """How many panels the smallest grid would need, without a limit."""
    angles = np.arange(0.0, 180.0, _ANGLE_STEP_DEG) if angle_deg is None else np.array([angle_deg])
    width, height = _extents(shape, field, angles)
    columns = panels_needed(width + 2 * wanted_margin_rad, 2 * field.half_long, overlap)
    rows = panels_needed(height + 2 * wanted_margin_rad, 2 * field.half_short, overlap)
    return int((columns * rows).min())


def _span(count: Floats, half: float, overlap: float) -> Floats:
    return 2.0 * half * (1.0 + (count - 1.0) * (1.0 - overlap))


def _extents(shape: Shape, field: Field, angles_deg: Floats) -> tuple[Floats, Floats]:
    """Full extents of the outline along and across each angle, tangents, (angle,) each; those
    that a grid needs about its centre."""
    hull = shape.hull
    if shape.symmetric:
        along, across = to_rectangle_axes(hull, angles_deg)
    elif shape.pinned:
        # From a centre that is not the outline's own, the grid has to reach its far side.
        along, across = to_rectangle_axes(np.concatenate((hull, -hull)), angles_deg)
    else:
        scan = scan_angles(shape, field, angles_deg)
        ra, dec = deproject(hull[:, 0], hull[:, 1], shape.ra_deg, shape.dec_deg)
        xi, eta = project(ra, dec, scan.ra_deg[:, None], scan.dec_deg[:, None])
        along, across = to_rectangle_axes(np.stack((xi, eta), axis=-1), angles_deg)
    return np.ptp(along, axis=-1), np.ptp(across, axis=-1)


def build_grid(
    shape: Shape, field: Field, angle_deg: float, columns: int, rows: int, overlap: float
) -> Grid:
    """A grid of given size and angle about the outline's middle, with coverage and margin.

    The pitch starts from a side less the overlap and shrinks until no two neighbours share less
    than the overlap anywhere along their common side; so no hole can open between them.
    """
    scan = scan_angles(shape, field, [angle_deg])
    ra, dec = float(scan.ra_deg[0]), float(scan.dec_deg[0])
    pitch_u = 2.0 * field.half_long * (1.0 - overlap)
    pitch_v = 2.0 * field.half_short * (1.0 - overlap)
    places = _serpentine(columns, rows)
    steps: Floats = places - 0.5 * np.array([columns - 1.0, rows - 1.0])
    for _ in range(_REBUILDS):
        u, v = pitch_u * steps[:, 0], pitch_v * steps[:, 1]
        grid = _on_sky(ra, dec, angle_deg, columns, rows, u, v)
        across_u, across_v = _least_overlaps(grid, field, places)
        grid = replace(grid, overlap=float(min(across_u, across_v)))
        short_u, short_v = overlap - across_u, overlap - across_v
        if max(short_u, short_v) <= 0.0:
            break
        pitch_u *= 1.0 - max(short_u, 0.0) / (1.0 - overlap) * 1.02 - 1e-9 * (short_u > 0)
        pitch_v *= 1.0 - max(short_v, 0.0) / (1.0 - overlap) * 1.02 - 1e-9 * (short_v > 0)
    return measured(shape, field, grid)


def _serpentine(columns: int, rows: int) -> NDArray[np.int64]:
    """Grid places (column, row) along the longer direction, to and fro, shape (panel, 2)."""
    swap = rows > columns
    long_side, short_side = (rows, columns) if swap else (columns, rows)
    places: list[tuple[int, int]] = []
    for line in range(short_side):
        run = range(long_side) if line % 2 == 0 else range(long_side - 1, -1, -1)
        places.extend((line, step) if swap else (step, line) for step in run)
    return np.array(places)


def _on_sky(
    ra: float, dec: float, angle_deg: float, columns: int, rows: int, u: Floats, v: Floats
) -> Grid:
    sin, cos = math.sin(math.radians(angle_deg)), math.cos(math.radians(angle_deg))
    xi, eta = u * sin - v * cos, u * cos + v * sin
    panel_ra, panel_dec = deproject(xi, eta, ra, dec)
    # The grid's two directions are not quite square to each other off the axes; share the error.
    along = direction_angle_deg(xi, eta, angle_deg, ra, dec)
    across = direction_angle_deg(xi, eta, angle_deg - 90.0, ra, dec) + 90.0
    direction = along + 0.5 * wrap_180_deg(across - along)
    return Grid(
        ra_deg=ra,
        dec_deg=dec,
        angle_deg=float(wrap_axis_deg(angle_deg)),
        columns=columns,
        rows=rows,
        panel_ra_deg=panel_ra,
        panel_dec_deg=panel_dec,
        panel_angle_deg=wrap_axis_deg(direction),
        panel_turn_deg=wrap_180_deg(direction - angle_deg),
        overlap=1.0,
    )


def _least_overlaps(grid: Grid, field: Field, places: NDArray[np.int64]) -> tuple[float, float]:
    """Least overlap of neighbours in a row and in a column, as shares of the side."""
    row_of = {tuple(place): index for index, place in enumerate(places.tolist())}
    least = [1.0, 1.0]
    for axis, step in ((0, (1, 0)), (1, (0, 1))):
        pairs = [
            (index, row_of[(c + step[0], r + step[1])])
            for (c, r), index in row_of.items()
            if (c + step[0], r + step[1]) in row_of
        ]
        if not pairs:
            continue
        first, second = np.array(pairs).T
        half = (field.half_long, field.half_short)[axis]
        for own, other in ((first, second), (second, first)):
            quads = _quads_in_panels(grid, field, own, other)
            depth = np.abs(quads[..., axis])
            # The neighbour's two near corners, in this panel's plane.
            near = np.sort(depth, axis=-1)[:, :2].max(axis=-1)
            least[axis] = min(least[axis], float(((half - near) / (2.0 * half)).min()))
    return least[0], least[1]


def _quads_in_panels(
    grid: Grid, field: Field, own: NDArray[np.int64], other: NDArray[np.int64]
) -> Floats:
    """Corners of panels `other` along the axes of panels `own`: (pair, 4, 2)."""
    corners = np.stack(
        [
            rectangle_corners(field.half_long, field.half_short, float(a))
            for a in grid.panel_angle_deg[other]
        ]
    )
    ra, dec = deproject(
        corners[..., 0],
        corners[..., 1],
        grid.panel_ra_deg[other][:, None],
        grid.panel_dec_deg[other][:, None],
    )
    xi, eta = project(ra, dec, grid.panel_ra_deg[own][:, None], grid.panel_dec_deg[own][:, None])
    along, across = to_rectangle_axes(np.stack((xi, eta), axis=-1), grid.panel_angle_deg[own])
    return np.stack((along, across), axis=-1)
