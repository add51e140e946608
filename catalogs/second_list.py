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
    agreed = f"OpenNGC, in agreement with {other}"
    major, minor = float(cells["major_arcmin"]), float(cells["minor_arcmin"])
    angle = float(cells["angle_deg"]) if cells["angle_deg"] else None
    changes: dict[str, Any] = {"grade": "fair", "origin": "supplement", "size_source": agreed}
    if old.axes_arcmin is None:
        changes |= {"major_arcmin": major, "minor_arcmin": minor, "size_source": other}
    elif takes_second(old.axes_arcmin, (major, minor)):
        axes = " x ".join(f"{axis:g}'" for axis in old.axes_arcmin)
        changes |= {"major_arcmin": major, "minor_arcmin": minor, "size_source": other}
        changes |= {"note": f"OpenNGC gives {axes}", "angle_deg": angle, **NO_BRIGHTNESS}
        changes["angle_source"] = "" if angle is None else other
    elif old.axes_arcmin[0] > AGREED_SIZE * major:
        changes["size_source"] = "OpenNGC"
        changes["note"] = f"{cells['list']}: {major:g}' x {minor:g}', remembered"
    if angle is not None:
        near = old.angle_deg is not None and apart_deg(old.angle_deg, angle) <= AGREED_DEG
        if not near:
            changes |= {"angle_deg": angle, "angle_source": other}
        elif "angle_deg" not in changes:
            changes["angle_source"] = agreed
    return replace(old, **changes)


SGA_FACTOR = 1.7
"""A galaxy is so much longer at 26 mag/arcsec² in r than at 25 in B: the median of 4,100."""
SGA_DIFFERS = 1.3
SGA_LEAST_ARCMIN = 2.0
SGA = "computed: SGA-2020 (Moustakas et al. 2023), isophote of 26 mag/arcsec² in r over 1.7"


def longer_in_atlas(old: Target, red_major_arcmin: float) -> Target | None:
    """A galaxy that OpenNGC has too short by the red isophote of the Siena Galaxy Atlas.

    None where the two agree within `SGA_DIFFERS`, or where the atlas has it shorter. Of 217
    galaxies with a remembered RC3 axis 30 are longer so; OpenNGC has 0.62 of the RC3 axis of
    those in the median, this figure 1.00 (two in three lie within 0.75 to 1.26).
    """
    major = round(red_major_arcmin / SGA_FACTOR, 1)
    if old.kind != "galaxy" or old.axes_arcmin is None or major < SGA_LEAST_ARCMIN:
        return None
    was = old.axes_arcmin
    if major <= SGA_DIFFERS * was[0]:
        return None
    axes = " x ".join(f"{axis:g}'" for axis in was)
    return replace(
        old, major_arcmin=major, minor_arcmin=round(major * was[1] / was[0], 1),
        size_source=SGA, note=f"OpenNGC gives {axes}", grade="fair", origin="supplement",
        **NO_BRIGHTNESS,
    )  # fmt: skip


def takes_second(one: tuple[float, float], two: tuple[float, float]) -> bool:
    """Whether the second list's axes count: longer by over a fifth, or of another shape."""
    ratio = two[0] / one[0]
    flatter = (two[1] / two[0]) / (one[1] / one[0])
    other_shape = not 1.0 / AGREED_SHAPE < flatter < AGREED_SHAPE
    return ratio > AGREED_SIZE or (other_shape and ratio > 1.0 / AGREED_SIZE)


def apart_deg(one: float, two: float) -> float:
    """Angle between two directions of a line, 0 to 90 degrees."""
    return abs((one - two + 90.0) % 180.0 - 90.0)
