"""Where to write a curve's name so that it covers no curve, no other name and no other words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]

GAPS = (6.0, 12.0, 24.0)
OWN_GAP = 5.0
ENOUGH = 30.0
TOO_NEAR = 2.0
MOST_POINTS = 36


def place_labels(
    curves: Sequence[Array],
    wanted: Sequence[NDArray[np.bool_]],
    sizes: Sequence[tuple[float, float]],
    frame: Box,
    written: Sequence[Box] = (),
    must: Sequence[bool] | None = None,
) -> list[tuple[float, float] | None]:
    """Centres (x, y) of labels in pixels, one a curve, each just above or below its curve.

    Greedy: the label with the fewest places to go comes first and takes the place with the most
    room around it; one that finds no free place, and is not one that `must` be there (by default
    all are), is left out: None. `curves` are arrays (point, 2) in pixels, `wanted` says at which
    points a label is better placed, `sizes` are (width, height); `frame` and what is `written`
    already are (left, bottom, right, top).
    """
    taken: list[Box] = list(written)
    places: list[tuple[float, float] | None] = [None] * len(curves)
    for i in sorted(range(len(curves)), key=lambda i: int(np.sum(wanted[i]))):
        width, height = sizes[i]
        # Above, below, and beside the point: a steep stretch only has room beside it.
        shifts = [(0.0, side * (0.5 * height + gap)) for gap in GAPS for side in (1.0, -1.0)]
        shifts += [
            (side * (0.5 * width + gap), lift * 0.5 * height)
            for gap in GAPS
            for side in (1.0, -1.0)
            for lift in (0.0, 1.0)
        ]
        every = max(1, len(curves[i]) // MOST_POINTS)
        points = curves[i][::every]
        centres = np.concatenate([points + np.array(shift) for shift in shifts])
        likes = np.tile(wanted[i][::every], len(shifts))
        higher = np.repeat([shift[1] > 0.0 for shift in shifts], len(points))
        half = np.array([0.5 * width, 0.5 * height])
        low, high = centres - half, centres + half
        inside = np.all(low >= frame[:2], axis=1) & np.all(high <= frame[2:], axis=1)
        room = np.full(len(centres), 60.0)
        for j, curve in enumerate(curves):
            reach = 60.0 if j != i else OWN_GAP
            room = np.minimum(room, _clearance(centres, half, curve, reach) * (60.0 / reach))
        for box in taken:
            gap_x = np.maximum(box[0] - high[:, 0], low[:, 0] - box[2])
            gap_y = np.maximum(box[1] - high[:, 1], low[:, 1] - box[3])
            room = np.minimum(room, np.maximum(gap_x, gap_y))
        score = np.minimum(room, ENOUGH) + 60.0 * likes + 6.0 * higher
        score -= 1000.0 * ~inside + 200.0 * (room < TOO_NEAR)
        best = int(np.argmax(score))
        if not (inside[best] and room[best] >= TOO_NEAR) and must is not None and not must[i]:
            continue
        places[i] = (float(centres[best, 0]), float(centres[best, 1]))
        taken.append((*low[best], *high[best]))
    return places


def _clearance(centres: Array, half: Array, curve: Array, most: float) -> Array:
    """Pixels from each label's box to a curve, the larger of across and up, 0 to `most`."""
    fine = _densify(curve)
    gap = np.abs(fine[None, :, 0] - centres[:, None, 0]) - half[0]
    np.maximum(gap, np.abs(fine[None, :, 1] - centres[:, None, 1]) - half[1], out=gap)
    nearest: Array = np.clip(gap.min(axis=1), 0.0, most)
    return nearest


def _densify(curve: Array, points: int = 160) -> Array:
    """The curve at points closer than a label is high."""
    along = np.linspace(0.0, len(curve) - 1.0, points)
    steps = np.arange(len(curve))
    return np.column_stack([np.interp(along, steps, curve[:, k]) for k in (0, 1)])
