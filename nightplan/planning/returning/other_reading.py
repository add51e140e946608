"""A typed angle that may have been meant the other way.

A plate solver's rotation is the direction of image up; this program's position angle is the line
of the long side, a quarter turn from it on a landscape sensor. A figure typed into the wrong
option turns the camera by the wrong amount the wrong way.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.planning.returning import camera_return as law
from nightplan.sky.angles import wrap_axis_deg

if TYPE_CHECKING:
    from nightplan.planning.optics.train_optics import TrainOptics
    from nightplan.planning.returning.return_advice import CameraNow, Wanted

BY_EYE_DEG = 20.0
"""A camera put back by its marks lies this near (common practice, no source)."""


def other_reading_notice(
    now: CameraNow, wanted: Wanted, optics: TrainOptics, typed: str
) -> list[str]:
    """What the turn would be had the other option been meant; empty where that is not plausible.

    The figure as typed is plain where the turn is below 20°: the other is then above 70°. On a
    portrait sensor both options mean the same line, and nothing is to be said.
    """
    move = law.shorter_move_deg(now.position_angle_deg, wanted.position_angle_deg)
    if optics.height_px > optics.width_px or abs(move) < BY_EYE_DEG:
        return []
    # The line that the same figure names in the other option: a quarter turn away.
    line = float(wrap_axis_deg(now.position_angle_deg + 90.0))
    other = law.hand_turn(
        law.shorter_move_deg(line, wanted.position_angle_deg), now.optics_mirrored
    )
    if typed == "--position-angle":
        meant = "the rotation that a plate solver prints (direction of image up), give --image-up"
    else:
        meant = "the line of the sensor's long side, give --position-angle"
    return [f"The figure may be meant the other way. If it is {meant}: then {other.words}."]
