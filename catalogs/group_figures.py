"""Figures of groups of galaxies from their galaxies: light and angle, for build_supplement.py."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from nightplan.model.catalog import Catalog
from nightplan.model.target import Target

Built = list[tuple[Target, list[str]]]

TYPICAL_B_MINUS_V = 0.8
ROUND = 0.85
LEAST_GALAXIES = 5
LONG_SPREAD = 0.72
"""Axis ratio from which an angle does not matter; how many galaxies tell a cluster's, and how long
their spread must be. Of three clusters whose angle is remembered (Coma, Perseus, Abell 1367) it
lies within 15 degrees."""


def with_angles_of_groups(made: Built, base: Catalog) -> Built:
    """Angles of groups and clusters of galaxies of a given size, from their galaxies' places."""
    return [(_with_angle(target, base), replaced) for target, replaced in made]


def _with_angle(target: Target, base: Catalog) -> Target:
    """A group with the principal axis of the places of OpenNGC's galaxies within half its length;
    as it is where they are too few or too evenly spread."""
    axes, plain = target.axes_arcmin, target.outline is None and target.angle_deg is None
    if not (target.kind == "galaxy_group" and plain and axes and axes[1] < ROUND * axes[0]):
        return target
    east = (base.ra_deg - target.ra_deg) * np.cos(np.radians(target.dec_deg))
    north = base.dec_deg - target.dec_deg
    inside = (base.kind == "galaxy") & (np.hypot(east, north) < axes[0] / 120.0)
    count = int(inside.sum())
    if count < LEAST_GALAXIES:
        return target
    spread, direction = np.linalg.eigh(np.cov(np.stack((east[inside], north[inside]))))
    if spread[0] > LONG_SPREAD**2 * spread[1]:
        return target
    angle = float(np.degrees(np.arctan2(*direction[:, 1]))) % 180.0
    source = f"computed from the places of {count} galaxies of OpenNGC"
    return replace(target, angle_deg=round(angle) % 180.0, angle_source=source)


def with_light_of(group: Target, members: list[Target]) -> Target:
    """A group of galaxies with the mean surface brightness inside its members' ellipses, B."""
    flux = area = 0.0
    for member in members:
        magnitude, axes = member.magnitude_b, member.axes_arcmin
        if magnitude is None and member.magnitude_v is not None:
            magnitude = member.magnitude_v + TYPICAL_B_MINUS_V
        if member.kind != "galaxy" or magnitude is None or axes is None:
            continue
        flux += 10.0 ** (-0.4 * magnitude)
        area += np.pi / 4.0 * axes[0] * axes[1] * 3600.0
    if not area:
        return group
    return replace(
        group,
        surface_brightness_mag_arcsec2=round(-2.5 * float(np.log10(flux / area)), 2),
        surface_brightness_band="B",
        surface_brightness_source="computed from the members' magnitudes and ellipses",
    )
