"""One field of a train at every whole degree of camera angle: what it and its guider see."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.model.star_catalog import StarCatalog, Stars
from nightplan.planning.framing.camera_angle import default_image_up_deg
from nightplan.planning.framing.field_search import Field, place, scan_angles
from nightplan.planning.framing.guide_patch import GuidePatch, guide_patch, patch_direction_deg
from nightplan.planning.framing.outlines import shape_of
from nightplan.planning.framing.star_density import local_density
from nightplan.planning.optics.train_optics import train_optics
from nightplan.sky.angles import separation_deg

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target

Floats = NDArray[np.float64]

ANGLES_DEG: Floats = np.arange(180.0)
ARCMIN = 60.0 * np.degrees(1.0)


@dataclass(frozen=True)
class AngleSweep:
    """A single field turned through half a circle; all arrays (angle,), 0 to 179 degrees.

    Attributes
    ----------
    train : str
    half_long, half_short : float
        Half sides of the field as tangents.
    ra_deg, dec_deg : array
        The field's centre: that from which it reaches equally far over the outline.
    coverage : array
        Share of the target's area inside.
    margin_arcmin : array
        Least distance from the outline to the field's edge, negative outside.
    image_up_angle_deg : array
        East of the meridian.
    patch : GuidePatch or None
        None without a guider; then the arrays that follow are empty.
    before_deg, after_deg : array
        Direction from the field's middle to the patch, before and after the flip (the camera
        is not turned back).
    fainter_before, fainter_after : array
        Stars to expect in the patch past the catalogue's limit and to the guider's.
    """

    train: str
    half_long: float
    half_short: float
    ra_deg: Floats
    dec_deg: Floats
    coverage: Floats
    margin_arcmin: Floats
    image_up_angle_deg: Floats
    patch: GuidePatch | None
    before_deg: Floats
    after_deg: Floats
    fainter_before: Floats
    fainter_after: Floats


def sweep_angles(
    config: Config, target: Target, train: str, stars: StarCatalog | None = None
) -> AngleSweep:
    """Turn one field of a train over a target; `stars` is wanted for the guider only."""
    optics = train_optics(config, train)
    shape = shape_of(target)
    field = Field(optics.half_long_plane, optics.half_short_plane)
    scan = scan_angles(shape, field, ANGLES_DEG)
    coverage = np.ones(len(ANGLES_DEG))
    for i in np.flatnonzero(scan.margin_rad < 0.0):
        at = float(scan.ra_deg[i]), float(scan.dec_deg[i])
        coverage[i] = place(shape, field, *at, float(ANGLES_DEG[i])).coverage
    up = np.array([default_image_up_deg(float(angle), optics) for angle in ANGLES_DEG])
    none = np.empty(0)
    patch, before, after, fainter = None, none, none, (none, none)
    if config.guider is not None and stars is not None:
        patch = guide_patch(config, train)
        before = patch_direction_deg(config.guider, up, optics.mirrored)
        after = patch_direction_deg(config.guider, up + 180.0, optics.mirrored, True)
        limit = config.guider.limit_magnitude
        found = [
            local_density(stars, *patch.middle(scan.ra_deg, scan.dec_deg, direction)).expected(
                patch.area_deg2, limit
            )
            for direction in (before, after)
        ]
        fainter = (found[0], found[1])
    return AngleSweep(
        train=train,
        half_long=field.half_long,
        half_short=field.half_short,
        ra_deg=scan.ra_deg,
        dec_deg=scan.dec_deg,
        coverage=coverage,
        margin_arcmin=scan.margin_rad * ARCMIN,
        image_up_angle_deg=up,
        patch=patch,
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
