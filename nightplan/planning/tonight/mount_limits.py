"""Where a mount may point: free azimuths and the turn that its cables allow."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from nightplan.arrays import Floats
from nightplan.planning.tonight.field_turn import turn_margin_deg

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.planning.tonight.visibility import SkyTracks


def mount_margin_deg(config: Config, tracks: SkyTracks) -> Floats | None:
    """Degrees inside the mount's own limits, (target, time); negative outside, None without any.

    The one place for limits of direction and time: what it returns holds in every command.
    """
    mount, margins = config.mount, []
    if mount.azimuth_ranges_deg:
        margins.append(azimuth_margin_deg(mount.azimuth_ranges_deg, tracks.azimuth_deg))
    if mount.hour_angle_range_deg is not None:
        low, high = mount.hour_angle_range_deg
        hour_angle = (tracks.hour_angle_deg + 180.0) % 360.0 - 180.0
        margins.append(np.minimum(hour_angle - low, high - hour_angle))
    if mount.field_turns:
        margins.append(turn_margin_deg(tracks))
    return np.minimum.reduce(margins) if margins else None


def azimuth_margin_deg(ranges_deg: Sequence[tuple[float, float]], azimuth_deg: Floats) -> Floats:
    """Degrees of azimuth to the nearest edge of the free range that one is in, negative outside."""
    margins = []
    for first, last in ranges_deg:
        width = (last - first) % 360.0 or 360.0
        along = (azimuth_deg - first) % 360.0
        beyond = np.minimum(along - width, 360.0 - along)
        margins.append(np.where(along <= width, np.minimum(along, width - along), -beyond))
    return np.asarray(np.maximum.reduce(margins))
