"""Where to write names on a crowded chart: greedy, over the candidates that each name brings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from nightplan.arrays import Floats

Box = tuple[float, float, float, float]

_ON_LABEL = 60.0
_OUTSIDE = 400.0
_ON_MARK = 1.0


@dataclass(frozen=True)
class Wish:
    """A label's size and the centres it could have, best first; pixels.

    A label that would cover another one, or leave the frame, is left out unless `must` is set.
    """

    width: float
    height: float
    centres: Floats
    must: bool = False


def around(
    x: float, y: float, width: float, height: float, gap: float, reach: float = 0.0
) -> Floats:
    """Centres of a label beside, above, below and off the corners of a mark; shape (8, 2).

    `reach` is the mark's own half size.
    """
    out_x, out_y = reach + gap + width / 2.0, reach + gap + height / 2.0
    slant = 0.7071 * reach + gap
    corner_x, corner_y = slant + width / 2.0, slant + height / 2.0
    shifts = [
        (out_x, 0.0), (-out_x, 0.0), (0.0, out_y), (0.0, -out_y),
        (corner_x, corner_y), (-corner_x, corner_y), (corner_x, -corner_y), (-corner_x, -corner_y),
    ]  # fmt: skip
    return np.array([x, y]) + np.array(shifts)


def place(
    wishes: Sequence[Wish], frame: Box, marks: Floats, taken: Sequence[Box] = ()
) -> list[tuple[float, float] | None]:
    """Centre of each label, in the order of `wishes` (the most important first), or None for one
    that found no room.

    `frame` and the boxes `taken` already are (left, bottom, right, top) in pixels; `marks`, shape
    (n, 3), are points that a label should not cover: x, y, and how bad it is to cover one.
    """
    boxes = list(taken)
    found: list[tuple[float, float] | None] = []
    for wish in wishes:
        half = np.array([wish.width, wish.height]) / 2.0
        low, high = wish.centres - half, wish.centres + half
        cost = 0.02 * np.arange(len(wish.centres))
        cost = cost + _OUTSIDE * np.any((low < frame[:2]) | (high > frame[2:]), axis=1)
        covered = np.zeros(len(cost))
        for box in boxes:
            wide = np.minimum(high[:, 0], box[2]) - np.maximum(low[:, 0], box[0])
            tall = np.minimum(high[:, 1], box[3]) - np.maximum(low[:, 1], box[1])
            covered += (wide > 0.0) & (tall > 0.0)
        cost = cost + _ON_LABEL * covered
        if len(marks):
            inside = np.all(
                (marks[:, None, :2] > low - 1.0) & (marks[:, None, :2] < high + 1.0), axis=2
            )
            cost = cost + _ON_MARK * (inside * marks[:, None, 2]).sum(axis=0)
        best = int(np.argmin(cost))
        if cost[best] >= _ON_LABEL and not wish.must:
            found.append(None)
            continue
        x, y = wish.centres[best]
        found.append((float(x), float(y)))
        boxes.append((x - half[0], y - half[1], x + half[0], y + half[1]))
    return found
