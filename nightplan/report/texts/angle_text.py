"""The way back to a camera angle as text for a terminal."""

from __future__ import annotations

from nightplan.report.documents.angle import AngleDocument
from nightplan.report.wording.text_table import paragraph
from nightplan.report.wording.words import percent

REASONS = {
    "sense_unknown": "the sense of rotation is unknown: turn the rotator by 30°, solve again, and "
    "give both with --second-solution and --second-rotator; or set sense under [rotator]",
    "no_rotator": "the configuration has no [rotator]",
    "no_reading": "its reading was not given (--rotator)",
    "no_target_angle": "no angle to come back to was given (--target-angle or --target)",
    "outside_limits": "no reading inside the limits and the cable's range reaches it",
}


def angle_text(document: AngleDocument) -> str:
    """Say what to do, then how good tonight's field is."""
    lines = [
        f"Camera now: position angle {document.position_angle_now_deg:.2f}° "
        f"({'mirrored' if document.mirrored else 'not mirrored'}, train {document.train})"
    ]
    if document.image_up_angle_deg is not None:
        lines.append(
            f"Image up: {document.image_up_angle_deg:.2f}° here, "
            f"{document.image_up_after_flip_deg:.2f}° on the other side of the pier"
        )
    else:
        low, high = document.image_up_candidates_deg
        lines.append(f"Image up: {low:.2f}° or {high:.2f}°; only a plate solution tells")
    if document.rotator_offset_deg is not None:
        sign = "+" if document.sense == 1 else "-"
        lines.append(
            f"Rotator tonight: sky = {document.rotator_offset_deg:.2f}° {sign} reading "
            f"(sense {document.sense_source})"
        )
    lines += _log(document)
    if document.move_deg is not None:
        lines += ["", *_move(document), "", *_quality(document)]
    lines += [paragraph(notice) for notice in document.notices]
    return "\n".join(lines)


def _log(document: AngleDocument) -> list[str]:
    """Offsets of the last evenings, which say how far the next first guess can be trusted."""
    if not document.offset_log:
        return []
    rows = ", ".join(
        f"{one.rotator_offset_deg:.1f}° on {one.date}"
        + (f" ({one.pier} of the pier)" if one.pier else "")
        for one in document.offset_log[:4]
    )
    return [paragraph(f"Offsets kept: {rows}")]


def _move(document: AngleDocument) -> list[str]:
    lines = [
        f"Wanted: {document.target_angle_deg:.2f}° ({document.target_angle_source}), "
        f"a turn of {document.move_deg:+.2f}° on the sky"
    ]
    if document.rotator_target_deg is not None:
        lines.append(
            f"Rotator: from {document.rotator_deg:.2f} to {document.rotator_target_deg:.2f} "
            f"({document.rotator_move_deg:+.2f})"
        )
        if document.rotator_twin_deg is not None:
            lines.append(f"         or to {document.rotator_twin_deg:.2f}, upside down")
    else:
        reason = document.rotator_target_deg_reason or ""
        lines.append(paragraph(f"Rotator: no target, for {REASONS.get(reason, reason)}."))
    lines.append(f"By hand: {document.hand_turn}")
    return lines


def _quality(document: AngleDocument) -> list[str]:
    assert document.shared_area is not None
    assert document.common_rectangle_share is not None
    centre = (
        "same centre assumed"
        if document.centre_error_arcmin is None
        else f"centres {document.centre_error_arcmin:.1f}′ apart"
    )
    verdict = "good enough" if document.good_enough else "turn before you shoot"
    lines = [
        f"As it is now the field shares {percent(document.shared_area)} with the wanted one "
        f"({centre}): {verdict}.",
        f"Up to {document.tolerance_deg:.2f}° off keeps 98 %. The largest common rectangle "
        f"has {percent(document.common_rectangle_share)}.",
    ]
    after = ", ".join(
        f"{percent(one.share)} after {one.nights}" for one in document.crop_share_after
    )
    lines.append(f"Nights with errors like this one leave a stack {after}.")
    return [paragraph(line) for line in lines]
