"""Whether a mosaic is worth its hours beside one field that cuts the target."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nightplan.planning.framing.angle_choice import AngleChoice, fitting_angle, widest_angle
from nightplan.planning.framing.camera_angle import printed_axis_deg
from nightplan.planning.framing.field_search import Field, Placement, place_at
from nightplan.planning.framing.mosaic import best_partial_grid, plan_grid
from nightplan.planning.framing.outlines import Shape
from nightplan.planning.framing.panel_grid import Grid
from nightplan.planning.optics.train_optics import ARCMIN_PER_RADIAN

if TYPE_CHECKING:
    from nightplan.model.config import Config

PANEL_KEEPS = 0.8
"""What each further panel leaves of a picture's value, for every panel takes the hours anew: two
panels are worth it where one field holds under 89 % of the target, four under 72 % (ours)."""


def framing_value(coverage: ArrayLike, panels: ArrayLike) -> NDArray[np.float64]:
    """Value of a framing, 0 to 1: coverage² × 0.8^(panels − 1); shapes broadcast."""
    covered = np.asarray(coverage, dtype=float)
    return np.asarray(covered**2 * PANEL_KEEPS ** (np.asarray(panels, dtype=float) - 1.0))


SINGLE_FIELD_COVERAGE = 0.99
"""A single field that holds this share of a target needs no mosaic (ours, stated)."""


PARTIAL_MOSAIC_COVERAGE = 0.9
"""A mosaic that cannot hold the whole target must hold this share to be worth its hours (ours)."""


def lay_out(
    config: Config,
    shape: Shape,
    field: Field,
    angle_deg: float | None,
    used: Sequence[float] = (),
    flats: Sequence[float] = (),
    most_panels: int | None = None,
) -> tuple[Placement, Grid | None, AngleChoice]:
    """The single field on an outline, the mosaic that takes its place or None, and the angle.

    `angle_deg`, if given, is the only one considered; else `used` and `flats` are preferred.
    `most_panels` stands before the configuration's `mosaic_most_panels`.
    """
    wanted = config.preferences.margin_arcmin / ARCMIN_PER_RADIAN
    if angle_deg is None:
        choice = fitting_angle(shape, field, wanted, used, flats) or widest_angle(
            shape, field, used, flats, try_offsets=False
        )
        choice = AngleChoice(printed_axis_deg(choice.angle_deg), choice.why)
    else:
        choice = AngleChoice(angle_deg, "asked")
    single = place_at(shape, field, choice.angle_deg, try_offsets=False)

    grid = None
    if single.margin_rad < 0.0 and single.coverage < SINGLE_FIELD_COVERAGE:
        most = config.preferences.mosaic_most_panels if most_panels is None else most_panels
        grid, by_grid = _mosaic(config, shape, field, wanted, choice, used, flats, most)
        if grid is not None and most_panels is None:
            by_field = framing_value(single.coverage, 1)
            grid = grid if framing_value(grid.coverage, grid.count) > by_field else None
        choice = choice if grid is None else by_grid
        if grid is None and not shape.centred:
            if angle_deg is None:
                choice = widest_angle(shape, field, used, flats)
            single = place_at(shape, field, choice.angle_deg)
    return single, grid, choice


def _mosaic(
    config: Config,
    shape: Shape,
    field: Field,
    wanted: float,
    choice: AngleChoice,
    used: Sequence[float],
    flats: Sequence[float],
    most: int,
) -> tuple[Grid | None, AngleChoice]:
    overlap = config.preferences.mosaic_overlap
    asked = choice.angle_deg if choice.why == "asked" else None
    named = [*used, *flats, 90.0, 0.0]
    for margin in (wanted, 0.0):
        grid = plan_grid(shape, field, overlap, margin, most, asked, named)
        if grid is not None:
            break
    else:
        grid = _partial_grid(shape, field, overlap, most, asked, named)
    grid = _without_slivers(grid, shape, field, overlap, asked, named)
    if grid is None or grid.count == 1:
        return None, choice
    if asked is None:
        choice = AngleChoice(grid.angle_deg, _why_of(grid.angle_deg, used, flats))
    return grid, choice


def _without_slivers(
    grid: Grid | None,
    shape: Shape,
    field: Field,
    overlap: float,
    asked: float | None,
    named: Sequence[float],
) -> Grid | None:
    """A smaller grid where that still holds all but a sliver: a panel is a night's work."""
    while grid is not None and grid.count > 2:
        smaller = best_partial_grid(shape, field, overlap, grid.count - 1, asked, named)
        if smaller.coverage < SINGLE_FIELD_COVERAGE or smaller.count >= grid.count:
            break
        grid = smaller
    return grid


def _partial_grid(
    shape: Shape,
    field: Field,
    overlap: float,
    most: int,
    asked: float | None,
    named: Sequence[float],
) -> Grid | None:
    hull_area = float(np.ptp(shape.hull[:, 0]) * np.ptp(shape.hull[:, 1]))
    # A target far larger than all panels together is not worth the search.
    if most < 2 or most * 4.0 * field.half_long * field.half_short < 0.5 * hull_area:
        return None
    grid = best_partial_grid(shape, field, overlap, most, asked, named)
    if grid is None or grid.coverage < PARTIAL_MOSAIC_COVERAGE:
        return None
    return grid


def _why_of(angle: float, used: Sequence[float], flats: Sequence[float]) -> str:
    for why, angles in (("used", used), ("flats", flats), ("round", (90.0, 0.0))):
        if any(abs(angle - other) < 1e-6 for other in angles):
            return why
    return "roomiest"
