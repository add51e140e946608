"""The document of `nightplan frame`: how a target is framed, and what the guider will find."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Literal, TypeAlias

from pydantic import BeforeValidator

from nightplan.number_forms import percent
from nightplan.planning.framing.camera_angle import printed_direction_deg
from nightplan.report.documents.base import (
    AxisDeg,
    Day,
    DirectionDeg,
    Document,
    RaDeg,
    To1,
    To2,
    To3,
    To4,
    To5,
    To6,
)
from nightplan.report.documents.target import TargetDocument, target_document

if TYPE_CHECKING:
    from nightplan.planning.choosing.frame_answer import FrameAnswer
    from nightplan.planning.choosing.train_choice import TrainFit
    from nightplan.planning.framing.groups import Group
    from nightplan.planning.framing.guide_star import GuideOutlook, GuideSide


def _share(value: float) -> float:
    """Rounded so that a target which is not quite covered is not printed as covered."""
    rounded = round(value, 5)
    return 0.99999 if rounded >= 1.0 and value < 1.0 else rounded


Coverage: TypeAlias = Annotated[float, BeforeValidator(_share)]
GuideState = Literal["found", "expected", "unlikely"]


class PanelPlace(Document):
    """One field: its centre, the line of the long side there, and the direction of image up."""

    ra_deg: RaDeg
    dec_deg: To6
    position_angle_deg: AxisDeg
    image_up_angle_deg: DirectionDeg


class FilterEdge(Document):
    """A filter's clear aperture against the one that leaves the sensor's corner fully lit, and
    the share of the corner's light that it passes."""

    filter: str
    clear_aperture_mm: float
    needed_mm: To2
    corner_illumination: To4


class TrainFraming(Document):
    """One train. `hours_to_snr` are equivalent hours (moonless zenith, shutter open) that bring
    one field to the wanted S/N in the filter `hours_filter`, at a brightness from
    `hours_brightness_source`; `hours_all_panels` those of all panels. `score_parts` multiply to
    `score`."""

    train: str
    position_angle_deg: AxisDeg
    image_up_angle_deg: DirectionDeg
    position_angle_tolerance_deg: To3
    coverage: Coverage
    margin_arcmin: To3
    panels: list[PanelPlace]
    mosaic_columns: int
    mosaic_rows: int
    hours_to_snr: To4 | None
    hours_to_snr_reason: str | None = None
    hours_all_panels: To4 | None
    hours_all_panels_reason: str | None = None
    hours_filter: str
    hours_brightness_source: str
    score: To4
    score_parts: dict[str, To4]
    focal_length_mm: To3
    f_ratio: To3
    field_width_deg: To6
    field_height_deg: To6
    image_scale_arcsec_px: To5
    pixels_across: To1
    pixels_per_fwhm: To3
    sampling: str
    sensor_diagonal_mm: To3
    image_circle_mm: float
    corner_illumination: To4
    filters: list[FilterEdge]
    reason: str


class GuideStarPlace(Document):
    """A star in the guider's patch, with its distance from the patch's middle and nearest edge."""

    ra_deg: RaDeg
    dec_deg: To6
    g_mag: To3
    distance_arcmin: To3
    edge_arcmin: To3


class GuideSideOutlook(Document):
    """The guider's patch on one side of the meridian; of a mosaic, its poorest panel."""

    state: GuideState
    stars: list[GuideStarPlace]
    expected_count: To3
    panel: int
    image_up_angle_deg: DirectionDeg


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
    bright_limit_mag: To2
    catalogue_limit_mag: To3
    advice: str


class GroupFraming(Document):
    """Targets that one field of the chosen train holds together with the wanted margin."""

    targets: list[str]
    ra_deg: RaDeg
    dec_deg: To6
    position_angle_deg: AxisDeg
    image_up_angle_deg: DirectionDeg
    position_angle_tolerance_deg: To3
    margin_arcmin: To3


