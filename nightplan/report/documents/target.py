"""What is known of a target, as every document that is about one prints it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from nightplan.light.line_brightness import CLASS_DEFAULT
from nightplan.planning.photons.target_brightness import target_brightness
from nightplan.report.documents.base import Document, To2, To3, To5

if TYPE_CHECKING:
    from nightplan.model.target import Target

Grade = Literal["firm", "fair", "doubtful", "unchecked"]

WITHOUT_LINES = (
    "galaxy", "galaxy_group", "reflection_nebula", "dark_nebula", "open_cluster",
    "globular_cluster", "star_field", "cluster_with_nebula",
)  # fmt: skip
"""Kinds that shine in no line of their own unless the catalogue names one."""


class TargetDocument(Document):
    """A target's figures with source and grade by field: `position`, `size`, `angle`, `kind`,
    `lines`, `brightness`. Brightness is what the rates use, above the air, mean over the outline:
    the continuum's V, and rayleighs by line for the lines that it shines in."""

    name: str
    common_name: str
    kind: str
    constellation: str
    ra_deg: To5
    dec_deg: To5
    major_arcmin: To3 | None
    major_arcmin_reason: str | None = None
    minor_arcmin: To3 | None
    minor_arcmin_reason: str | None = None
    position_angle_deg: float | None
    position_angle_deg_reason: str | None = None
    lines: list[str] | None
    lines_reason: str | None = None
    continuum_v_mag_arcsec2: To2
    line_rayleigh: dict[str, float]
    grade: Grade
    sources: dict[str, str]
    grades: dict[str, Grade]


def target_document(target: Target) -> TargetDocument:
    """Put a target into its document."""
    light = target_brightness(target)
    sources = {**target.sources, "brightness": light.source}
    axes = target.axes_arcmin
    lines = list(target.lines) if target.lines or target.kind in WITHOUT_LINES else None
    no_size = None if axes else "unknown"
    is_round = axes is not None and axes[0] == axes[1]
    return TargetDocument.of(
        target,
        common_name=target.common_names[0] if target.common_names else "",
        major_arcmin=axes and axes[0],
        major_arcmin_reason=no_size,
        minor_arcmin=axes and axes[1],
        minor_arcmin_reason=no_size,
        position_angle_deg=target.angle_deg,
        position_angle_deg_reason=(
            None if target.angle_deg is not None else "round" if is_round else "unknown"
        ),
        lines=lines,
        lines_reason=None if lines is not None else "unknown",
        continuum_v_mag_arcsec2=light.continuum_v_mag,
        line_rayleigh={role: float(f"{value:.3g}") for role, value in light.line_rayleigh.items()},
        sources=sources,
        grades={field: field_grade(target.grade, source) for field, source in sources.items()},
    )


def field_grade(row_grade: str, source: str) -> str:
    """Grade of one figure by its source, in a row of some grade.

    A figure typical of its kind is doubtful; one that OpenNGC alone gives, or that follows from
    its magnitude, is unchecked, as the user's own are; where another list agrees with it, it is
    fair. A remembered one is never firm.
    """
    if CLASS_DEFAULT in source:
        return "doubtful"
    if "in agreement with" in source and row_grade != "doubtful":
        return "fair"
    if source.startswith(("OpenNGC", "catalogue: OpenNGC", "configuration", "user")):
        return "unchecked"
    if row_grade == "unchecked":
        return "fair" if source.startswith(("remembered", "published")) else "unchecked"
    if row_grade == "firm" and "remembered" in source:
        return "fair"
    return row_grade
