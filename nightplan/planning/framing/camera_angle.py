"""Angles of the camera as they are printed, and which of the two twins is taken.

A rectangle turned by 180° covers the same sky, so each position angle has two directions of image
up. Either serves the frame; the guide star, the rotator and the flats tell them apart.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from nightplan.errors import InputError
from nightplan.planning.returning.camera_return import image_up_angles_deg
from nightplan.sky.angles import wrap_180_deg, wrap_360_deg, wrap_axis_deg

if TYPE_CHECKING:
    from nightplan.planning.optics.train_optics import TrainOptics

PRINTED_DIGITS = 2


def printed_axis_deg(angle_deg: float, digits: int = PRINTED_DIGITS) -> float:
    """A line's direction rounded so that it stays in 0 <= angle < 180 as printed."""
    rounded = round(float(wrap_axis_deg(angle_deg)), digits)
    return 0.0 if rounded >= 180.0 else rounded + 0.0


def printed_direction_deg(angle_deg: float, digits: int = PRINTED_DIGITS) -> float:
    """A direction rounded so that it stays in 0 <= angle < 360 as printed."""
    rounded = round(float(wrap_360_deg(angle_deg)), digits)
    return 0.0 if rounded >= 360.0 else rounded + 0.0


def default_image_up_deg(position_angle_deg: float, optics: TrainOptics) -> float:
    """Image up for a position angle: of the two twins the one whose top lies nearer to north.

    Where both lie equally far (straight east and west), the eastern one.
    """
    twins = image_up_angles_deg(position_angle_deg, optics.width_px, optics.height_px)
    return min(twins, key=lambda up: (round(abs(float(wrap_180_deg(up))), 6), up))


def twin_deg(image_up_angle_deg: float) -> float:
    """The other direction of image up that frames the same rectangle."""
    return float(wrap_360_deg(image_up_angle_deg + 180.0))


def check_position_angle(angle_deg: float, key: str = "angle") -> float:
    """A position angle given by a person, if it is from 0 to below 180.

    Raises
    ------
    nightplan.errors.InputError
        It is not; the message names key, value and range.
    """
    if not (math.isfinite(angle_deg) and 0.0 <= angle_deg < 180.0):
        accepted = "a position angle from 0 to below 180 degrees"
        if key == "position_angle":
            accepted += "; a plate solver's rotation is image up"
        raise InputError("library", key, angle_deg, accepted)
    return float(angle_deg)


def check_image_up(angle_deg: float, key: str = "image_up") -> float:
    """A direction of image up given by a person, 0 to below 360; -180 to 0 is taken over too.

    Raises
    ------
    nightplan.errors.InputError
        It is from neither range; the message names key, value and range.
    """
    if not (math.isfinite(angle_deg) and -180.0 <= angle_deg <= 360.0):
        accepted = "a direction from 0 to below 360 degrees (or from -180 to 180)"
        raise InputError("library", key, angle_deg, accepted)
    return float(wrap_360_deg(angle_deg))
