"""How a target is framed by a train: the angle, the field or panels, and what they hold.

The rules, in order: one field if some angle gives the wanted margin; one field if the target is
wholly inside, or but for a sliver, with less; else the smallest mosaic that holds the target with
the margin, without it, or but for a sliver, where that is worth its hours beside the one field that
covers most (`mosaic_or_field`); else that field.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from nightplan.model.wishes import framing_for, goal_for
from nightplan.planning.framing.angle_choice import AngleChoice
from nightplan.planning.framing.camera_angle import (
    default_image_up_deg,
    twin_deg,
)
from nightplan.planning.framing.catalog_framing import CatalogFraming, frame_catalog
from nightplan.planning.framing.field_search import Field, Placement, angle_tolerance_deg
from nightplan.planning.framing.framing_reason import fit_of_field, fit_of_mosaic, reason_of
from nightplan.planning.framing.mosaic import fewest_panels
from nightplan.planning.framing.mosaic_or_field import SINGLE_FIELD_COVERAGE, lay_out
from nightplan.planning.framing.outlines import Shape, shape_of_group
from nightplan.planning.framing.panel_grid import Grid, grid_tolerance_deg
from nightplan.planning.framing.wished import wished_shape
from nightplan.planning.optics.train_optics import ARCMIN_PER_RADIAN, TrainOptics, train_optics
from nightplan.planning.returning.camera_return import image_up_angles_deg
from nightplan.sky.angles import wrap_180_deg

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target

__all__ = [
    "CatalogFraming",
    "Framing",
    "Panel",
    "frame_catalog",
    "frame_group",
    "frame_target",
]


@dataclass(frozen=True)
class Panel:
    """One field of a framing.

    Attributes
    ----------
    ra_deg, dec_deg : float
        Its centre, ICRS.
    position_angle_deg : float
        Line of the sensor's long side at that centre, 0 <= angle < 180.
    image_up_angle_deg : float
        Direction of rising FITS axis 2 at that centre, 0 <= angle < 360.
    """

    ra_deg: float
    dec_deg: float
    position_angle_deg: float
    image_up_angle_deg: float


@dataclass(frozen=True)
class Framing:
    """A target framed by a train.

    Attributes
    ----------
    target, train : str
        Names.
    ra_deg, dec_deg : float
        Centre of the field or of the mosaic, ICRS.
    position_angle_deg, image_up_angle_deg : float
        At that centre; conventions as of `Panel`.
    position_angle_tolerance_deg : float
        Largest turn either way, at most 90, that keeps the wanted margin, or the coverage within
        0.02 where the target does not have the margin.
    coverage : float
        Share of the target's area inside the union of panels, 0 to 1.
    margin_arcmin : float
        Least distance from the outline to the union's edge, negative outside.
    panels : tuple of Panel
        In the order of shooting; one for a single field.
    mosaic_columns, mosaic_rows : int
        Panels along the sensor's long side, and across it; 1 and 1 for a single field.
    offset_arcmin : float
        Distance of the centre from the target's catalogued position.
    angle_choice : str
        Why this angle: `asked`, `used`, `flats`, `round`, `middle` (of the band of
        angles that serve), `roomiest` (of those, for a mosaic), `widest`; `kept` by a re-plan.
    whole_mosaic_panels : int
        How many panels it would take to hold the target with the wanted margin.
    reason : str
        One sentence for a person.
    """

    target: str
    train: str
    ra_deg: float
    dec_deg: float
    position_angle_deg: float
    image_up_angle_deg: float
    position_angle_tolerance_deg: float
    coverage: float
    margin_arcmin: float
    panels: tuple[Panel, ...]
    mosaic_columns: int
    mosaic_rows: int
    offset_arcmin: float
    angle_choice: str
    whole_mosaic_panels: int
    reason: str

    @property
    def is_mosaic(self) -> bool:
        """Whether there is more than one panel."""
        return len(self.panels) > 1

    def twin(self) -> Framing:
        """The same framing with image up the other way: same sky, guider on the other side."""
        panels = tuple(
            replace(panel, image_up_angle_deg=twin_deg(panel.image_up_angle_deg))
            for panel in self.panels
        )
        return replace(self, panels=panels, image_up_angle_deg=twin_deg(self.image_up_angle_deg))


def frame_target(
    config: Config,
    target: Target,
    train: str,
    *,
    angle_deg: float | None = None,
    used_angles: Sequence[float] = (),
    flats_angles: Sequence[float] = (),
    in_full: bool = True,
) -> Framing:
    """Frame one target with one train.

    Parameters
    ----------
    config, target, train
        The train by its name in the configuration.
    angle_deg : float, optional
        The position angle wanted, 0 <= angle < 180; then no other is considered. By default
        that of the target's wish in the configuration, `framing.NAME`, whose centre and number of
        panels hold too.
    used_angles : sequence of float
        Position angles already used for this target, latest first. The configuration's
        `goal.NAME.position_angle_deg` goes before them.
    flats_angles : sequence of float
        Position angles whose flats are still good.
    in_full : bool
        False leaves out what takes half of the time and many targets at once do without:
        `position_angle_tolerance_deg` (NaN), `whole_mosaic_panels` (0) and `reason` (empty).

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train, or `angle_deg` is out of range.
    """
    goal = goal_for(config, target)
    used = list(used_angles)
    if goal is not None and goal.position_angle_deg is not None:
        used.insert(0, goal.position_angle_deg)
    wish = framing_for(config, target)
    shape, label = wished_shape(config, target, wish)
    angle = wish.position_angle_deg if angle_deg is None else angle_deg
    found = _frame(config, label, shape, train, angle, used, flats_angles, wish.panels, in_full)
    return replace(found, target=target.name)


def frame_group(
    config: Config,
    targets: Sequence[Target],
    train: str,
    *,
    angle_deg: float | None = None,
    used_angles: Sequence[float] = (),
    flats_angles: Sequence[float] = (),
) -> Framing:
    """Frame several targets together; the margin has to clear all, coverage is of their areas.

    Parameters and errors as of `frame_target`.
    """
    name = " + ".join(target.name for target in targets)
    shape = shape_of_group(targets)
    return _frame(config, name, shape, train, angle_deg, list(used_angles), flats_angles)


def _frame(
    config: Config,
    name: str,
    shape: Shape,
    train: str,
    angle_deg: float | None,
    used: list[float],
    flats: Sequence[float],
    most_panels: int | None = None,
    in_full: bool = True,
) -> Framing:
    if angle_deg is not None:
        from nightplan.planning.framing.camera_angle import check_position_angle

        check_position_angle(angle_deg)
    optics = train_optics(config, train)
    field = Field(optics.half_long_plane, optics.half_short_plane)
    wanted = config.preferences.margin_arcmin / ARCMIN_PER_RADIAN
    single, grid, choice = lay_out(config, shape, field, angle_deg, used, flats, most_panels)
    if grid is None:
        found = _single_framing(optics, shape, single, choice)
    else:
        found = _mosaic_framing(optics, shape, grid, choice)
    found = replace(found, target=name)
    if not in_full:
        return found
    needed = 1
    if single.margin_rad < wanted - 1e-9:
        overlap = config.preferences.mosaic_overlap
        needed = fewest_panels(shape, field, overlap, wanted, angle_deg)
    if grid is None:
        tolerance = angle_tolerance_deg(shape, field, single, wanted)
        has_margin = single.margin_rad >= wanted - 1e-9
        panels = needed if single.coverage < SINGLE_FIELD_COVERAGE else 1
        fit = fit_of_field(name, single, wanted * ARCMIN_PER_RADIAN, has_margin, panels)
    else:
        tolerance = grid_tolerance_deg(shape, field, grid, wanted)
        has_margin = grid.margin_rad >= wanted - 1e-7
        fit = fit_of_mosaic(name, grid, needed)
    return replace(
        found,
        position_angle_tolerance_deg=tolerance,
        whole_mosaic_panels=needed,
        reason=reason_of(fit, shape, choice, tolerance, has_margin),
    )


def image_up_near(position_angle_deg: float, optics: TrainOptics, near_deg: float) -> float:
    """Of the two directions of image up for a position angle, the one nearer to another."""
    twins = image_up_angles_deg(position_angle_deg, optics.width_px, optics.height_px)
    return min(twins, key=lambda up: abs(float(wrap_180_deg(up - near_deg))))


def _single_framing(
    optics: TrainOptics, shape: Shape, placed: Placement, choice: AngleChoice
) -> Framing:
    """One field; without what `in_full` adds."""
    up = default_image_up_deg(placed.angle_deg, optics)
    return Framing(
        target="",
        train=optics.name,
        ra_deg=placed.ra_deg,
        dec_deg=placed.dec_deg,
        position_angle_deg=placed.angle_deg,
        image_up_angle_deg=up,
        position_angle_tolerance_deg=np.nan,
        coverage=placed.coverage,
        margin_arcmin=placed.margin_rad * ARCMIN_PER_RADIAN,
        panels=(Panel(placed.ra_deg, placed.dec_deg, placed.angle_deg, up),),
        mosaic_columns=1,
        mosaic_rows=1,
        offset_arcmin=shape.offset_arcmin(placed.ra_deg, placed.dec_deg),
        angle_choice=choice.why,
        whole_mosaic_panels=0,
        reason="",
    )


def panels_of(grid: Grid, optics: TrainOptics) -> tuple[Panel, ...]:
    """The panels of a mosaic in the order of shooting, all one way up."""
    up = default_image_up_deg(grid.angle_deg, optics)
    return tuple(
        Panel(
            float(ra),
            float(dec),
            float(angle),
            # Past a pole that may be the far twin.
            image_up_near(float(angle), optics, up + float(turn)),
        )
        for ra, dec, angle, turn in zip(
            grid.panel_ra_deg,
            grid.panel_dec_deg,
            grid.panel_angle_deg,
            grid.panel_turn_deg,
            strict=True,
        )
    )


def _mosaic_framing(optics: TrainOptics, shape: Shape, grid: Grid, choice: AngleChoice) -> Framing:
    """A mosaic; without what `in_full` adds."""
    return Framing(
        target="",
        train=optics.name,
        ra_deg=grid.ra_deg,
        dec_deg=grid.dec_deg,
        position_angle_deg=grid.angle_deg,
        image_up_angle_deg=default_image_up_deg(grid.angle_deg, optics),
        position_angle_tolerance_deg=np.nan,
        coverage=grid.coverage,
        margin_arcmin=grid.margin_rad * ARCMIN_PER_RADIAN,
        panels=panels_of(grid, optics),
        mosaic_columns=grid.columns,
        mosaic_rows=grid.rows,
        offset_arcmin=shape.offset_arcmin(grid.ra_deg, grid.dec_deg),
        angle_choice=choice.why,
        whole_mosaic_panels=0,
        reason="",
    )
