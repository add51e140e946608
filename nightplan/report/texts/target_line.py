"""What is known of a target in one line: kind, size, angle, brightness, with source and grade."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.report.wording.words import KIND_WORDS, number

if TYPE_CHECKING:
    from nightplan.report.documents.target import TargetDocument


def target_line(target: TargetDocument) -> str:
    """``galaxy, 62′ × 37′ at 23° (OpenNGC, unchecked); V 22.9 mag/arcsec² (…, unchecked)``.

    Neighbours of one source and grade share their bracket.
    """
    parts = [("kind", KIND_WORDS[target.kind])]
    if target.lines:
        parts.append(("lines", "in " + ", ".join(target.lines)))
    parts.append(("size", _size(target)))
    if target.position_angle_deg is not None:
        parts.append(("angle", f"at {number(target.position_angle_deg)}°"))
    elif target.position_angle_deg_reason == "unknown" and target.major_arcmin is not None:
        parts.append(("angle", "angle unknown"))
    parts.append(("brightness", _brightness(target)))
    told = ""
    for place, (field, words) in enumerate(parts):
        origin = _origin(target, field)
        follows = place + 1 < len(parts) and origin == _origin(target, parts[place + 1][0])
        bracket = f" ({origin})" if origin and not follows else ""
        ends = ", " if follows or not bracket else "; "
        told += words + bracket + (ends if place + 1 < len(parts) else "")
    return told


def _origin(target: TargetDocument, field: str) -> str:
    if field not in target.sources:
        return ""
    return f"{target.sources[field]}, {target.grades[field]}"


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
