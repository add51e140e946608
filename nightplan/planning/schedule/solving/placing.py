"""Places an order of runs under the rules and values it: the one exact evaluator, compiled.

A run wishes for some subs of a lane after some wait. It begins as early as rules and limits
allow, on the other side of the pier where its own has no time left, and is cut to what fits;
without room for a shortest block it is left out. Focus runs that the clock asks for part it into
blocks.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, IntArray
from nightplan.planning.schedule.solving.compiled import inner
from nightplan.planning.schedule.solving.tables import SCALARS, Tables

MOST_RUNS = 96
MOST_BLOCKS = 256
EPS_S = 1e-6
CUTS = 3
FRESH, LAST_BLOCK = 0, 1
START, END, LAST_FOCUS, FOCUS, EVERY, DOWNLOAD, PAUSE = range(7)
LONGEST, FLATS_END, FLATS_DUE, BEGUN_LANE, BEGUN, WORTH_STEP, HAD = range(7, 14)
assert len(SCALARS) == HAD + 1


class Placed(NamedTuple):
    """Room for one placed order, filled by `place`.

    `lane, subs, wish, free_s, start_s, end_s, focus` by run: `wish` is its number in the order,
    `free_s` when the rig was free for it, `focus` 1 where the clock asks for a focus run before
    it. `block_run, block_start_s, block_count` by block. `number` holds how many runs and blocks
    there are. `hours` (row,) and `cut_hours` (cut, row) are what all brings, and what is there
    when clouds end the night at a quarter, half and three quarters. Of the run tried last
    `earned` (feed, cut) has the hours by each cut and in all, and `trial` its last focus run's
    end and the number of blocks with it.
    """

    lane: IntArray
    subs: IntArray
    wish: IntArray
    free_s: FloatArray
    start_s: FloatArray
    end_s: FloatArray
    focus: IntArray
    block_run: IntArray
    block_start_s: FloatArray
    block_count: IntArray
    number: IntArray
    hours: FloatArray
    cut_hours: FloatArray
    cut_cost: FloatArray
    cut_s: FloatArray
    paid: IntArray
    earned: FloatArray
    trial: FloatArray


def room_for(tables: Tables) -> Placed:
    """Empty room for placed orders of a problem."""
    rows, targets = tables.at_h.shape[0], tables.angle_cost.size
    start, end = tables.scalar[START], tables.scalar[END]
    lane, subs, wish, focus = np.zeros((4, MOST_RUNS), dtype=np.int64)
    free_s, start_s, end_s = np.zeros((3, MOST_RUNS))
    block_run, block_count = np.zeros((2, MOST_BLOCKS), dtype=np.int64)
    return Placed(
        lane, subs, wish, free_s, start_s, end_s, focus,
        block_run, np.zeros(MOST_BLOCKS), block_count,
        number=np.zeros(2, dtype=np.int64),
        hours=np.zeros(rows),
        cut_hours=np.zeros((CUTS, rows)),
        cut_cost=np.zeros(CUTS),
        cut_s=start + (end - start) * np.arange(1, CUTS + 1) / (CUTS + 1),
        paid=np.zeros(targets, dtype=np.int64),
        earned=np.zeros((tables.row.shape[1], CUTS + 1)),
        trial=np.zeros(2),
    )  # fmt: skip


@inner
def _until(worth: Any, line: int, x: float) -> float:
    """Integral of a line of worth at a time, in steps."""
    i = int(x)
    if i < 0:
        return 0.0
    last = worth.shape[1] - 1
    if i >= last:
        return float(worth[line, last])
    return float(worth[line, i] + (x - i) * (worth[line, i + 1] - worth[line, i]))


@inner
def _bits(mask: int) -> int:
    count = 0
    while mask:
        mask &= mask - 1
        count += 1
    return count


@inner
def curve_value(at_h: Any, value: Any, row: int, hours: float) -> float:
    """A row's value curve at hours beyond what is had."""
    last = at_h.shape[1] - 1
    for k in range(last):
        if hours <= at_h[row, k + 1]:
            width = at_h[row, k + 1] - at_h[row, k]
            if width <= 0.0:
                return float(value[row, k])
            share = (hours - at_h[row, k]) / width
            return float(value[row, k] + share * (value[row, k + 1] - value[row, k]))
    return float(value[row, last])


@inner
def _fill(t: Any, p: Any, lane: int, wish: int, begin: float, high: float, focus_s: float) -> int:
    """Take as many subs of a run as fit from `begin` on; its blocks are put down beyond those
    that hold, its hours in `p.earned`. Returns how many, 0 where they make no shortest block."""
    sub, feeds = t.sub[lane], t.feeds[lane]
    download, step, start = t.scalar[DOWNLOAD], t.scalar[WORTH_STEP], t.scalar[START]
    credit = 0.0
    if p.number[0] == 0 and lane == int(t.scalar[BEGUN_LANE]) and begin <= start + EPS_S:
        credit = t.scalar[BEGUN]
    high = min(high, begin - credit + t.scalar[LONGEST]) + EPS_S
    block, piece, inside, got = p.number[1], begin, 0, 0
    fresh, held, end = focus_s, focus_s, begin
    for f in range(feeds):
        for c in range(CUTS + 1):
            p.earned[f, c] = 0.0
    wish = min(wish, t.most[lane])
    while got < wish:
        at = piece + t.offset[lane, inside]
        if at + sub > fresh + t.scalar[EVERY] + EPS_S and fresh < at - EPS_S:
            piece = end + t.scalar[FOCUS]
            fresh, inside, at = piece, 0, piece
        if at + sub + download > high:
            break
        if inside == 0 and got > 0:
            block += 1
        if block >= MOST_BLOCKS:
            break
        if inside == 0:
            p.block_run[block] = p.number[0]
            p.block_start_s[block] = piece
        got += 1
        inside += 1
        p.block_count[block] = inside
        # A focus run counts once a sub follows it.
        end, held = at + sub + download, fresh
        x = (at - start) / step
        for f in range(feeds):
            line = t.feed[lane, f]
            earned = _until(t.worth, line, x + sub / step) - _until(t.worth, line, x)
            p.earned[f, CUTS] += earned
            for c in range(CUTS):
                if at + sub <= p.cut_s[c]:
                    p.earned[f, c] += earned
    if got == 0 or end - begin + credit < t.shortest[lane] - EPS_S:
        return 0
    p.start_s[p.number[0]] = begin
    p.end_s[p.number[0]] = end
    p.trial[FRESH] = held
    p.trial[LAST_BLOCK] = block + 1
    return got


