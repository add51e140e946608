"""The document of `nightplan frame`: how a target is framed, and what the guider will find."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

from nightplan.number_forms import percent
from nightplan.planning.framing.camera_angle import printed_axis_deg, printed_direction_deg
from nightplan.report.documents.base import Document
from nightplan.report.documents.target import TargetDocument, target_document

if TYPE_CHECKING:
    from nightplan.planning.choosing.frame_answer import FrameAnswer
    from nightplan.planning.choosing.train_choice import TrainFit
    from nightplan.planning.framing.framing import Framing
    from nightplan.planning.framing.groups import Group
    from nightplan.planning.framing.guide_star import GuideOutlook, GuideSide

_DIGITS = 4

GuideState = Literal["found", "expected", "unlikely"]


class PanelPlace(Document):
    """One field: its centre, the line of the long side there, and the direction of image up."""

    ra_deg: float
    dec_deg: float
    position_angle_deg: float
    image_up_angle_deg: float


class FilterEdge(Document):
    """A filter's clear aperture against the one that leaves the sensor's corner fully lit, and
    the share of the corner's light that it passes."""

    filter: str
    clear_aperture_mm: float
    needed_mm: float
    corner_illumination: float


class TrainFraming(Document):
    """One train. `hours_to_snr` are equivalent hours (moonless zenith, shutter open) that bring
    one field to the wanted S/N in the filter `hours_filter`, at a brightness from
    `hours_brightness_source`; `hours_all_panels` those of all panels. `score_parts` multiply to
    `score`."""

    train: str
    position_angle_deg: float
    image_up_angle_deg: float
    position_angle_tolerance_deg: float
    coverage: float
    margin_arcmin: float
    panels: list[PanelPlace]
    mosaic_columns: int
    mosaic_rows: int
    hours_to_snr: float | None
    hours_to_snr_reason: str | None = None
    hours_all_panels: float | None
    hours_all_panels_reason: str | None = None
    hours_filter: str
    hours_brightness_source: str
    score: float
    score_parts: dict[str, float]
    focal_length_mm: float
    f_ratio: float
    field_width_deg: float
    field_height_deg: float
    image_scale_arcsec_px: float
    pixels_across: float
    pixels_per_fwhm: float
    sampling: str
    sensor_diagonal_mm: float
    image_circle_mm: float
    corner_illumination: float
    filters: list[FilterEdge]
    reason: str


class GuideStarPlace(Document):
    """A star in the guider's patch, with its distance from the patch's middle and nearest edge."""

    ra_deg: float
    dec_deg: float
    g_mag: float
    distance_arcmin: float
    edge_arcmin: float


class GuideSideOutlook(Document):
    """The guider's patch on one side of the meridian; of a mosaic, its poorest panel."""

    state: GuideState
    stars: list[GuideStarPlace]
    expected_count: float
    panel: int
    image_up_angle_deg: float


class GuideBlock(Document):
    """What the off-axis guider will find with the chosen train."""

    before_meridian: GuideSideOutlook
    after_meridian: GuideSideOutlook
    better_image_up_angle_deg: float | None
    better_image_up_angle_deg_reason: str | None = None
    sensor: str
    better_sensor: str | None
    better_sensor_reason: str | None = None
    limit_mag: float
    bright_limit_mag: float
    catalogue_limit_mag: float
    advice: str


class GroupFraming(Document):
    """Targets that one field of the chosen train holds together with the wanted margin."""

    targets: list[str]
    ra_deg: float
    dec_deg: float
    position_angle_deg: float
    image_up_angle_deg: float
    position_angle_tolerance_deg: float
    margin_arcmin: float


class FrameDocument(Document):
    """A target framed; the top level is the chosen train's, `trains` has them all, best first.

    `bolted_together` says how back focus, guide camera, prism and cable of the chosen train check
    out; what needs hands is among the notices too.
    """

    site: str
    date: str
    target: TargetDocument
    train: str
    position_angle_deg: float
    image_up_angle_deg: float
    position_angle_tolerance_deg: float
    coverage: float
    margin_arcmin: float
    panels: list[PanelPlace]
    trains: list[TrainFraming]
    reason: str
    guide: GuideBlock | None
    guide_reason: str | None = None
    better_image_up_angle_deg: float | None
    better_image_up_angle_deg_reason: str | None = None
    groups: list[GroupFraming]
    hours_tonight: float
    hours_per_panel_tonight: float
    bolted_together: list[str]
    notices: list[str]