class FrameDocument(Document):
    """A target framed; the top level is the chosen train's, `trains` has them all, best first.

    `bolted_together` says how back focus, guide camera, prism and cable of the chosen train check
    out; what needs hands is among the notices too.
    """

    site: str
    date: Day
    target: TargetDocument
    train: str
    position_angle_deg: AxisDeg
    image_up_angle_deg: DirectionDeg
    position_angle_tolerance_deg: To3
    coverage: Coverage
    margin_arcmin: To3
    panels: list[PanelPlace]
    trains: list[TrainFraming]
    reason: str
    guide: GuideBlock | None
    guide_reason: str | None = None
    better_image_up_angle_deg: float | None
    better_image_up_angle_deg_reason: str | None = None
    groups: list[GroupFraming]
    hours_tonight: To3
    hours_per_panel_tonight: To3
    bolted_together: list[str]
    notices: list[str]


def frame_document(answer: FrameAnswer) -> FrameDocument:
    """Put a framing into its document."""
    framing = answer.framing
    guide = None if answer.guide is None else _guide(answer.guide)
    no_guider = "no_guider" if guide is None else None
    return FrameDocument.of(
        framing,
        site=answer.night.site.name,
        date=answer.night.evening,
        target=target_document(answer.target),
        panels=[PanelPlace.of(panel) for panel in framing.panels],
        trains=[_train(answer, fit) for fit in answer.ranking.fits],
        reason=answer.reason,
        guide=guide,
        guide_reason=no_guider,
        better_image_up_angle_deg=guide and guide.better_image_up_angle_deg,
        better_image_up_angle_deg_reason=(
            guide.better_image_up_angle_deg_reason if guide else no_guider
        ),
        groups=[_group(group) for group in answer.groups],
        hours_tonight=answer.hours_tonight,
        hours_per_panel_tonight=answer.hours_tonight / len(framing.panels),
        bolted_together=list(answer.bolted.notes),
        notices=_notices(answer),
    )


_OF_FRAMING = (
    "position_angle_deg", "image_up_angle_deg", "position_angle_tolerance_deg", "coverage",
    "margin_arcmin", "mosaic_columns", "mosaic_rows", "reason",
)  # fmt: skip


def _train(answer: FrameAnswer, fit: TrainFit) -> TrainFraming:
    optics, time = fit.optics, answer.times[fit.train]
    finite = math.isfinite(fit.hours_to_snr)
    reason = None if finite else "no_light_in_this_filter"
    return TrainFraming.of(
        optics,
        **{key: getattr(fit.framing, key) for key in _OF_FRAMING},
        train=fit.train,
        panels=[PanelPlace.of(panel) for panel in fit.framing.panels],
        hours_to_snr=fit.hours_to_snr if finite else None,
        hours_to_snr_reason=reason,
        hours_all_panels=fit.hours_all_panels if finite else None,
        hours_all_panels_reason=reason,
        hours_filter=time.filter,
        hours_brightness_source=time.brightness_source,
        score=fit.score,
        score_parts=fit.parts,
        pixels_across=fit.pixels_across,
        sensor_diagonal_mm=optics.diagonal_mm,
        filters=[FilterEdge.of(item) for item in optics.filters],
    )


def _guide(outlook: GuideOutlook) -> GuideBlock:
    better = outlook.better_image_up_angle_deg
    return GuideBlock.of(
        outlook,
        before_meridian=_side(outlook.before_meridian),
        after_meridian=_side(outlook.after_meridian),
        better_image_up_angle_deg=None if better is None else printed_direction_deg(better),
        better_sensor_reason=None if outlook.better_sensor else "none_does_better",
    )


def _side(side: GuideSide) -> GuideSideOutlook:
    return GuideSideOutlook.of(side, stars=[GuideStarPlace.of(star) for star in side.stars])


def _group(group: Group) -> GroupFraming:
    return GroupFraming.of(group.framing, targets=[target.name for target in group.targets])


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
