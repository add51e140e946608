"""Lines, dots and hatches that a framing chart and its legend share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from nightplan.model.star_catalog import Floats
from nightplan.report.looks.palettes import TRAIN_LINES

TARGET_LINE = (0, (9, 1.5, 1.5, 1.5))
FRAME_COLOURS = ("first", "second", "third", "faint")


def star_area_pt2(g_mag: Floats | float, narrow: bool = False) -> Any:
    """Area of a star's dot, points squared: a magnitude is a factor of 1.6 in area."""
    area = 42.0 * 10.0 ** (-0.2 * (np.asarray(g_mag, float) - 4.0))
    return np.clip(area, 0.7, 110.0) * (0.45 if narrow else 1.0)


def frame_look(rank: int, colours: Mapping[str, str]) -> dict[str, Any]:
    """Line of the frame of that rank, the chosen train being 0."""
    return {
        "color": colours[FRAME_COLOURS[min(rank, len(FRAME_COLOURS) - 1)]],
        "ls": TRAIN_LINES[rank % len(TRAIN_LINES)],
        "lw": 2.0 if rank == 0 else 0.9,
        "alpha": 1.0 if rank == 0 else 0.6,
    }


def neighbour_class(kind: str) -> str:
    """The word of `NEIGHBOUR_LOOKS` that a kind of the catalogue belongs to."""
    if kind.startswith("galaxy"):
        return "galaxies"
    if "cluster" in kind or kind == "star_field":
        return "clusters"
    return "dark clouds" if kind == "dark_nebula" else "nebulae"


NEIGHBOUR_LOOKS: Mapping[str, tuple[dict[str, Any], str]] = {
    "galaxies": ({"lw": 0.7, "ls": "-"}, "o"),
    "clusters": ({"lw": 0.9, "ls": (0, (1, 1.6))}, "D"),
    "dark clouds": ({"lw": 0.7, "ls": (0, (7, 3))}, "s"),
    "nebulae": ({"lw": 0.7, "ls": (0, (3, 2))}, "^"),
}
"""Line of a neighbour large enough for an outline, and marker of a small one."""

# Surface brightness of a disc galaxy falls exponentially from 21.65 B mag/arcsec2 at the centre
# (Freeman 1970, ApJ 160, 811, median of 36); the catalogue's ellipse is the isophote of 25.
_CENTRE_B, _EDGE_B = 21.65, 25.0
ISOPHOTES_B = (25.0, 24.0, 23.0, 22.0)


def shades(kind: str) -> tuple[float, ...]:
    """Sizes of a target's fills against its outline, largest first.

    Those of a galaxy are isophotes of a mean disc; those of other bright objects only say that
    they are brighter within. What has no surface to shade gets one fill.
    """
    if kind == "galaxy":
        return tuple((mag - _CENTRE_B) / (_EDGE_B - _CENTRE_B) for mag in ISOPHOTES_B)
    if kind in ("open_cluster", "star_field", "dark_nebula", "galaxy_group"):
        return (1.0,)
    return (1.0, 0.75, 0.5)


def guide_hatch(past_meridian: bool) -> str:
    """Hatch of a patch that is unlikely to hold a star."""
    return "\\\\\\\\" if past_meridian else "////"