@inner
def _try_lane(
    t: Any, p: Any, before: int, lane: int, wish: int, wait: float, free: float, focused: float,
    flats: int,
) -> int:  # fmt: skip
    """Place a run of a lane as early as may be; returns its subs, 0 where there is no room."""
    lead = t.lead[before, lane] + max(0, _bits(flats) - 1) * t.flats_more[before, lane]
    due_after = t.flats_bit[lane]
    if t.flats_more[before, lane] == 0.0:
        due_after |= flats
    limit = t.scalar[END] - t.scalar[FLATS_END] * _bits(due_after)
    far = t.side[lane] == 1
    for refocus in range(2):
        clock = refocus * t.scalar[FOCUS]
        begin = free + lead + clock + wait
        if far and t.cross[before, lane] >= 0.0:
            begin = max(begin, t.transit[lane] + t.cross[before, lane] + clock)
        due = False
        for k in range(t.low.shape[1]):
            at = max(begin, t.low[lane, k])
            high = min(t.high[lane, k], limit)
            if at + t.sub[lane] > high:
                continue
            if not far and t.anew[before, lane] and at >= t.transit[lane]:
                break
            fresh = focused
            if refocus or t.focuses[before, lane]:
                fresh = at
            elif at + t.sub[lane] > focused + t.scalar[EVERY] + EPS_S and focused < at - EPS_S:
                due = True
                break
            got = _fill(t, p, lane, wish, at, high, fresh)
            if got > 0:
                p.focus[p.number[0]] = refocus
                return got
        if not due:
            break
    return 0


@inner
def _commit(t: Any, p: Any, before: int, lane: int, wish: int, got: int, free: float) -> float:
    """Count a run that was placed; returns what its changes cost."""
    number = p.number[0]
    p.lane[number], p.subs[number], p.wish[number], p.free_s[number] = lane, got, wish, free
    p.number[1] = int(p.trial[LAST_BLOCK])
    p.number[0] = number + 1
    for f in range(t.feeds[lane]):
        row = t.row[lane, f]
        p.hours[row] += p.earned[f, CUTS]
        for c in range(CUTS):
            p.cut_hours[c, row] += p.earned[f, c]
    cost = t.cost[before, lane]
    if t.new_angle[lane] > 0.0 and p.paid[t.target[lane]] == 0:
        p.paid[t.target[lane]] = 1
        cost += t.new_angle[lane]
    for c in range(CUTS):
        if p.start_s[number] + t.sub[lane] <= p.cut_s[c]:
            p.cut_cost[c] += cost
    return float(cost)


@inner
def place(t: Any, p: Any, lanes: Any, counts: Any, waits: Any, size: int) -> float:
    """Place an order of runs; returns the objective, all else is in `p`."""
    rows = t.at_h.shape[0]
    before, free, focused = t.sub.size, t.scalar[START], t.scalar[LAST_FOCUS]
    flats, total = int(t.scalar[FLATS_DUE]), t.scalar[HAD]
    p.number[0] = 0
    p.number[1] = 0
    for row in range(rows):
        p.hours[row] = 0.0
        for c in range(CUTS):
            p.cut_hours[c, row] = 0.0
    for c in range(CUTS):
        p.cut_cost[c] = 0.0
    for target in range(p.paid.size):
        p.paid[target] = 0
    for i in range(size):
        lane, got = lanes[i], 0
        if p.number[0] >= MOST_RUNS or counts[i] <= 0:
            continue
        while lane >= 0:
            if t.allowed[before, lane]:
                got = _try_lane(t, p, before, lane, counts[i], waits[i], free, focused, flats)
            if got > 0:
                break
            # Its own side has no time left: the other one.
            lane = t.sibling[lane] if t.side[lane] == 0 else -1
        if got > 0:
            total -= _commit(t, p, before, lane, i, got, free)
            if t.flats_more[before, lane] > 0.0:
                flats = 0
            flats |= t.flats_bit[lane]
            before, free, focused = lane, p.end_s[p.number[0] - 1], p.trial[FRESH]
    for row in range(rows):
        if p.hours[row] > 0.0:
            total += curve_value(t.at_h, t.value, row, p.hours[row])
    return float(total)


@inner
def cut_value(t: Any, p: Any) -> float:
    """Mean worth of what was placed if clouds end the night at each of the cuts."""
    total = 0.0
    for c in range(CUTS):
        total -= p.cut_cost[c]
        for row in range(t.at_h.shape[0]):
            if p.cut_hours[c, row] > 0.0:
                total += curve_value(t.at_h, t.value, row, p.cut_hours[c, row])
    return float(total / CUTS + t.scalar[HAD])