def frame_document(answer: FrameAnswer) -> FrameDocument:
    """Put a framing into its document."""
    framing = answer.framing
    guide = None if answer.guide is None else _guide(answer.guide)
    no_guider = "no_guider" if guide is None else None
    return FrameDocument.model_validate(
        {
            "site": answer.night.site.name,
            "date": answer.night.evening.isoformat(),
            "target": target_document(answer.target),
            "train": framing.train,
            **_angles(framing),
            "trains": [_train(answer, fit) for fit in answer.ranking.fits],
            "reason": answer.reason,
            "guide": guide,
            "guide_reason": no_guider,
            "better_image_up_angle_deg": guide and guide.better_image_up_angle_deg,
            "better_image_up_angle_deg_reason": (
                guide.better_image_up_angle_deg_reason if guide else no_guider
            ),
            "groups": [_group(group) for group in answer.groups],
            "hours_tonight": round(answer.hours_tonight, 3),
            "hours_per_panel_tonight": round(answer.hours_tonight / len(framing.panels), 3),
            "bolted_together": list(answer.bolted.notes),
            "notices": _notices(answer),
        }
    )


def _angles(framing: Framing) -> dict[str, object]:
    """The keys that the top level and every train have in common."""
    return {
        "position_angle_deg": printed_axis_deg(framing.position_angle_deg, _DIGITS),
        "image_up_angle_deg": printed_direction_deg(framing.image_up_angle_deg, _DIGITS),
        "position_angle_tolerance_deg": round(framing.position_angle_tolerance_deg, 3),
        "coverage": _share(framing.coverage),
        "margin_arcmin": round(framing.margin_arcmin, 3),
        "panels": [
            PanelPlace(
                ra_deg=printed_direction_deg(panel.ra_deg, 6),
                dec_deg=round(panel.dec_deg, 6),
                position_angle_deg=printed_axis_deg(panel.position_angle_deg, _DIGITS),
                image_up_angle_deg=printed_direction_deg(panel.image_up_angle_deg, _DIGITS),
            )
            for panel in framing.panels
        ],
    }


def _train(answer: FrameAnswer, fit: TrainFit) -> TrainFraming:
    optics, time = fit.optics, answer.times[fit.train]
    finite = math.isfinite(fit.hours_to_snr)
    reason = None if finite else "no_light_in_this_filter"
    return TrainFraming.model_validate(
        {
            "train": fit.train,
            **_angles(fit.framing),
            "mosaic_columns": fit.framing.mosaic_columns,
            "mosaic_rows": fit.framing.mosaic_rows,
            "hours_to_snr": round(fit.hours_to_snr, 4) if finite else None,
            "hours_to_snr_reason": reason,
            "hours_all_panels": round(fit.hours_all_panels, 4) if finite else None,
            "hours_all_panels_reason": reason,
            "hours_filter": time.filter,
            "hours_brightness_source": time.brightness_source,
            "score": round(fit.score, 4),
            "score_parts": {part: round(value, 4) for part, value in fit.parts.items()},
            "focal_length_mm": round(optics.focal_length_mm, 3),
            "f_ratio": round(optics.f_ratio, 3),
            "field_width_deg": round(optics.field_width_deg, 6),
            "field_height_deg": round(optics.field_height_deg, 6),
            "image_scale_arcsec_px": round(optics.image_scale_arcsec_px, 5),
            "pixels_across": round(fit.pixels_across, 1),
            "pixels_per_fwhm": round(optics.pixels_per_fwhm, 3),
            "sampling": optics.sampling,
            "sensor_diagonal_mm": round(optics.diagonal_mm, 3),
            "image_circle_mm": optics.image_circle_mm,
            "corner_illumination": round(optics.corner_illumination, 4),
            "filters": [
                FilterEdge(
                    filter=item.filter,
                    clear_aperture_mm=item.clear_aperture_mm,
                    needed_mm=round(item.needed_mm, 2),
                    corner_illumination=round(item.corner_illumination, 4),
                )
                for item in optics.filters
            ],
            "reason": fit.framing.reason,
        }
    )


