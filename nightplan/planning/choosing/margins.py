"""By how much many targets keep tonight's limits and the imager's constraints."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Bools, Floats
from nightplan.planning.choosing.wishes import Wishes, constraint_value
from nightplan.planning.tonight.limits import usable_margin_deg

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.planning.tonight.night import Night
    from nightplan.planning.tonight.visibility import SkyTracks


def wish_margin(
    config: Config,
    night: Night,
    catalog: Catalog,
    rows: NDArray[np.intp],
    role: NDArray[Any],
    tracks: SkyTracks,
    wishes: Wishes,
) -> Floats:
    """Degrees by which each row keeps the limits of its role, and of the wishes' constraints."""
    margin = np.empty(tracks.altitude_deg.shape)
    for one in np.unique(role):
        mine = role == one
        margin[mine] = usable_margin_deg(config, night, rows_of(tracks, mine), one)
    for constraint in wishes.constraints:
        up = np.flatnonzero((margin >= 0.0).any(axis=1))
        if up.size:
            allowed = constraint_value(config, catalog, rows[up], constraint, tracks) > 0.0
            # A constraint has no margin; mirrored, its edge falls half way between samples.
            margin[up] = np.where(allowed, margin[up], -np.abs(margin[up]) - 1e-9)
    return margin


def usable_filters(
    config: Config,
    night: Night,
    catalog: Catalog,
    rows: NDArray[np.intp],
    tracks: SkyTracks,
    wishes: Wishes,
) -> Bools:
    """Whether each channel's filter keeps its limits, (target, channel, time)."""
    by_role = {
        role: wish_margin(
            config, night, catalog, rows, np.full(rows.size, role, dtype=object), tracks, wishes
        )
        >= 0.0
        for role in {item.role for item in config.filter.values()}
    }
    through = [config.filter[channel.filter] for channel in config.channel.values()]
    return np.stack([by_role[item.role] for item in through], axis=1)


def rows_of(tracks: SkyTracks, rows: Bools | NDArray[np.intp]) -> SkyTracks:
    """The tracks of some targets."""
    return replace(
        tracks,
        altitude_deg=tracks.altitude_deg[rows],
        azimuth_deg=tracks.azimuth_deg[rows],
        hour_angle_deg=tracks.hour_angle_deg[rows],
        parallactic_angle_deg=tracks.parallactic_angle_deg[rows],
        target_cirs=tracks.target_cirs[rows],
    )
