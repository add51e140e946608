"""The way back to a camera angle as text for a terminal."""

from __future__ import annotations

from nightplan.number_forms import MINUS, number, percent, signed
from nightplan.report.documents.angle import AngleDocument
from nightplan.report.wording.text_table import heading, note, paragraph

WHOLE = 0.9995
"""A share that reads as all."""

REASONS = {
    "sense_unknown": "the sense of rotation is unknown: turn the rotator by 30°, solve again, and "
    "give both with --second-solution and --second-rotator; or set sense under [rotator]",
    "no_rotator": "the configuration has no [rotator]",
    "no_reading": "its reading was not given (--rotator)",
    "no_target_angle": "no angle to come back to was given (--target-angle or --target)",
    "outside_limits": "no reading inside the limits and the cable's range reaches it",
}


def angle_text(document: AngleDocument) -> str:
    """Say what to do first, then how good tonight's field is and how the camera lies."""
    lines = []
    if document.move_deg is not None:
        lines += [*_move(document), *_quality(document), ""]
    mirrored = ", mirrored" if document.mirrored else ""
    now = f"camera {document.position_angle_now_deg:.1f}° with the {document.train}{mirrored}"
    if document.image_up_angle_deg is not None:
        now += (
            f"; image up {document.image_up_angle_deg:.1f}°, "
            f"{document.image_up_after_flip_deg:.1f}° on the other side of the pier"
        )
    else:
        low, high = document.image_up_candidates_deg
        now += f"; image up {low:.1f}° or {high:.1f}°, which only a plate solution tells"
    lines.append(paragraph(f"Now: {now}."))
    if document.rotator_offset_deg is not None:
        sign = "+" if document.sense == 1 else MINUS
        lines.append(
            paragraph(
                f"Rotator tonight: sky = {document.rotator_offset_deg:.2f}° {sign} reading "
                f"(sense {document.sense_source})"
            )
        )
    lines += [note(notice) for notice in document.notices]
    return "\n".join(lines)


def _move(document: AngleDocument) -> list[str]:
    verdict = "good enough as it is" if document.good_enough else "turn before you shoot"
    assert document.move_deg is not None
    lines = [
        heading(
            f"Camera to {document.target_angle_deg:.1f}° ({document.target_angle_source}): "
            f"{_turn(document.move_deg)} on the sky; {verdict}"
        )
    ]
    if document.rotator_target_deg is not None and document.rotator_move_deg is not None:
        twin = ""
        if document.rotator_twin_deg is not None:
            twin = f"; or {document.rotator_twin_deg:.2f}, upside down"
        lines.append(
            paragraph(
                f"Rotator: from {number(document.rotator_deg or 0.0, 2)} to "
                f"{document.rotator_target_deg:.2f} ({signed(document.rotator_move_deg, 2)}){twin}"
            )
        )
    else:
        reason = document.rotator_target_deg_reason or ""
        lines.append(paragraph(f"Rotator: no target, for {REASONS.get(reason, reason)}."))
    lines.append(paragraph(f"By hand: {document.hand_turn}"))
    return lines


def _quality(document: AngleDocument) -> list[str]:
    assert document.shared_area is not None
    assert document.common_rectangle_share is not None
    centre = (
        "same centre assumed"
        if document.centre_error_arcmin is None
        else f"centres {document.centre_error_arcmin:.1f}′ apart"
    )
    text = (
        f"Unturned, it shares {percent(document.shared_area)} of the wanted field ({centre}); "
        f"the largest rectangle in both has {percent(document.common_rectangle_share)}. "
        f"98 % is kept up to {number(document.tolerance_deg)}° off."
    )
    if document.common_rectangle_share < WHOLE:
        after = ", ".join(
            f"{percent(one.share)} after {one.nights}" for one in document.crop_share_after
        )
        text += f" Nights with errors like this one leave a stack {after}."
    return [paragraph(text)]


def _turn(move_deg: float) -> str:
    return "0°" if abs(move_deg) < 0.05 else f"{signed(move_deg)}°"
