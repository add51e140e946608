"""Places an order of runs under the rules and values it: the one exact evaluator, compiled.

A run wishes for some subs of a lane after some wait. It begins as early as rules and limits
allow, on the other side of the pier where its own has no time left, and is cut to what fits;
without room for a shortest block it is left out. Focus runs that the clock asks for part it into
blocks.
"""

from __future__ import annotations

import math
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
    there are, `cost` what changes to each run cost. `hours` (row,) are what all brings;
    `cut_hours` those that are there when clouds end the night at one of `cut_s`: a quarter, half,
    three quarters. Of the run tried last `earned` (feed,) has the hours, and `trial` its last focus
    run's end and the number of blocks with it.
    """

    lane: IntArray
    subs: IntArray
    wish: IntArray
    free_s: FloatArray
    start_s: FloatArray
    end_s: FloatArray
    focus: IntArray
    cost: FloatArray
    block_run: IntArray
    block_start_s: FloatArray
    block_count: IntArray
    number: IntArray
    hours: FloatArray
    cut_hours: FloatArray
    cut_s: FloatArray
    paid: IntArray
    earned: FloatArray
    trial: FloatArray


def room_for(tables: Tables) -> Placed:
    """Empty room for placed orders of a problem."""
    rows, targets = tables.at_h.shape[0], tables.angle_cost.size
    start, end = tables.scalar[START], tables.scalar[END]
    lane, subs, wish, focus = np.zeros((4, MOST_RUNS), dtype=np.int64)
    free_s, start_s, end_s, cost = np.zeros((4, MOST_RUNS))
    block_run, block_count = np.zeros((2, MOST_BLOCKS), dtype=np.int64)
    return Placed(
        lane, subs, wish, free_s, start_s, end_s, focus, cost,
        block_run, np.zeros(MOST_BLOCKS), block_count,
        number=np.zeros(2, dtype=np.int64),
        hours=np.zeros(rows),
        cut_hours=np.zeros(rows),
        cut_s=start + (end - start) * np.arange(1, CUTS + 1) / (CUTS + 1),
        paid=np.zeros(targets, dtype=np.int64),
        earned=np.zeros(tables.row.shape[1]),
        trial=np.zeros(2),
    )  # fmt: skip


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
def _earned(
    gain: Any, offset: Any, line: int, lane: int, x: float, subs: int, rate: float
) -> float:
    """Hours of a block that begins at step `x` of a line of `gain`, of `rate` steps a second."""
    total = 0.0
    for n in range(subs):
        at = x + offset[lane, n] * rate
        i = int(at)
        total += gain[line, i] + (at - i) * (gain[line, i + 1] - gain[line, i])
    return total


@inner
def _fill(t: Any, p: Any, lane: int, wish: int, begin: float, high: float, focus_s: float) -> int:
    """Take as many subs of a run as fit from `begin` on; its blocks are put down beyond those
    that hold, its hours in `p.earned`. Returns how many, 0 where they make no shortest block."""
    sub, offset, start, rate = t.sub[lane], t.offset, t.scalar[START], 1.0 / t.scalar[WORTH_STEP]
    every, download, credit = t.scalar[EVERY] + EPS_S, t.scalar[DOWNLOAD], 0.0
    number, first = p.number[0], p.number[1]
    if number == 0 and lane == int(t.scalar[BEGUN_LANE]) and begin <= start + EPS_S:
        credit = t.scalar[BEGUN]
    high = min(high, begin - credit + t.scalar[LONGEST]) + EPS_S - sub - download
    block, piece, got = first, begin, 0
    fresh, held, end = focus_s, focus_s, begin
    wish = min(wish, t.most[lane])
    while got < wish and block < MOST_BLOCKS:
        inside, at = 0, piece
        while at <= high and (at + sub <= fresh + every or fresh >= at - EPS_S):
            inside += 1
            if got + inside == wish:
                break
            at = piece + offset[lane, inside]
        if inside == 0:
            break
        p.block_run[block], p.block_start_s[block] = number, piece
        p.block_count[block] = inside
        # A focus run counts once a sub follows it.
        end, held = piece + offset[lane, inside - 1] + sub + download, fresh
        got += inside
        block += 1
        piece = end + t.scalar[FOCUS]
        fresh = piece
    if got == 0 or end - begin + credit < t.shortest[lane] - EPS_S:
        return 0
    for f in range(t.feeds[lane]):
        p.earned[f] = 0.0
        for k in range(first, block):
            x = (p.block_start_s[k] - start) * rate
            line = t.feed[lane, f]
            p.earned[f] += _earned(t.gain, offset, line, lane, x, p.block_count[k], rate)
    p.start_s[number], p.end_s[number] = begin, end
    p.trial[FRESH], p.trial[LAST_BLOCK] = held, block
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
        p.hours[row] += p.earned[f]
    cost = t.cost[before, lane]
    if t.new_angle[lane] > 0.0 and p.paid[t.target[lane]] == 0:
        p.paid[t.target[lane]] = 1
        cost += t.new_angle[lane]
    p.cost[number] = cost
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
    """Mean worth of what was placed if clouds end the night at each of the cuts.

    A row counts as the geometric mean of what it is worth by then and by the end of the night: a
    beginning in each of the filters can be used, and half of two cannot. At the end of the night
    it is the value itself.
    """
    total, start, rate = 0.0, t.scalar[START], 1.0 / t.scalar[WORTH_STEP]
    for c in range(CUTS):
        cut, hours = p.cut_s[c], p.cut_hours
        for row in range(hours.size):
            hours[row] = 0.0
        for k in range(p.number[1]):
            run = p.block_run[k]
            lane, at, subs = p.lane[run], p.block_start_s[k], p.block_count[k]
            if at == p.start_s[run] and at + t.sub[lane] <= cut:
                total -= p.cost[run]
            while subs > 0 and at + t.offset[lane, subs - 1] + t.sub[lane] > cut:
                subs -= 1
            for f in range(t.feeds[lane]):
                line, x = t.feed[lane, f], (at - start) * rate
                hours[t.row[lane, f]] += _earned(t.gain, t.offset, line, lane, x, subs, rate)
        for row in range(hours.size):
            if hours[row] > 0.0:
                whole = curve_value(t.at_h, t.value, row, p.hours[row])
                total += math.sqrt(curve_value(t.at_h, t.value, row, hours[row]) * whole)
    return float(total / CUTS + t.scalar[HAD])
