"""A filter that goes on across the meridian, as one arc: run, flip, run.

As two arcs the squares of their shares would be counted apart, and the bound would think that the
flip makes the filter's returns diminish less. The arc takes the best border for the flip; waiting
on either side of it is allowed, for it may spare a focus run in the bound's reckoning.
"""

from __future__ import annotations

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, IntArray
from nightplan.planning.schedule.solving.cell_arcs import Arcs, Reach, joined
from nightplan.planning.schedule.solving.placement import Placer


def flip_arcs(
    placer: Placer,
    borders_s: FloatArray,
    arcs: Arcs,
    lead_class: IntArray,
    lead_h: FloatArray,
    reach: Reach | None = None,
) -> Arcs:
    """One arc for each pair of runs of a task before and after its meridian.

    Parameters
    ----------
    arcs : Arcs
        Single runs; for the night's first, those that need no lead.
    lead_class, lead_h : arrays (from lane + FIRST, to lane) and (border, from, to)
        As in `Cells`.
    reach : Reach, optional
        What coarser cells have left.
    """
    found = []
    for lane, other in enumerate(placer.sibling):
        if other is None or placer.after[lane]:
            continue
        firsts = np.flatnonzero(arcs.lane == lane)
        seconds = np.flatnonzero(
            (arcs.lane == other) & (arcs.lead_class == lead_class[lane, other])
        )
        found.append((lane, other, firsts, seconds))
    parts = [
        _pairs(placer, borders_s, arcs, first, second, lane, other, lead_h[:, lane, other], reach)
        for lane, other, first, second in found
        if first.size and second.size
    ]
    return joined([part for group in parts for part in group])


def _pairs(
    placer: Placer,
    borders_s: FloatArray,
    arcs: Arcs,
    firsts: IntArray,
    seconds: IntArray,
    lane: int,
    other: int,
    lead_h: FloatArray,
    reach: Reach | None,
) -> list[Arcs]:
    count = borders_s.size
    within = None if reach is None else reach.pairs(lane, borders_s)
    # behind[m, b]: most hours of the second run to b if the flip begins at border m or later.
    ends, end_of = np.unique(arcs.last[seconds], return_inverse=True)
    behind = np.full((count + 1, ends.size), -np.inf)
    behind_blocks = np.full((count + 1, ends.size), np.inf)
    at = arcs.first[seconds]
    behind[at, end_of] = arcs.hours[seconds] - lead_h[at]
    behind_blocks[at, end_of] = arcs.blocks[seconds]
    behind = np.maximum.accumulate(behind[::-1], axis=0)[::-1]
    behind_blocks = np.minimum.accumulate(behind_blocks[::-1], axis=0)[::-1]
    # The flip cannot be over before the transit; later than the stop it gains nothing.
    lead_s = placer.lead_s[lane][other] + placer.focus_s
    stop = max(high for _, high in placer.spans[lane])
    low = int(np.searchsorted(borders_s, placer.transit_s[lane] - lead_s)) - 2
    high = int(np.searchsorted(borders_s, stop)) + 2
    middle = np.arange(max(0, low), min(count - 1, high) + 1)
    found = []
    for number in np.unique(arcs.lead_class[firsts]):
        mine = firsts[arcs.lead_class[firsts] == number]
        starts, start_of = np.unique(arcs.first[mine], return_inverse=True)
        ahead = np.full((starts.size, count), -np.inf)
        ahead_blocks = np.full((starts.size, count), np.inf)
        ahead[start_of, arcs.last[mine]] = arcs.hours[mine]
        ahead_blocks[start_of, arcs.last[mine]] = arcs.blocks[mine]
        ahead = np.maximum.accumulate(ahead, axis=1)
        ahead_blocks = np.minimum.accumulate(ahead_blocks, axis=1)
        best = np.full((starts.size, ends.size), -np.inf)
        via = np.zeros(best.shape, dtype=np.int32)
        blocks = np.full(best.shape, np.inf)
        for m in middle:
            hours = ahead[:, m, None] + behind[None, m]
            better = hours > best
            best[better] = hours[better]
            via[better] = m
            both = ahead_blocks[:, m, None] + behind_blocks[None, m]
            np.minimum(blocks, both, out=blocks)
        if within is not None:
            best[~within[np.ix_(starts, ends)]] = -np.inf
        start, end = np.nonzero(np.isfinite(best))
        size = start.size
        found.append(
            Arcs(
                lane=np.full(size, lane, np.int32),
                end_lane=np.full(size, other, np.int32),
                first=starts[start],
                via=via[start, end],
                last=ends[end],
                lead_class=np.full(size, number, np.int32),
                hours=best[start, end],
                blocks=blocks[start, end],
            )
        )
    return found
