"""What a train and its guider see of a target at every whole degree of camera angle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats
from nightplan.model.star_catalog import StarCatalog, Stars
from nightplan.model.wishes import framing_for
from nightplan.planning.framing.camera_angle import default_image_up_deg
from nightplan.planning.framing.field_search import Field, scan_angles
from nightplan.planning.framing.framing import Panel, panels_of
from nightplan.planning.framing.guide_brightness import bright_limit_mag
from nightplan.planning.framing.guide_patch import GuidePatch, guide_patch, patch_direction_deg
from nightplan.planning.framing.mosaic_or_field import lay_out
from nightplan.planning.framing.star_density import local_density
from nightplan.planning.framing.wished import wished_shape
from nightplan.planning.optics.train_optics import train_optics
from nightplan.sky.angles import separation_deg

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target


ANGLES_DEG: Floats = np.arange(180.0)
ARCMIN = 60.0 * np.degrees(1.0)


@dataclass(frozen=True)
class AngleSweep:
    """What a train lays on a target through half a circle, whole degrees from 0 to 179.

    At each angle that is one field, or a mosaic's panels where one field cannot hold the target.
    Arrays are (angle,), or (field,) with all angles' fields in a row.

    Attributes
    ----------
    train : str
    half_long, half_short : float
        Half sides of a field as tangents.
    coverage : array (angle,)
        Share of the target's area inside.
    margin_arcmin : array (angle,)
        Least distance from the outline to the edge, negative outside.
    image_up_angle_deg : array (angle,)
        At the centre of what is laid, east of the meridian.
    columns, rows : array (angle,)
        Of the mosaic; 1 and 1 for a single field.
    starts : array (angle + 1,)
        Where each angle's fields begin in the arrays that follow.
    ra_deg, dec_deg, position_angle_deg : array (field,)
        Centre, and line of the long side there.
    patch : GuidePatch or None
        None without a guider; then the arrays that follow are empty.
    bright_limit_mag : float
        Brightest star that guides, Gaia G; NaN without a guider.
    before_deg, after_deg : array (field,)
        Direction from the field's middle to the patch, before and after the flip (the camera
        is not turned back).
    fainter_before, fainter_after : array (field,)
        Stars to expect in the patch past the catalogue's limit and to the guider's.
    """

    train: str
    half_long: float
    half_short: float
    coverage: Floats
    margin_arcmin: Floats
    image_up_angle_deg: Floats
    columns: NDArray[np.int64]
    rows: NDArray[np.int64]
    starts: NDArray[np.int64]
    ra_deg: Floats
    dec_deg: Floats
    position_angle_deg: Floats
    patch: GuidePatch | None
    bright_limit_mag: float
    before_deg: Floats
    after_deg: Floats
    fainter_before: Floats
    fainter_after: Floats


def sweep_angles(
    config: Config, target: Target, train: str, stars: StarCatalog | None = None
) -> AngleSweep:
    """Turn a train's fields over a target, as `frame_target` lays them at each angle.

    `stars` is wanted for the guider only.
    """
    optics = train_optics(config, train)
    wish = framing_for(config, target)
    shape, _ = wished_shape(config, target, wish)
    field = Field(optics.half_long_plane, optics.half_short_plane)
    scan = scan_angles(shape, field, ANGLES_DEG)
    up = np.array([default_image_up_deg(float(angle), optics) for angle in ANGLES_DEG])
    coverage, margin_rad = np.ones(len(ANGLES_DEG)), scan.margin_rad.copy()
    columns, rows = np.ones((2, len(ANGLES_DEG)), dtype=np.int64)
    laid: list[tuple[Panel, ...]] = []
    for i, angle in enumerate(ANGLES_DEG.tolist()):
        at = float(scan.ra_deg[i]), float(scan.dec_deg[i])
        if margin_rad[i] < 0.0:
            single, grid, _ = lay_out(config, shape, field, angle, most_panels=wish.panels)
            best = single if grid is None else grid
            coverage[i], margin_rad[i] = best.coverage, best.margin_rad
            if grid is not None:
                columns[i], rows[i] = grid.columns, grid.rows
                laid.append(panels_of(grid, optics))
                continue
            at = single.ra_deg, single.dec_deg
        laid.append((Panel(*at, angle, float(up[i])),))
    panels = [panel for fields in laid for panel in fields]
    ra = np.array([panel.ra_deg for panel in panels])
    dec = np.array([panel.dec_deg for panel in panels])
    none = np.empty(0)
    patch, bright, before, after, fainter = None, np.nan, none, none, (none, none)
    if config.guider is not None and stars is not None:
        patch = guide_patch(config, train)
        panel_up = np.array([panel.image_up_angle_deg for panel in panels])
        before = patch_direction_deg(config.guider, panel_up, optics.mirrored)
        flip = config.mount.flips
        turned = panel_up + (180.0 if flip else 0.0)
        after = patch_direction_deg(config.guider, turned, optics.mirrored, flip)
        bright, limit = (
            bright_limit_mag(config, config.guider, train),
            config.guider.limit_magnitude,
        )
        found = [
            local_density(stars, *patch.middle(ra, dec, direction)).expected_between(
                patch.area_deg2, bright, limit
            )
            for direction in (before, after)
        ]
        fainter = (found[0], found[1])
    return AngleSweep(
        train=train,
        half_long=field.half_long,
        half_short=field.half_short,
        coverage=coverage,
        margin_arcmin=margin_rad * ARCMIN,
        image_up_angle_deg=up,
        columns=columns,
        rows=rows,
        starts=np.concatenate(([0], np.cumsum([len(fields) for fields in laid]))),
        ra_deg=ra,
        dec_deg=dec,
        position_angle_deg=np.array([panel.position_angle_deg for panel in panels]),
        patch=patch,
        bright_limit_mag=bright,
        before_deg=before,
        after_deg=after,
        fainter_before=fainter[0],
        fainter_after=fainter[1],
    )


def stars_around(
    sweeps: list[AngleSweep], target: Target, catalog: StarCatalog, faintest_mag: float
) -> Stars:
    """Every star that a field or patch of the sweeps can reach, and those between."""
    reach = 0.0
    for sweep in sweeps:
        drift = separation_deg(sweep.ra_deg, sweep.dec_deg, target.ra_deg, target.dec_deg)
        corner = np.degrees(np.arctan(np.hypot(sweep.half_long, sweep.half_short)))
        far = corner if sweep.patch is None else max(corner, sweep.patch.reach_deg)
        reach = max(reach, float(np.max(drift)) + float(far))
    return catalog.cone(target.ra_deg, target.dec_deg, reach + 0.02, faintest_mag=faintest_mag)
