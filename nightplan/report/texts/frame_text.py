"""A framing as text for a terminal: what to set, then the trains beside each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.light.line_brightness import CLASS_DEFAULT
from nightplan.number_forms import number, percent, signed
from nightplan.report.texts.target_line import target_line
from nightplan.report.wording.screen import MOST_LINES, screen, styled
from nightplan.report.wording.text_table import heading, note, paragraph, text_table
from nightplan.report.wording.words import about, angle_range, counted, hours_words

if TYPE_CHECKING:
    from nightplan.report.documents.frame import (
        FrameDocument,
        GuideSideOutlook,
        TrainFraming,
    )

MOST_PANELS = 4
"""More are listed in the full text only."""

TWO_PANELS_WIDE = 80
"""Columns that two panels beside each other take."""

SHORT_FIGURES = ("camera angle", "panels", "in frame", "margin", "sampling", "hours")


def frame_text(document: FrameDocument, *, full: bool = False) -> str:
    """Lay out angle, trains, panels and guider; `full` adds why, figures, groups and sources.

    Without it as many notes are shown as the screen has lines for; the last line counts the rest.
    """
    count = len(document.panels)
    angle = angle_range(document.position_angle_deg, document.position_angle_tolerance_deg)
    lines = [
        heading(
            f"{document.target.name} with the {document.train}: camera {angle}, image up "
            f"{number(document.image_up_angle_deg)}°" + (f", {count} panels" if count > 1 else "")
        ),
        paragraph(f"Catalogue: {target_line(document.target, sources=full)}."),
        *([paragraph(document.reason)] if full else []),
        "",
        _trains(document, full),
    ]
    if 1 < count <= MOST_PANELS or (full and count > 1):
        lines += ["", _panels(document)]
    lines += ["", *_guide(document, full)]
    if full:
        lines += _groups(document)
        lines += [paragraph(f"{words}") for words in document.bolted_together]
    lines.append(paragraph(_tonight(document)))
    notes = [note(notice) for notice in document.notices]
    if full:
        return "\n".join([*lines, *notes])
    used = "\n".join(lines).count("\n") + 2
    while notes and used + "\n".join(notes).count("\n") + 1 > MOST_LINES:
        notes.pop()
    hidden = len(document.notices) - len(notes)
    more = f"{counted(hidden, 'more note')}, why" if hidden else "Why"
    closing = paragraph(f"{more}, optics, sources, neighbours: --full")
    return "\n".join([*lines, *notes, styled(closing, "faint")])


def _tonight(document: FrameDocument) -> str:
    filter_name = document.trains[0].hours_filter
    if document.hours_tonight == 0.0:
        return f"{filter_name}: not inside all limits at any time of the night of {document.date}."
    hours = f"{hours_words(document.hours_tonight)} inside all limits on the night of "
    hours += document.date
    if len(document.panels) > 1:
        hours += f", {hours_words(document.hours_per_panel_tonight)} a panel"
    return f"{filter_name}: {hours}."


def _groups(document: FrameDocument) -> list[str]:
    return [
        paragraph(
            f"One field also holds {', '.join(group.targets)}: centre {group.ra_deg:.4f}° "
            f"{signed(group.dec_deg, 4)}°, camera {number(group.position_angle_deg)}°, "
            f"{number(group.margin_arcmin)}′ to spare."
        )
        for group in document.groups
    ]


def _trains(document: FrameDocument, full: bool) -> str:
    """Trains side by side, a figure a line."""
    columns = [_figures(row, full) for row in document.trains]
    names = [name for name in columns[0] if full or name in SHORT_FIGURES]
    rows = [[name, *(column[name] for column in columns)] for name in names]
    table = text_table(["", *(row.train for row in document.trains)], rows)
    return f"{table}\n{paragraph(_hours_note(document.trains[0], full))}"


def _hours_note(row: TrainFraming, full: bool) -> str:
    text = f"Hours of {row.hours_filter} at the zenith with no moon to the wanted S/N, all panels"
    rough = CLASS_DEFAULT in row.hours_brightness_source
    if not full:
        return f"{text}; its brightness is a guess by kind." if rough else f"{text}."
    text += f". Brightness in {row.hours_filter}: {row.hours_brightness_source}."
    if rough:
        text += (
            " The hours go with the square of a typical brightness: compare trains by them, but do "
            "not count on them."
        )
    return text


def _figures(row: TrainFraming, full: bool) -> dict[str, str]:
    sampling = f"{row.pixels_per_fwhm:.1f} pixels/FWHM"
    hours = row.hours_all_panels
    grid = f" ({row.mosaic_columns} × {row.mosaic_rows})" if len(row.panels) > 1 else ""
    return {
        "focal length": f"{row.focal_length_mm:.0f} mm, f/{row.f_ratio:.1f}",
        "field": f"{row.field_width_deg:.2f}° × {row.field_height_deg:.2f}°",
        "camera angle": angle_range(row.position_angle_deg, row.position_angle_tolerance_deg),
        "panels": f"{len(row.panels)}{grid}",
        "in frame": percent(row.coverage),
        "margin": f"{number(row.margin_arcmin, 1 if abs(row.margin_arcmin) < 10.0 else 0)}′",
        "target across": f"{row.pixels_across:.0f} pixels",
        "sampling": f"{sampling}, {row.sampling}" if full else sampling,
        "light in corners": percent(row.corner_illumination),
        "hours": "out of reach" if hours is None else hours_words(hours),
        "score": f"{row.score:.2f}",
    }


def _panels(document: FrameDocument) -> str:
    """A panel a row; two beside each other where the screen is wide enough."""
    heads = ["panel", "RA", "dec", "image up"]
    rows = [
        [
            str(place),
            f"{panel.ra_deg:.4f}°",
            f"{signed(panel.dec_deg, 4)}°",
            f"{panel.image_up_angle_deg:.1f}°",
        ]
        for place, panel in enumerate(document.panels, start=1)
    ]
    if len(rows) > 2 and screen().width >= TWO_PANELS_WIDE:
        second = [*rows[1::2], [""] * len(heads)]
        rows = [[*left, *right] for left, right in zip(rows[::2], second, strict=False)]
        heads *= 2
    return text_table(heads, rows, right=range(len(heads)))


def _guide(document: FrameDocument, full: bool) -> list[str]:
    guide = document.guide
    if guide is None:
        return ["No guider is configured."]
    before = _side(guide.before_meridian)
    after = _side(guide.after_meridian)
    text = f"Guide star: {before} before the meridian, {after} after it"
    better = guide.better_image_up_angle_deg
    if full:
        limits = f"(from G {number(guide.bright_limit_mag)} to {number(guide.limit_mag)})"
        return [paragraph(f"{text} {limits}."), paragraph(guide.advice)]
    if better is not None:
        text += f"; better at image up {number(better)}°"
    return [paragraph(f"{text}.")]


def _side(side: GuideSideOutlook) -> str:
    if side.stars:
        return f"G {side.stars[0].g_mag:.1f}"
    if side.state == "unlikely":
        return "unlikely"
    return f"{about(side.expected_count)} by density"
