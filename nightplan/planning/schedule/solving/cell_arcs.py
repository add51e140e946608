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


@dataclass(frozen=True, eq=False)
class Reach:
    """Which runs coarser cells have left, for finer cells.

    `alone` holds for each lane that is left an array (first border + 1, last border + 1), the
    number of runs with both borders below these, those that are part of a pair among them;
    `across` likewise for pairs of runs across a flip, by the lane that they begin on.
    """

    borders_s: FloatArray
    alone: dict[int, IntArray]
    across: dict[int, IntArray]

    def runs(self, lane: int, borders_s: FloatArray) -> BoolArray:
        """For each pair of finer borders whether a run between them may be among those left."""
        return self._near(self.alone[lane], borders_s)

    def pairs(self, lane: int, borders_s: FloatArray) -> BoolArray:
        """Likewise of runs that go on across a flip."""
        if lane not in self.across:
            return np.zeros((borders_s.size, borders_s.size), dtype=bool)
        return self._near(self.across[lane], borders_s)

    def _near(self, left: IntArray, borders_s: FloatArray) -> BoolArray:
        # A run begins within a cell of the border that stands for it, finer or coarser; and ends.
        before = np.concatenate([borders_s[:1], borders_s[:-1]])
        after = np.concatenate([borders_s[1:], borders_s[-1:]])
        last = self.borders_s.size - 1
        low = np.maximum(np.searchsorted(self.borders_s, before, side="right") - 1, 0)
        high = np.minimum(np.searchsorted(self.borders_s, after, side="left"), last) + 1
        some = left[np.ix_(high, high)] - left[np.ix_(low, high)]
        some += left[np.ix_(low, low)] - left[np.ix_(high, low)]
        result: BoolArray = some > 0
        return result


def reach_of(borders_s: FloatArray, parts: list[Arcs], names: IntArray) -> Reach:
    """What runs from border to border are left among `parts`; `names` (lane,) are the lanes'."""
    size = borders_s.size
    border = np.arange(size)
    alone = {int(name): np.zeros((size + 1, size + 1), dtype=bool) for name in names}
    across: dict[int, BoolArray] = {}
    arcs = joined(parts)
    for lane, name in enumerate(names.tolist()):
        mine = arcs.only(arcs.lane == lane)
        single = mine.only(mine.end_lane == lane)
        alone[name][single.first + 1, single.last + 1] = True
        pairs = mine.only(mine.end_lane != lane)
        if pairs.lane.size == 0:
            continue
        across[name] = np.zeros((size + 1, size + 1), dtype=bool)
        across[name][pairs.first + 1, pairs.last + 1] = True
        # They may flip at any border between.
        latest, earliest = np.full(size, -1), np.full(size, size)
        np.maximum.at(latest, pairs.first, pairs.last)
        np.minimum.at(earliest, pairs.last, pairs.first)
        alone[name][1:, 1:] |= border[None, :] <= latest[:, None]
        alone[int(names[pairs.end_lane[0]])][1:, 1:] |= border[:, None] >= earliest[None, :]
    return Reach(
        borders_s,
        *(
            {
                name: left.cumsum(axis=0, dtype=np.int32).cumsum(axis=1, dtype=np.int32)
                for name, left in group.items()
            }
            for group in (alone, across)
        ),
    )
