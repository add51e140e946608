"""Runs between cell borders as columns of numbers."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from nightplan.planning.schedule.problem import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Arcs:
    """Runs from border to border as columns (arc,).

    `lane` is where the arc begins and `end_lane` where it ends; they differ for a task that goes
    on across its meridian, flipped about border `via`. `hours` is the most equivalent hours, the
    lead at its beginning not taken off; `blocks` the fewest blocks that focus runs part it into;
    `lead_class` the class of the lead at its beginning.
    """

    lane: IntArray
    end_lane: IntArray
    first: IntArray
    via: IntArray
    last: IntArray
    lead_class: IntArray
    hours: FloatArray
    blocks: FloatArray

    def only(self, which: BoolArray | IntArray) -> Arcs:
        """A part of the arcs, in the order of `which`."""
        return Arcs(*(getattr(self, column.name)[which] for column in fields(self)))


def joined(parts: list[Arcs]) -> Arcs:
    """Several sets of arcs as one, part after part."""
    whole: IntArray = np.zeros(0, dtype=np.int32)
    none = np.zeros(0)
    nothing = Arcs(whole, whole, whole, whole, whole, whole, none, none)
    return Arcs(
        *(
            np.concatenate([getattr(part, column.name) for part in [nothing, *parts]])
            for column in fields(Arcs)
        )
    )


def ordered(arcs: Arcs) -> Arcs:
    """Arcs in order of last border, then last lane."""
    lanes = int(arcs.end_lane.max(initial=0)) + 1
    return arcs.only(np.argsort(arcs.last * np.int32(lanes) + arcs.end_lane, kind="stable"))
