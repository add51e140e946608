"""Which turns of the camera keep a framing, all the way round."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.model.target import Target
from nightplan.plane.rectangles import sky_margin, to_rectangle_axes
from nightplan.planning.framing.field_search import COVERAGE_SLACK, Field, coverage_of_turns
from nightplan.planning.framing.outlines import shape_of, shape_of_group
from nightplan.planning.optics.train_optics import ARCMIN_PER_RADIAN, train_optics

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.planning.framing.framing import Framing

_HAIR_RAD = 1e-8


def turns_that_keep(
    config: Config, framing: Framing, target: Target | Sequence[Target]
) -> NDArray[np.bool_]:
    """Whether the framing holds with the camera turned by 0, 1, ... 179 degrees.

    A single field is turned about its centre. It holds while the wanted margin is kept, or,
    where the framing does not have it, the coverage within 0.02. The tolerance of the framing
    counts equally both ways; here a band that reaches farther one way, and other bands, count
    too. A mosaic has only its tolerance.
    """
    turns = np.arange(180.0)
    near = np.minimum(turns, 180.0 - turns)
    kept = near <= framing.position_angle_tolerance_deg
    if len(framing.panels) > 1:
        return np.asarray(kept)
    panel = framing.panels[0]
    optics = train_optics(config, framing.train)
    field = Field(optics.half_long_plane, optics.half_short_plane)
    shape = shape_of(target) if isinstance(target, Target) else shape_of_group(target)
    seen = shape.seen_from(panel.ra_deg, panel.dec_deg)
    angles = panel.position_angle_deg + turns
    wanted = config.preferences.margin_arcmin / ARCMIN_PER_RADIAN
    if framing.margin_arcmin >= config.preferences.margin_arcmin - 1e-6:
        along, across = to_rectangle_axes(seen.hull, angles)
        margin = sky_margin(along, across, field.half_long, field.half_short)
        return np.asarray(kept | (margin >= wanted - _HAIR_RAD))
    coverage = coverage_of_turns(seen, field, panel.ra_deg, panel.dec_deg, angles)
    return np.asarray(kept | (coverage >= coverage[0] - COVERAGE_SLACK))
