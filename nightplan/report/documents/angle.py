"""The document of `nightplan angle`: back to a stored camera angle."""

from __future__ import annotations

from typing import Literal

from nightplan.planning.framing.camera_angle import printed_axis_deg, printed_direction_deg
from nightplan.planning.returning.camera_return import after_flip_deg
from nightplan.planning.returning.framing_match import GOOD_SHARE
from nightplan.planning.returning.return_advice import Advice
from nightplan.report.documents.base import Document

DIGITS = 4


class CropPart(Document):
    """What a stack keeps after a number of nights with errors like tonight's."""

    nights: int
    share: float


class LoggedOffset(Document):
    """What an earlier evening's stored solution gives as the rotator's offset."""

    date: str
    pier: str | None
    pier_reason: str | None = None
    rotator_offset_deg: float


class AngleDocument(Document):
    """The camera's angle now, the way to the wanted one, and how good tonight's field is.

    Angles on the sky count from north through east; `rotator_*` are on the rotator's scale.
    `rotator_offset_deg` is image up less effective sense × reading (of the position angle, from
    0 to below 180, where image up is not known).
    """

    train: str
    image_up_angle_deg: float | None
    image_up_angle_deg_reason: str | None = None
    image_up_candidates_deg: list[float]
    position_angle_now_deg: float
    mirrored: bool
    pier: Literal["east", "west"] | None
    pier_reason: str | None = None
    image_up_after_flip_deg: float | None
    image_up_after_flip_deg_reason: str | None = None
    target_angle_deg: float | None
    target_angle_deg_reason: str | None = None
    target_angle_source: str | None
    target_angle_source_reason: str | None = None
    move_deg: float | None
    move_deg_reason: str | None = None
    rotator_deg: float | None
    rotator_deg_reason: str | None = None
    sense: Literal[-1, 1] | None
    sense_reason: str | None = None
    sense_source: Literal["configuration", "fitted"] | None
    sense_source_reason: str | None = None
    rotator_offset_deg: float | None
    rotator_offset_deg_reason: str | None = None
    offset_log: list[LoggedOffset]
    rotator_target_deg: float | None
    rotator_target_deg_reason: str | None = None
    rotator_move_deg: float | None
    rotator_move_deg_reason: str | None = None
    rotator_twin_deg: float | None
    rotator_twin_deg_reason: str | None = None
    hand_turn_deg: float | None
    hand_turn_deg_reason: str | None = None
    hand_turn_way: Literal["anticlockwise", "clockwise", "none"] | None
    hand_turn_way_reason: str | None = None
    hand_turn: str | None
    hand_turn_reason: str | None = None
    shared_area: float | None
    shared_area_reason: str | None = None
    good_enough: bool | None
    good_enough_reason: str | None = None
    centre_error_arcmin: float | None
    centre_error_arcmin_reason: str | None = None
    tolerance_deg: float
    common_rectangle_share: float | None
    common_rectangle_share_reason: str | None = None
    crop_share_after: list[CropPart]
    notices: list[str]


def angle_document(advice: Advice) -> AngleDocument:
    """Put the advice into its document."""
    pier = advice.pier
    now, wanted, move = advice.now, advice.wanted, advice.rotator
    up = now.image_up_angle_deg
    no_target = "no_target_angle" if wanted is None else None
    no_up = "half_turn_unknown" if up is None else None
    no_reading = "no_reading" if advice.reading_deg is None else None
    no_sense = "sense_unknown" if advice.sense is None else None
    values: dict[str, object] = {
        "train": advice.train,
        "image_up_angle_deg": None if up is None else printed_direction_deg(up, DIGITS),
        "image_up_angle_deg_reason": no_up,
        "image_up_candidates_deg": [
            printed_direction_deg(one, DIGITS)
            for one in ((up,) if up is not None else advice.image_up_candidates_deg)
        ],
        "position_angle_now_deg": printed_axis_deg(now.position_angle_deg, DIGITS),
        "mirrored": now.mirrored,
        "pier": pier,
        "pier_reason": "not_given" if pier is None else None,
        "image_up_after_flip_deg": None
        if up is None
        else printed_direction_deg(after_flip_deg(up), DIGITS),
        "image_up_after_flip_deg_reason": no_up,
        "target_angle_deg": None
        if wanted is None
        else printed_axis_deg(wanted.position_angle_deg, DIGITS),
        "target_angle_deg_reason": no_target,
        "target_angle_source": None if wanted is None else wanted.source,
        "target_angle_source_reason": no_target,
        "move_deg": _rounded(advice.move_deg),
        "move_deg_reason": no_target,
        "rotator_deg": _rounded(advice.reading_deg),
        "rotator_deg_reason": no_reading,
        "sense": None if advice.sense is None else advice.sense.effective,
        "sense_reason": no_sense,
        "sense_source": None if advice.sense is None else advice.sense.source,
        "sense_source_reason": no_sense,
        "rotator_offset_deg": _rounded(advice.offset_deg),
        "rotator_offset_deg_reason": None
        if advice.offset_deg is not None
        else no_reading or no_sense,
        "offset_log": [
            LoggedOffset(
                date=one.evening.isoformat(),
                pier=one.pier,
                pier_reason="not_given" if one.pier is None else None,
                rotator_offset_deg=round(one.offset_deg, DIGITS),
            )
            for one in advice.offset_log
        ],
        "rotator_target_deg": _rounded(move.target_deg),
        "rotator_target_deg_reason": move.reason,
        "rotator_move_deg": _rounded(move.move_deg),
        "rotator_move_deg_reason": move.reason,
        "rotator_twin_deg": _rounded(move.twin_deg),
        "rotator_twin_deg_reason": None
        if move.twin_deg is not None
        else move.reason or "outside_limits",
        "hand_turn_deg": None if advice.hand is None else _rounded(advice.hand.degrees),
        "hand_turn_deg_reason": no_target,
        "hand_turn_way": None if advice.hand is None else advice.hand.way,
        "hand_turn_way_reason": no_target,
        "hand_turn": None if advice.hand is None else advice.hand.words,
        "hand_turn_reason": no_target,
        "shared_area": _share(advice.shared_area),
        "shared_area_reason": no_target,
        "good_enough": None if advice.shared_area is None else advice.shared_area >= GOOD_SHARE,
        "good_enough_reason": no_target,
        "centre_error_arcmin": None
        if advice.centre_error_arcmin is None
        else round(advice.centre_error_arcmin, 3),
        "centre_error_arcmin_reason": None
        if advice.centre_error_arcmin is not None
        else no_target or "centre_unknown",
        "tolerance_deg": round(advice.tolerance_deg, 3),
        "common_rectangle_share": _share(advice.common_rectangle_share),
        "common_rectangle_share_reason": no_target,
        "crop_share_after": [
            CropPart(nights=nights, share=round(share, 4))
            for nights, share in advice.crop_share_after
        ],
        "notices": list(advice.notices),
    }
    return AngleDocument.model_validate(values)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, DIGITS) + 0.0


def _share(value: float | None) -> float | None:
    return None if value is None else round(value, 5)
