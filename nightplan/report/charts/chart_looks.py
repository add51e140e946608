"""Lines, dots and hatches that a framing chart and its legend share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from nightplan.model.star_catalog import Floats
from nightplan.report.looks.style import TRAIN_LINES

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


def neighbour_look(kind: str) -> dict[str, Any]:
    """Line of a neighbour by its kind: galaxies whole, clusters dotted, dust and dark clouds in
    long dashes, other nebulae in short ones."""
    if kind.startswith("galaxy"):
        return {"lw": 0.7, "ls": "-"}
    if "cluster" in kind:
        return {"lw": 0.9, "ls": (0, (1, 1.6))}
    return {"lw": 0.7, "ls": (0, (7, 3)) if kind == "dark_nebula" else (0, (3, 2))}


def guide_hatch(past_meridian: bool) -> str:
    """Hatch of a patch that is unlikely to hold a star."""
    return "\\\\\\\\" if past_meridian else "////"
