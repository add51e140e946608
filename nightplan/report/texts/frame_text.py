"""A framing as text for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.light.line_brightness import CLASS_DEFAULT
from nightplan.report.texts.target_line import target_line
from nightplan.report.wording.text_table import paragraph, text_table
from nightplan.report.wording.words import hours_words, number, percent

if TYPE_CHECKING:
    from nightplan.report.documents.frame import FrameDocument, GuideSideOutlook, TrainFraming

STATE_WORDS = {
    "found": "star found",
    "expected": "star expected",
    "unlikely": "star unlikely",
}


def frame_text(document: FrameDocument) -> str:
    """Lay out angle, trains, panels, guider and groups in 80 columns."""
    lines = [
        paragraph(
            f"{document.target.name} with the {document.train}: position angle "
            f"{number(document.position_angle_deg, 2)}° "
            f"(± {number(document.position_angle_tolerance_deg)}°), image up "
            f"{number(document.image_up_angle_deg, 2)}°"
        ),
        paragraph(f"Taken to be: {target_line(document.target)}."),
        "",
        paragraph(document.reason),
        "",
        _trains(document),
    ]
    if len(document.panels) > 1:
        lines += ["", _panels(document)]
    lines += ["", *_guide(document)]
    for group in document.groups:
        lines.append(
            paragraph(
                f"One field also holds {', '.join(group.targets)}: centre "
                f"{group.ra_deg:.4f}° {group.dec_deg:+.4f}°, position angle "
                f"{number(group.position_angle_deg, 2)}°, {group.margin_arcmin:.1f}′ to spare."
            )
        )
    lines.append(
        paragraph(
            f"Hours inside all limits of {document.trains[0].hours_filter} in the night of "
            f"{document.date}: {document.hours_tonight:.1f}"
            + (
                f", {document.hours_per_panel_tonight:.1f} a panel."
                if len(document.panels) > 1
                else "."
            )
        )
    )
    lines += [paragraph(notice) for notice in document.notices]
    return "\n".join(lines)


def _trains(document: FrameDocument) -> str:
    """Trains side by side, a figure a line."""
    columns = [_figures(row) for row in document.trains]
    rows = [[name, *(column[name] for column in columns)] for name in columns[0]]
    headers = ["", *(row.train for row in document.trains)]
    return text_table(headers, rows) + f"\n{paragraph(_hours_note(document.trains[0]))}"


def _hours_note(row: TrainFraming) -> str:
    note = (
        f"Hours are in {row.hours_filter} at a moonless zenith, to the wanted signal to noise, "
        f"all panels. Brightness in {row.hours_filter}: {row.hours_brightness_source}."
    )
    if CLASS_DEFAULT in row.hours_brightness_source:
        note += (
            " The hours go with the square of a typical brightness: compare trains by them, but do "
            "not count on them."
        )
    return note


def _figures(row: TrainFraming) -> dict[str, str]:
    hours = row.hours_all_panels
    grid = f" ({row.mosaic_columns} × {row.mosaic_rows})" if len(row.panels) > 1 else ""
    return {
        "focal length": f"{row.focal_length_mm:.0f} mm, f/{row.f_ratio:.2f}",
        "field": f"{row.field_width_deg:.2f}° × {row.field_height_deg:.2f}°",
        "position angle": f"{number(row.position_angle_deg, 2)}° "
        f"(± {number(row.position_angle_tolerance_deg)}°)",
        "panels": f"{len(row.panels)}{grid}",
        "coverage": percent(row.coverage),
        "margin": f"{row.margin_arcmin:.1f}′".replace("-", "−"),
        "target across": f"{row.pixels_across:.0f} pixels",
        "sampling": f"{row.pixels_per_fwhm:.1f} pixels/FWHM, {row.sampling}",
        "light in corners": percent(row.corner_illumination),
        "hours": "out of reach" if hours is None else hours_words(hours),
        "score": f"{row.score:.2f}",
    }


def _panels(document: FrameDocument) -> str:
    rows = [
        [
            str(place),
            f"{panel.ra_deg:.4f}°",
            f"{panel.dec_deg:+.4f}°",
            f"{panel.position_angle_deg:.2f}°",
            f"{panel.image_up_angle_deg:.2f}°",
        ]
        for place, panel in enumerate(document.panels, start=1)
    ]
    return text_table(
        ["panel", "RA", "dec", "position angle", "image up"], rows, right=(0, 1, 2, 3, 4)
    )


def _guide(document: FrameDocument) -> list[str]:
    guide = document.guide
    if guide is None:
        return ["No guider is configured."]
    rows = [
        _side_row("before the meridian", guide.before_meridian),
        _side_row("after it", guide.after_meridian),
    ]
    table = text_table(
        [
            f"guider, G {guide.bright_limit_mag:.1f} to {guide.limit_mag:g}",
            "",
            "brightest",
            "stars expected",
        ],
        rows,
        right=(2, 3),
    )
    return [table, paragraph(guide.advice)]


def _side_row(when: str, side: GuideSideOutlook) -> list[str]:
    star = f"G {side.stars[0].g_mag:.1f}" if side.stars else "none known"
    return [when, STATE_WORDS[side.state], star, f"{side.expected_count:.1f}"]
