"""OpenNGC's ellipses set against a second list, for build_supplement.py."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from nightplan.model.target import Target

AGREED_SIZE = 1.2
"""Two lists agree when their sizes lie within this factor."""

# Two lists of galaxies agree when axis ratios lie within this factor and angles within this.
AGREED_SHAPE = 1.5
AGREED_DEG = 15.0
SECOND_LISTS = {
    "RC3": "RC3 (de Vaucouleurs et al. 1991), remembered",
    "handbooks": "observing handbooks, remembered",
}

NO_BRIGHTNESS: dict[str, Any] = {
    "surface_brightness_mag_arcsec2": None,
    "surface_brightness_band": "",
    "surface_brightness_source": "",
}


def against(old: Target, cells: dict[str, str]) -> Target:
    """One ellipse and one angle of two lists.

    The larger counts where the majors differ by more than a fifth, for the fainter outskirts
    belong into the frame; the second list's too where the axis ratios do not agree, and its angle
    where the two differ by more than 15 degrees. Where both agree OpenNGC's figures stand.
    """
    other = SECOND_LISTS[cells["list"]]
    major, minor = float(cells["major_arcmin"]), float(cells["minor_arcmin"])
    angle = float(cells["angle_deg"]) if cells["angle_deg"] else None
    target = replace(old, grade="fair", origin="supplement", **_checked(old, other))
    old_major, old_minor = old.axes_arcmin or (0.01, 0.01)
    flatter = (minor / major) / (old_minor / old_major)
    other_shape = not 1.0 / AGREED_SHAPE < flatter < AGREED_SHAPE
    ratio = major / old_major
    if ratio > AGREED_SIZE or (other_shape and ratio > 1.0 / AGREED_SIZE):
        target = replace(
            target, major_arcmin=major, minor_arcmin=minor, angle_deg=angle, size_source=other,
            angle_source="" if angle is None else other,
            note="OpenNGC gives " + " x ".join(f"{axis:g}'" for axis in old.axes_arcmin or ()),
            **NO_BRIGHTNESS,
        )  # fmt: skip
        target = replace(target, note="" if old.axes_arcmin is None else target.note)
    elif ratio < 1.0 / AGREED_SIZE:
        target = replace(target, note=f"{cells['list']}: {major:g}' x {minor:g}', remembered")
    if angle is not None and (
        old.angle_deg is None or abs((old.angle_deg - angle + 90.0) % 180.0 - 90.0) > AGREED_DEG
    ):
        target = replace(target, angle_deg=angle, angle_source=other)
    return target


def _checked(old: Target, other: str) -> dict[str, str]:
    """Sources of a target whose OpenNGC figures agree with another list."""
    agreed = f"OpenNGC, in agreement with {other}"
    return {
        "size_source": agreed if old.major_arcmin is not None else "",
        "angle_source": agreed if old.angle_deg is not None else "",
    }
