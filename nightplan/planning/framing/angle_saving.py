"""What it would save to know the position angle of an elongated target."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from nightplan.planning.framing.framing import frame_target

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target

ROUND_FROM = 0.95
"""Axis ratio from which an angle would save nothing."""


def panels_with_an_angle(config: Config, target: Target, train: str) -> int | None:
    """Panels that would hold the target with the wanted margin if its angle were known.

    None where it is known, or where there is none to know: a round target, one without a size,
    one with an outline. The camera may turn, so one angle stands for all.
    """
    axes = target.axes_arcmin
    if target.angle_deg is not None or target.outline is not None or axes is None:
        return None
    if axes[1] >= ROUND_FROM * axes[0]:
        return None
    return frame_target(config, replace(target, angle_deg=0.0), train).whole_mosaic_panels
