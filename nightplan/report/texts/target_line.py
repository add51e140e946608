"""What is known of a target in one line: kind, size, angle, brightness, with source and grade."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from nightplan.light.line_brightness import CLASS_DEFAULT
from nightplan.number_forms import number
from nightplan.report.wording.words import KIND_WORDS

if TYPE_CHECKING:
    from nightplan.report.documents.target import TargetDocument


def target_line(target: TargetDocument, *, sources: bool = True) -> str:
    """``galaxy, 178′ × 70′ at 35° (OpenNGC and RC3), V 22.3 mag/arcsec² (V over area); all fair``.

    Neighbours of one source share their bracket, and all of one grade share its word. Sources are
    shortened; the document has them whole. Without `sources` only what is doubtful is graded.
    """
    parts = [("kind", KIND_WORDS[target.kind]), ("size", _size(target))]
    if target.position_angle_deg is not None:
        parts.append(("angle", f"at {number(target.position_angle_deg, 0)}°"))
    elif target.position_angle_deg_reason == "unknown" and target.major_arcmin is not None:
        parts.append(("angle", "angle unknown"))
    parts.append(("brightness", _brightness(target)))
    if not sources:
        doubt = {field for field, _ in parts if target.grades.get(field) == "doubtful"}
        said = [words + (" (doubtful)" if field in doubt else "") for field, words in parts]
        return ", ".join(said).replace(", at ", " at ")
    graded = {target.grades[field] for field, _ in parts if field in target.grades}
    one_grade = len(graded) == 1
    origins = [_origin(target, field, with_grade=not one_grade) for field, _ in parts]
    told = []
    for place, (_, words) in enumerate(parts):
        follows = place + 1 < len(parts) and origins[place] == origins[place + 1]
        told.append(words + (f" ({origins[place]})" if origins[place] and not follows else ""))
    line = ", ".join(told).replace(", at ", " at ")
    return line + (f"; all {graded.pop()}" if one_grade else "")


def short_source(source: str) -> str:
    """A source in a few words: without page, number and way of access.

    Examples
    --------
    >>> short_source("major Lynds 1965 (LBN 373), minor remembered")
    'Lynds 1965, minor remembered'
    """
    if CLASS_DEFAULT in source:
        return source.rsplit(": ", 1)[0]
    short = source.split(";", maxsplit=1)[0].removeprefix("catalogue: ").removeprefix("major ")
    short = re.sub(r"\s*\([^()]*\)", "", short)
    short = re.sub(r", by VizieR extract.*", "", short)
    short = re.sub(r" de Vaucouleurs.*?(?=,|$)", "", short)
    short = re.sub(r"^remembered: (.*)", r"\1, remembered", short)
    short = re.sub(r"^OpenNGC, in agreement with (.*?), remembered", r"OpenNGC and \1", short)
    return short.replace("derived from magnitude and ellipse", "magnitude over area")


def _origin(target: TargetDocument, field: str, *, with_grade: bool) -> str:
    if field not in target.sources:
        return ""
    source = short_source(target.sources[field])
    return f"{source}, {target.grades[field]}" if with_grade else source


def _size(target: TargetDocument) -> str:
    if target.major_arcmin is None or target.minor_arcmin is None:
        return "size unknown"
    if target.major_arcmin == target.minor_arcmin:
        return f"{_arcmin(target.major_arcmin)} across"
    return f"{_arcmin(target.major_arcmin)} × {_arcmin(target.minor_arcmin)}"


def _arcmin(value: float) -> str:
    return f"{number(value, 1 if value < 100.0 else 0)}′"


def _brightness(target: TargetDocument) -> str:
    lines = target.line_rayleigh
    if not lines:
        return f"V {target.continuum_v_mag_arcsec2:.1f} mag/arcsec²"
    line = max(lines, key=lines.__getitem__)
    return f"{lines[line]:.0f} R in {line}"
