"""A mosaic's panels on the sky: their corners, what they hold, and how far they may be turned."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from nightplan.arrays import Floats
from nightplan.plane.polygons import clip_convex, contains, solid_angle, subtract_convex
from nightplan.plane.rectangles import rectangle_corners
from nightplan.plane.unions import boundary_segments, union_margin
from nightplan.planning.framing.field_search import COVERAGE_SLACK, Field
from nightplan.planning.framing.outlines import Shape
from nightplan.sky.tangent_plane import deproject, project

_HAIR_RAD = 1e-9


_TOLERANCE_STEPS = 9


@dataclass(frozen=True)
class Grid:
    """A mosaic's panels.

    Attributes
    ----------
    ra_deg, dec_deg : float
        The mosaic's centre.
    angle_deg : float
        Direction of the grid's long-side rows there, 0 <= angle < 180.
    columns, rows : int
        Panels along the sensor's long side, and across it.
    panel_ra_deg, panel_dec_deg, panel_angle_deg : ndarray, shape (panel,)
        Centres in the order of shooting, and each panel's own position angle at its centre.
    panel_turn_deg : ndarray, shape (panel,)
        What the grid's directions turn by from its centre to each panel, -180 to below 180; past
        a pole more than 90, which the position angle of a line cannot tell.
    overlap : float
        Least share of a side that neighbours have in common; the wanted one or a little more.
    coverage : float
        Share of the target's true area inside the union, 0 to 1.
    margin_rad : float
        Least angle from the outline to the union's edge, negative outside.
    """

    ra_deg: float
    dec_deg: float
    angle_deg: float
    columns: int
    rows: int
    panel_ra_deg: Floats
    panel_dec_deg: Floats
    panel_angle_deg: Floats
    panel_turn_deg: Floats
    overlap: float
    coverage: float = 0.0
    margin_rad: float = -math.pi

    @property
    def count(self) -> int:
        """Number of panels."""
        return len(self.panel_ra_deg)


def panel_quads(
    field: Field,
    panel_ra_deg: Floats,
    panel_dec_deg: Floats,
    panel_angle_deg: Floats,
    ra_deg: float,
    dec_deg: float,
) -> Floats:
    """Corners of panels in the tangent plane at a place, shape (panel, 4, 2).

    A panel's straight sides are great circles, so they are straight in any tangent plane.
    """
    corners = np.stack(
        [rectangle_corners(field.half_long, field.half_short, float(a)) for a in panel_angle_deg]
    )
    ra, dec = deproject(
        corners[..., 0], corners[..., 1], panel_ra_deg[:, None], panel_dec_deg[:, None]
    )
    return np.stack(project(ra, dec, ra_deg, dec_deg), axis=-1)


def measured(shape: Shape, field: Field, grid: Grid) -> Grid:
    """The grid with its coverage and margin worked out."""
    coverage, margin = measure_panels(
        shape, field, grid.panel_ra_deg, grid.panel_dec_deg, grid.panel_angle_deg,
        grid.ra_deg, grid.dec_deg,
    )  # fmt: skip
    return replace(grid, coverage=coverage, margin_rad=margin)


def measure_panels(
    shape: Shape,
    field: Field,
    panel_ra_deg: Floats,
    panel_dec_deg: Floats,
    panel_angle_deg: Floats,
    ra_deg: float,
    dec_deg: float,
) -> tuple[float, float]:
    """Coverage and margin (rad) of any panels, worked out in the plane at a common place.

    What the panels leave of the outline is cut out piece by piece and its area taken on the
    sphere.
    """
    seen = shape.seen_from(ra_deg, dec_deg)
    quads = list(panel_quads(field, panel_ra_deg, panel_dec_deg, panel_angle_deg, ra_deg, dec_deg))
    whole, missing = 0.0, 0.0
    for polygon in seen.polygons:
        pieces = [polygon]
        for quad in quads:
            pieces = subtract_convex(pieces, quad)
        whole += solid_angle(polygon)
        missing += sum(solid_angle(piece) for piece in pieces)
    points = seen.edge_points(field.half_short / 15.0)
    return float(np.clip(1.0 - missing / whole, 0.0, 1.0)), union_margin(points, quads)


def without_idle_panels(shape: Shape, field: Field, grid: Grid, wanted_margin_rad: float) -> Grid:
    """The grid without panels that add neither coverage nor wanted margin."""
    floor = min(wanted_margin_rad, grid.margin_rad) - 1e-7
    index = 0
    while index < grid.count and grid.count > 1:
        if _has_own_part(shape, field, grid, index):
            index += 1
            continue
        keep = np.arange(grid.count) != index
        fewer = measured(
            shape,
            field,
            replace(
                grid,
                panel_ra_deg=grid.panel_ra_deg[keep],
                panel_dec_deg=grid.panel_dec_deg[keep],
                panel_angle_deg=grid.panel_angle_deg[keep],
                panel_turn_deg=grid.panel_turn_deg[keep],
            ),
        )
        if fewer.coverage >= grid.coverage - 1e-9 and fewer.margin_rad >= floor:
            grid = fewer
        else:
            index += 1
    return grid


def _has_own_part(shape: Shape, field: Field, grid: Grid, index: int) -> bool:
    """Whether the target reaches the middle of a panel, which no neighbour covers."""
    alone = 1.0 - 2.0 * grid.overlap
    if alone <= 0.0 or grid.overlap >= 1.0:
        return False
    core = Field(field.half_long * alone, field.half_short * alone)
    one = slice(index, index + 1)
    quad = panel_quads(
        core, grid.panel_ra_deg[one], grid.panel_dec_deg[one], grid.panel_angle_deg[one],
        shape.ra_deg, shape.dec_deg,
    )[0]  # fmt: skip
    return any(len(clip_convex(polygon, quad)) >= 3 for polygon in shape.polygons)


def grid_tolerance_deg(shape: Shape, field: Field, grid: Grid, wanted_margin_rad: float) -> float:
    """Largest turn either way, each panel about its own centre, that keeps what the grid gives.

    That is the wanted margin (and no hole) where it has it, else the coverage within
    `COVERAGE_SLACK`; at most 90. Found by halving, to a hundredth of a degree.
    """
    has_margin = grid.margin_rad >= wanted_margin_rad - 1e-7
    seen = shape.seen_from(grid.ra_deg, grid.dec_deg)

    points = seen.edge_points(field.half_short / 15.0)

    def keeps(turn: float) -> bool:
        angles = grid.panel_angle_deg + turn
        if has_margin:
            quads = list(
                panel_quads(
                    field, grid.panel_ra_deg, grid.panel_dec_deg, angles, grid.ra_deg, grid.dec_deg
                )
            )
            segments = boundary_segments(quads)
            if union_margin(points, quads, segments) < wanted_margin_rad - 2e-7:
                return False
            # With the outline clear of every edge, only a hole's edge can lie within it.
            middles = 0.5 * (segments[0] + segments[1])
            return not any(contains(polygon, middles).any() for polygon in seen.polygons)
        coverage, _ = measure_panels(
            seen, field, grid.panel_ra_deg, grid.panel_dec_deg, angles, grid.ra_deg, grid.dec_deg
        )
        return coverage >= grid.coverage - COVERAGE_SLACK

    tolerance = 90.0
    for way in (1.0, -1.0):
        low, high = 0.0, 1.0
        while high < tolerance and keeps(way * high):
            low, high = high, min(2.0 * high, 90.0)
        if low == 0.0 and high > tolerance:
            high = tolerance
        if high >= tolerance and keeps(way * tolerance):
            continue
        high = min(high, tolerance)
        for _ in range(_TOLERANCE_STEPS):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if keeps(way * middle) else (low, middle)
        tolerance = min(tolerance, low)
    return tolerance
