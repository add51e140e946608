"""The imager's own astroplan constraints, beside the limits of the configuration."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Bools, Floats

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.planning.tonight.visibility import SkyTracks

_KNOWN = "_grade_by_constraints"
BY_TARGET = ("ra_deg", "dec_deg", "altitude_deg", "azimuth_deg", "hour_angle_deg",
             "parallactic_angle_deg", "target_cirs")  # fmt: skip


def constraint_grade(config: Config, tracks: SkyTracks) -> Floats | None:
    """Product of the configuration's constraints, (target, time), 0 to 1; None without any.

    What they forbid is 0, what they grade lies between. astroplan takes 10 to 100 times as long
    as the limits of this program, so only targets that stand above the least altitude at some
    time are asked about; the others have 0. Kept with the tracks, for every filter asks anew.
    """
    constraints = config.constraints
    if not constraints:
        return None
    known = tracks.__dict__.setdefault(_KNOWN, {})
    if constraints not in known:
        grade = np.zeros(tracks.altitude_deg.shape)
        low = config.preferences.minimum_altitude_deg
        up = np.flatnonzero((tracks.altitude_deg >= low).any(axis=1))
        if up.size and tracks.utc_mjd.size:
            grade[up] = _product(config, tracks_of(tracks, up))
        known[constraints] = grade
    return np.asarray(known[constraints])


def _product(config: Config, tracks: SkyTracks) -> Floats:
    import warnings

    from astropy import units as u
    from astropy.coordinates import NonRotationTransformationWarning, SkyCoord

    coords = SkyCoord(tracks.ra_deg * u.deg, tracks.dec_deg * u.deg)
    grade = np.ones(tracks.altitude_deg.shape)
    with warnings.catch_warnings():
        # astroplan measures the moon's distance across frames, and astropy warns at each call.
        warnings.simplefilter("ignore", NonRotationTransformationWarning)
        for constraint in config.constraints:
            grade *= np.asarray(
                constraint(
                    config.site.observer, coords, times=tracks.time, grid_times_targets=True
                ),
                dtype=float,
            )
    return grade


def constrained(config: Config, tracks: SkyTracks, margin_deg: Floats) -> Floats:
    """A margin with its sign turned where a constraint forbids.

    A constraint has no margin of its own; mirrored, its edge falls half way between samples.
    """
    grade = constraint_grade(config, tracks)
    if grade is None:
        return margin_deg
    return np.where(grade > 0.0, margin_deg, -np.abs(margin_deg) - 1e-9)


def tracks_of(tracks: SkyTracks, rows: Bools | NDArray[np.intp]) -> SkyTracks:
    """The tracks of some targets, with what their constraints were found to be."""
    part = replace(tracks, **{name: getattr(tracks, name)[rows] for name in BY_TARGET})
    known = tracks.__dict__.get(_KNOWN)
    if known:
        part.__dict__[_KNOWN] = {key: grade[rows] for key, grade in known.items()}
    return part
