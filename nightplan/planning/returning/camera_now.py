"""How the camera lies now, and the angle to come back to, from what is at hand.

A typed angle may have been meant the other way: a plate solver's rotation is the direction of
image up; this program's position angle is the line of the long side, a quarter turn from it on a
landscape sensor. A figure typed into the wrong option turns the camera by the wrong amount the
wrong way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from nightplan.planning.returning import camera_return as law
from nightplan.sky.angles import wrap_axis_deg

if TYPE_CHECKING:
    from nightplan.journal.plate_solution import PlateSolution
    from nightplan.journal.records import Framing, RotatorSolution
    from nightplan.planning.optics.train_optics import TrainOptics


@dataclass(frozen=True)
class CameraNow:
    """How the camera lies at this moment.

    `image_up_angle_deg` is none where only the line of the long side is known; `mirrored` is the
    parity of the FITS axes, `optics_mirrored` that of the light. `ra_deg` and `dec_deg` are none
    without a solution.
    """

    position_angle_deg: float
    image_up_angle_deg: float | None
    mirrored: bool
    optics_mirrored: bool
    ra_deg: float | None = None
    dec_deg: float | None = None


@dataclass(frozen=True)
class Wanted:
    """The angle to come back to; of a stored framing, its centre and which way was up too."""

    position_angle_deg: float
    source: str
    image_up_angle_deg: float | None = None
    ra_deg: float | None = None
    dec_deg: float | None = None


def now_from_solution(solution: PlateSolution) -> CameraNow:
    """The camera as a plate solution shows it."""
    return CameraNow(
        position_angle_deg=law.position_angle_deg(
            solution.image_up_angle_deg, solution.width_px, solution.height_px
        ),
        image_up_angle_deg=solution.image_up_angle_deg,
        mirrored=solution.mirrored,
        optics_mirrored=solution.optics_mirrored,
        ra_deg=solution.ra_deg,
        dec_deg=solution.dec_deg,
    )


def now_from_angle(position_angle_deg: float, mirrored: bool) -> CameraNow:
    """The camera by a typed position angle: which way is up stays open."""
    return CameraNow(position_angle_deg, None, mirrored, mirrored)


def now_from_image_up(
    image_up_angle_deg: float, mirrored: bool, width_px: int, height_px: int
) -> CameraNow:
    """The camera by a typed direction of image up, of a sensor of that size."""
    line = law.position_angle_deg(image_up_angle_deg, width_px, height_px)
    return CameraNow(line, image_up_angle_deg, mirrored, mirrored)


def now_from_offset(
    earlier: RotatorSolution,
    reading_deg: float,
    sense: int,
    pier: law.Pier | None,
    optics: TrainOptics,
) -> CameraNow:
    """The camera by the rotator's reading alone, from an earlier solution."""
    if earlier.image_up_angle_deg is None:
        offset = law.offset_deg(earlier.position_angle_deg, earlier.reading_deg, sense, 180.0)
        line = law.sky_deg(offset, reading_deg, sense, 180.0)
        return CameraNow(line, None, earlier.mirrored, optics.mirrored)
    offset = law.offset_deg(earlier.image_up_angle_deg, earlier.reading_deg, sense)
    up = law.sky_deg(offset, reading_deg, sense)
    if pier is not None and earlier.pier is not None and pier != earlier.pier:
        up = law.after_flip_deg(up)
    line = law.position_angle_deg(up, optics.width_px, optics.height_px)
    return CameraNow(line, up, earlier.mirrored, optics.mirrored)


def wanted_from_framing(framing: Framing) -> Wanted:
    """The angle and centre of a stored framing."""
    return Wanted(
        position_angle_deg=framing.position_angle_deg,
        source="stored framing",
        image_up_angle_deg=framing.image_up_angle_deg,
        ra_deg=framing.ra_deg,
        dec_deg=framing.dec_deg,
    )


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
