"""The longest sub that tracking and guiding hold."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from nightplan.planning.optics.train_optics import train_optics
from nightplan.planning.tonight.field_turn import MOST_TURN, SIDEREAL_ARCSEC_S

if TYPE_CHECKING:
    from nightplan.model.config import Config


LEAST_TURN = 1e-3
"""A field in the east or west does not turn at all; guiding bounds its subs then."""


def longest_tracked_s(config: Config, train: str, turn: float = MOST_TURN) -> float:
    """The longest sub of one train that guiding, drift, flexure and field rotation allow, s.

    `turn` is the greatest |cos A| ÷ cos h where the target is shot (`field_turn.most_turn`); by
    default the most at which anything is.
    """
    mount, guider = config.mount, config.guider
    optics = train_optics(config, train)
    limits = [config.preferences.sub.guiding_longest_s]
    drift = mount.drift_arcsec_min if guider is None else None
    if guider is not None and guider.kind == "guide_scope":
        drift = guider.flexure_arcsec_min
    if drift is not None:
        limits.append(60.0 * mount.trail_px * optics.image_scale_arcsec_px / drift)
    if mount.field_turns:
        corner_px = 0.5 * math.hypot(optics.width_px, optics.height_px)
        fastest = SIDEREAL_ARCSEC_S * math.cos(math.radians(config.site.latitude_deg))
        fastest *= max(turn, LEAST_TURN)
        limits.append(mount.trail_px / corner_px / math.radians(fastest / 3600.0))
    return min(limits)