def _guide(outlook: GuideOutlook) -> GuideBlock:
    better = outlook.better_image_up_angle_deg
    return GuideBlock(
        before_meridian=_side(outlook.before_meridian),
        after_meridian=_side(outlook.after_meridian),
        better_image_up_angle_deg=None if better is None else printed_direction_deg(better),
        better_image_up_angle_deg_reason=outlook.better_image_up_angle_deg_reason,
        sensor=outlook.sensor,
        better_sensor=outlook.better_sensor,
        better_sensor_reason=None if outlook.better_sensor else "none_does_better",
        limit_mag=outlook.limit_mag,
        bright_limit_mag=round(outlook.bright_limit_mag, 2),
        catalogue_limit_mag=round(outlook.catalogue_limit_mag, 3),
        advice=outlook.advice,
    )


def _side(side: GuideSide) -> GuideSideOutlook:
    return GuideSideOutlook.model_validate(
        {
            "state": side.state,
            "stars": [
                GuideStarPlace(
                    ra_deg=printed_direction_deg(star.ra_deg, 6),
                    dec_deg=round(star.dec_deg, 6),
                    g_mag=round(star.g_mag, 3),
                    distance_arcmin=round(star.distance_arcmin, 3),
                    edge_arcmin=round(star.edge_arcmin, 3),
                )
                for star in side.stars
            ],
            "expected_count": round(side.expected_count, 3),
            "panel": side.panel,
            "image_up_angle_deg": printed_direction_deg(side.image_up_angle_deg, _DIGITS),
        }
    )


def _group(group: Group) -> GroupFraming:
    framing = group.framing
    return GroupFraming(
        targets=[target.name for target in group.targets],
        ra_deg=printed_direction_deg(framing.ra_deg, 6),
        dec_deg=round(framing.dec_deg, 6),
        position_angle_deg=printed_axis_deg(framing.position_angle_deg, _DIGITS),
        image_up_angle_deg=printed_direction_deg(framing.image_up_angle_deg, _DIGITS),
        position_angle_tolerance_deg=round(framing.position_angle_tolerance_deg, 3),
        margin_arcmin=round(framing.margin_arcmin, 3),
    )


def _share(value: float) -> float:
    """Rounded so that a target which is not quite covered is not printed as covered."""
    rounded = round(value, 5)
    return 0.99999 if rounded >= 1.0 and value < 1.0 else rounded


def _notices(answer: FrameAnswer) -> list[str]:
    """Doubts about the target's own figures, and trains whose field is not fully lit."""
    target, found = answer.target, []
    if target.note:
        found.append(f"{target.name}: {target.note}.".replace("..", "."))
    known = answer.panels_with_an_angle
    if known is not None and known < answer.framing.whole_mosaic_panels:
        found.append(
            f"The angle of {target.name} is not known: with the margin wanted, "
            f"{answer.framing.whole_mosaic_panels} fields hold it however it lies; {known} would "
            "do if it were."
        )
    optics = answer.chosen.optics
    if not optics.circle_covers:
        found.append(
            f"The {optics.name}'s image circle of {optics.image_circle_mm:g} mm does not cover "
            f"the sensor's diagonal of {optics.diagonal_mm:.1f} mm."
        )
    dark = [item for item in optics.filters if not item.is_large_enough]
    if dark:
        worst = min(dark, key=lambda item: item.corner_illumination)
        found.append(
            f"Corners lose {percent(1.0 - worst.corner_illumination)} of their light at the "
            f"edge of filter {worst.filter}: {worst.clear_aperture_mm:g} mm clear where "
            f"{worst.needed_mm:.1f} mm are needed."
        )
    found += answer.bolted.warnings
    return found
