"""The document of `nightplan angle`: back to a stored camera angle."""

from __future__ import annotations

from typing import Literal

from nightplan.planning.returning.camera_return import after_flip_deg
from nightplan.planning.returning.framing_match import GOOD_SHARE
from nightplan.planning.returning.return_advice import Advice
from nightplan.report.documents.base import AxisDeg, Day, DirectionDeg, Document, To3, To4, To5


class CropPart(Document):
    """What a stack keeps after a number of nights with errors like tonight's."""

    nights: int
    share: To4


class LoggedOffset(Document):
    """What an earlier evening's stored solution gives as the rotator's offset."""

    date: Day
    pier: str | None
    pier_reason: str | None = None
    rotator_offset_deg: To4


class AngleDocument(Document):
    """The camera's angle now, the way to the wanted one, and how good tonight's field is.

    Angles on the sky count from north through east; `rotator_*` are on the rotator's scale.
    `rotator_offset_deg` is image up less effective sense × reading (of the position angle, from
    0 to below 180, where image up is not known).
    """

    train: str
    image_up_angle_deg: DirectionDeg | None
    image_up_angle_deg_reason: str | None = None
    image_up_candidates_deg: list[DirectionDeg]
    position_angle_now_deg: AxisDeg
    mirrored: bool
    pier: Literal["east", "west"] | None
    pier_reason: str | None = None
    image_up_after_flip_deg: DirectionDeg | None
    image_up_after_flip_deg_reason: str | None = None
    target_angle_deg: AxisDeg | None
    target_angle_deg_reason: str | None = None
    target_angle_source: str | None
    target_angle_source_reason: str | None = None
    move_deg: To4 | None
    move_deg_reason: str | None = None
    rotator_deg: To4 | None
    rotator_deg_reason: str | None = None
    sense: Literal[-1, 1] | None
    sense_reason: str | None = None
    sense_source: Literal["configuration", "fitted"] | None
    sense_source_reason: str | None = None
    rotator_offset_deg: To4 | None
    rotator_offset_deg_reason: str | None = None
    offset_log: list[LoggedOffset]
    rotator_target_deg: To4 | None
    rotator_target_deg_reason: str | None = None
    rotator_move_deg: To4 | None
    rotator_move_deg_reason: str | None = None
    rotator_twin_deg: To4 | None
    rotator_twin_deg_reason: str | None = None
    hand_turn_deg: To4 | None
    hand_turn_deg_reason: str | None = None
    hand_turn_way: Literal["anticlockwise", "clockwise", "none"] | None
    hand_turn_way_reason: str | None = None
    hand_turn: str | None
    hand_turn_reason: str | None = None
    shared_area: To5 | None
    shared_area_reason: str | None = None
    good_enough: bool | None
    good_enough_reason: str | None = None
    centre_error_arcmin: To3 | None
    centre_error_arcmin_reason: str | None = None
    tolerance_deg: To3
    common_rectangle_share: To5 | None
    common_rectangle_share_reason: str | None = None
    crop_share_after: list[CropPart]
    notices: list[str]


_OF_THE_TARGET = (
    "target_angle_deg", "target_angle_source", "move_deg", "hand_turn_deg", "hand_turn_way",
    "hand_turn", "shared_area", "good_enough", "common_rectangle_share",
)  # fmt: skip
"""Keys without a value where no angle is wanted."""


def angle_document(advice: Advice) -> AngleDocument:
    """Put the advice into its document."""
    now, wanted, move = advice.now, advice.wanted, advice.rotator
    up = now.image_up_angle_deg
    no_target = "no_target_angle" if wanted is None else None
    no_up = "half_turn_unknown" if up is None else None
    no_reading = "no_reading" if advice.reading_deg is None else None
    no_sense = "sense_unknown" if advice.sense is None else None
    hand, sense = advice.hand, advice.sense
    return AngleDocument.of(
        advice,
        **{f"{key}_reason": no_target for key in _OF_THE_TARGET},
        image_up_angle_deg=up,
        image_up_angle_deg_reason=no_up,
        image_up_candidates_deg=(up,) if up is not None else advice.image_up_candidates_deg,
        position_angle_now_deg=now.position_angle_deg,
        mirrored=now.mirrored,
        pier_reason="not_given" if advice.pier is None else None,
        image_up_after_flip_deg=None if up is None else after_flip_deg(up),
        image_up_after_flip_deg_reason=no_up,
        target_angle_deg=wanted and wanted.position_angle_deg,
        target_angle_source=wanted and wanted.source,
        rotator_deg=advice.reading_deg,
        rotator_deg_reason=no_reading,
        sense=sense and sense.effective,
        sense_reason=no_sense,
        sense_source=sense and sense.source,
        sense_source_reason=no_sense,
        rotator_offset_deg=advice.offset_deg,
        rotator_offset_deg_reason=None if advice.offset_deg is not None else no_reading or no_sense,
        offset_log=[
            LoggedOffset.of(
                one,
                date=one.evening,
                pier_reason="not_given" if one.pier is None else None,
                rotator_offset_deg=one.offset_deg,
            )
            for one in advice.offset_log
        ],
        rotator_target_deg=move.target_deg,
        rotator_target_deg_reason=move.reason,
        rotator_move_deg=move.move_deg,
        rotator_move_deg_reason=move.reason,
        rotator_twin_deg=move.twin_deg,
        rotator_twin_deg_reason=None
        if move.twin_deg is not None
        else move.reason or "outside_limits",
        hand_turn_deg=hand and hand.degrees,
        hand_turn_way=hand and hand.way,
        hand_turn=hand and hand.words,
        good_enough=None if advice.shared_area is None else advice.shared_area >= GOOD_SHARE,
        centre_error_arcmin_reason=None
        if advice.centre_error_arcmin is not None
        else no_target or "centre_unknown",
        crop_share_after=[
            CropPart(nights=nights, share=share) for nights, share in advice.crop_share_after
        ],
    )
