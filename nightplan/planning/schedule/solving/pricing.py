"""The best path through the night at given prices: a dynamic programme over whole subs, compiled.

Time is cut into equal cells. A real schedule maps to a path: each start and each end falls into
its cell, and lengths in cells are rounded down, so that a path is never later than the schedule;
a run's hours are the most that any start within its cell brings. So the best path is worth at
least as much as any schedule at these prices, and the bound made of it is true.

What a run earns is each of its goals' price per equivalent hour, and a bonus for each goal's row
that the run before did not feed; what it costs are changes, and the camera angle of a target that
has not paid for it yet, which a bit for each of some targets tells. How long the focus still holds
is kept in classes, rounded up.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, IntArray
from nightplan.planning.schedule.solving.compiled import compiled, inner
from nightplan.planning.schedule.solving.placing import (
    BEGUN,
    BEGUN_LANE,
    DOWNLOAD,
    END,
    EVERY,
    FLATS_END,
    FOCUS,
    LAST_FOCUS,
    START,
    WORTH_STEP,
)
from nightplan.planning.schedule.solving.tables import Tables

NEVER = -1e18
NARROW = 1.0 + 1e-6
"""Hours are kept in 32 bits and made larger by more than their rounding."""


class Cells(NamedTuple):
    """The night in cells of `step_s`.

    Attributes
    ----------
    step_s : float
    cells, classes : int
    early : int
        Cells by which a block that goes on in its run is let begin early: 1 where subs are shorter
        than a cell, for their length then counts as one.
    run_s, in_cells, left : (lane, subs)
        Length of a run that begins in focus, its focus runs included; in whole cells; and the
        class of focus left at its end.
    least : (lane,)
    until : (lane, class)
        Subs of a run that begins with so much focus left, before it focuses again.
    first, last : (lane,)
        Cells in which a run may begin.
    arcs : (lane, cell)
        Most subs of a run that begins there.
    lead, cross : (lane + 1, lane)
        Leads in whole cells, and the first cell that the meridian allows.
    after : (lane + 1, lane, class)
        Class of focus left after the lead; beyond those of a focus that is kept stand `classes`
        for one of any age, and `classes` + 1 for a focus run just over.
    keeps, late : bool (lane + 1, lane), (lane,)
        Whether a change from another lane keeps the focus, and whether any to the lane does.
    place : (lane, cell)
        Where the hours of its runs begin in `hours`.
    hours : float32 array (feed, number)
        Equivalent hours of 1, 2, … subs for each goal of the lane.
    """

    step_s: float
    cells: int
    classes: int
    early: int
    run_s: FloatArray
    in_cells: IntArray
    left: IntArray
    least: IntArray
    until: IntArray
    first: IntArray
    last: IntArray
    arcs: IntArray
    lead: IntArray
    cross: IntArray
    after: IntArray
    keeps: Any
    late: Any
    place: IntArray
    hours: Any


@inner
def _earned(t: Any, line: int, x: float, span: float) -> float:
    """Equivalent hours of a sub from time `x` on, both in steps of the table."""
    worth, last = t.worth, t.worth.shape[1] - 1
    total = 0.0
    for sign in (-1.0, 1.0):
        at = x if sign < 0.0 else x + span
        i = int(max(0.0, at))
        if i >= last:
            total += sign * worth[line, last]
        else:
            total += sign * (worth[line, i] + (at - i) * (worth[line, i + 1] - worth[line, i]))
    return float(total)


@inner
def _class(seconds: float, every: float, classes: int) -> int:
    """Class of a focus that still holds for so long: rounded up, never below the lowest."""
    return max(0, min(classes - 1, int(seconds * classes / every)))


@compiled
def _lengths(t: Any, step: float, classes: int, starts: Any, run_s: Any, in_cells: Any, left: Any,
             least: Any, until: Any) -> None:  # fmt: skip
    """Fill what `Cells` says of runs that begin in focus; `starts` are those of their subs."""
    every, download = t.scalar[EVERY], t.scalar[DOWNLOAD]
    for lane in range(t.sub.size):
        sub = t.sub[lane]
        piece, inside, fresh, end = 0.0, 0, 0.0, 0.0
        for n in range(t.most[lane]):
            at = piece + t.offset[lane, inside]
            if at + sub > fresh + every + 1e-6 and fresh < at - 1e-6:
                piece = end + t.scalar[FOCUS]
                fresh, inside, at = piece, 0, piece
            starts[lane, n] = at
            end = at + sub + download
            inside += 1
            run_s[lane, n] = end
            in_cells[lane, n] = max(1, int(end / step))
            left[lane, n] = _class(every - (end - fresh), every, classes)
            if least[lane] == 0 and end >= t.shortest[lane] - 1e-6:
                least[lane] = n + 1
        for f in range(classes):
            holds = every * (f + 1) / classes
            while until[lane, f] < t.most[lane]:
                if t.offset[lane, until[lane, f]] + sub > holds + 1e-6:
                    break
                until[lane, f] += 1


@compiled
def _arcs(t: Any, step: float, run_s: Any, arcs: Any, begin: Any, first: Any, last: Any) -> int:
    """Most subs of a run by lane and cell, and how many numbers their hours take in all."""
    total, start = 0, t.scalar[START]
    for lane in range(t.sub.size):
        first[lane], last[lane] = arcs.shape[1], -1
        end = t.scalar[END] - (t.scalar[FLATS_END] if t.flats_bit[lane] else 0.0)
        for g in range(arcs.shape[1]):
            many = 0
            for k in range(t.low.shape[1]):
                at = max(t.low[lane, k], start + g * step)
                high = min(t.high[lane, k], end)
                if at < start + (g + 1) * step:
                    while many < t.most[lane] and at + run_s[lane, many] <= high + 1e-6:
                        many += 1
            arcs[lane, g] = many
            begin[lane, g] = total
            total += many
            if many:
                first[lane] = min(first[lane], g)
                last[lane] = g
    return total


@compiled
def _hours(
    t: Any, step: float, starts: Any, run_s: Any, arcs: Any, begin: Any, hours: Any, place: int
) -> None:
    """Most equivalent hours of each run that begins in a cell, for one of its lane's goals."""
    start, grid = t.scalar[START], t.scalar[WORTH_STEP]
    width = starts.shape[1]
    early, late = np.zeros(width), np.zeros(width)
    for lane in range(t.sub.size):
        if place >= t.feeds[lane]:
            continue
        line, span = t.feed[lane, place], t.sub[lane] / grid
        # The table counts worth as constant between its nodes: an error for each end of a sub.
        table = 2.0 * t.bend[line] * grid * grid / 8.0 / 3600.0
        for g in range(arcs.shape[1]):
            many = arcs[lane, g]
            if many == 0:
                continue
            for k in range(t.low.shape[1]):
                at = max(t.low[lane, k], start + g * step)
                if at >= start + (g + 1) * step or at + run_s[lane, 0] > t.high[lane, k] + 1e-6:
                    continue
                total = 0.0
                for n in range(many):
                    total += _earned(t, line, (at + starts[lane, n] - start) / grid, span)
                    early[n] = total
                total, end = 0.0, start + (g + 1) * step
                for n in range(many):
                    total += _earned(t, line, (end + starts[lane, n] - start) / grid, span)
                    late[n] = total
                for n in range(many):
                    if at + run_s[lane, n] > t.high[lane, k] + 1e-6:
                        break
                    latest = min(end, t.high[lane, k] - run_s[lane, n])
                    other = late[n]
                    if latest < end:
                        other = 0.0
                        for m in range(n + 1):
                            x = (latest + starts[lane, m] - start) / grid
                            other += _earned(t, line, x, span)
                    room = max(0.0, latest - at)
                    slack = (n + 1) * (table + t.bend[line] * room * room / 4.0 / 3600.0)
                    most = (max(early[n], other) + slack) * NARROW
                    where = begin[lane, g] + n
                    hours[where] = max(hours[where], np.float32(most))


def _leads(tables: Tables, step_s: float, classes: int) -> tuple[IntArray, IntArray, IntArray]:
    """Leads and the meridian's waits in whole cells, and classes of focus left after a lead."""
    lead = np.floor(tables.lead / step_s).astype(np.int64)
    earliest = tables.transit + tables.cross - tables.scalar[START]
    crosses = (tables.side == 1) & (tables.cross >= 0.0)
    cross = np.zeros_like(lead)
    cross[crosses] = np.floor(np.maximum(0.0, earliest[crosses]) / step_s).astype(np.int64)
    every = tables.scalar[EVERY]
    holds = every * np.arange(1, classes + 1) / classes - tables.lead[:, :, None]
    after = np.clip(np.floor(np.clip(holds / every, 0.0, 1.0) * classes), 0, classes - 1)
    after[tables.focuses] = classes + 1
    # Few runs follow one of their own lane after a pause: how old their focus is is left open.
    lanes = np.arange(tables.sub.size)
    after[lanes, lanes] = classes
    return lead, cross, after.astype(np.int64)


def cells_of(tables: Tables, step_s: float, classes: int) -> Cells:
    """Cut the night into cells."""
    lanes, width = tables.offset.shape
    cycle_s = float((tables.sub + tables.scalar[DOWNLOAD]).min(initial=step_s))
    # A shortest run must not be shorter than a cell either.
    step_s = min(step_s, max(cycle_s, float(tables.shortest.min(initial=np.inf))))
    early = 1 if cycle_s < step_s else 0
    span = float(tables.scalar[END] - tables.scalar[START])
    cells = int(span // step_s) + 2
    starts, run_s = np.zeros((lanes, width)), np.zeros((lanes, width))
    in_cells = np.zeros((lanes, width), dtype=np.int64)
    left, until = np.zeros_like(in_cells), np.zeros((lanes, classes), dtype=np.int64)
    least = np.zeros(lanes, dtype=np.int64)
    _lengths(tables, step_s, classes, starts, run_s, in_cells, left, least, until)
    arcs, begin = (np.zeros((lanes, cells), dtype=np.int64) for _ in range(2))
    first, last = np.zeros(lanes, dtype=np.int64), np.zeros(lanes, dtype=np.int64)
    total = _arcs(tables, step_s, run_s, arcs, begin, first, last)
    hours = np.zeros((tables.row.shape[1], total), dtype=np.float32)
    for place in range(tables.row.shape[1]):
        _hours(tables, step_s, starts, run_s, arcs, begin, hours[place], place)
    leads = _leads(tables, step_s, classes)
    keeps = tables.allowed & ~tables.focuses
    keeps[np.arange(lanes), np.arange(lanes)] = False
    return Cells(
        step_s, cells, classes, early, run_s, in_cells, left, least, until, first, last, arcs,
        *leads, keeps, keeps[:lanes].any(axis=0), begin, hours,
    )  # fmt: skip


class Prices(NamedTuple):
    """What an equivalent hour earns, (lane, feed); what a change of lane earns for the rows that
    it takes up, (lane + 1, lane); by lane what the target's camera angle costs, and the target's
    bit (0: none), which says that it has paid."""

    hour: FloatArray
    bonus: FloatArray
    angle: FloatArray
    mask: IntArray


class Values(NamedTuple):
    """Most that may still be earned, arrays (cell, lane, class, bits): from the end of a run of
    the lane; from a run of it that begins no earlier; (cell, lane, bits) from a block that goes
    on in focus within a run. `run` (subs,) is scratch: what the runs of one cell earn; so is
    `alike` (bits,)."""

    ended: FloatArray
    begins: FloatArray
    goes_on: FloatArray
    run: FloatArray
    alike: FloatArray


def values_for(tables: Tables, cells: Cells, bits: int) -> Values:
    """Room for the values of a problem with so many bits."""
    lanes, states = tables.sub.size, 1 << bits
    ended = np.zeros((cells.cells + 1, lanes, cells.classes, states))
    begins = np.zeros((cells.cells + 1, lanes, cells.classes + 2, states))
    goes_on = np.zeros((cells.cells + 1, lanes, states))
    values = Values(ended, begins, goes_on, np.zeros(tables.offset.shape[1]), np.zeros(states))
    values.begins[-1] = NEVER
    return values


@inner
def _run_worth(t: Any, c: Any, q: Any, lane: int, number: int) -> float:
    """What a run earns at the prices of its goals."""
    worth = q.hour[lane, 0] * c.hours[0, number]
    for k in range(1, t.feeds[lane]):
        worth += q.hour[lane, k] * c.hours[k, number]
    return float(worth)


@inner
def _fill_partial(t: Any, c: Any, v: Any, g: int, lane: int, f: int) -> None:
    """Values of runs that begin in a cell with focus of class `f` left."""
    states, full = v.ended.shape[3], c.classes + 1
    every, focus = t.scalar[EVERY], int(t.scalar[FOCUS] / c.step_s)
    kept = min(f, c.classes - 1)
    holds = every * (kept + 1) / c.classes
    many, least = min(c.arcs[lane, g], c.until[lane, kept]), max(1, c.least[lane])
    # The class is rounded up: the real focus may run out sooner, after `soonest` subs.
    soonest = c.until[lane, f - 1] if 0 < f < c.classes else 0
    for n in range(many):
        worth = v.run[n]
        then, after = g + c.in_cells[lane, n], _class(holds - c.run_s[lane, n], every, c.classes)
        if n + 1 >= least:
            for b in range(states):
                found = worth + v.ended[then, lane, after, b]
                v.begins[g, lane, f, b] = max(v.begins[g, lane, f, b], found)
        then = g + int((c.run_s[lane, n] + t.scalar[FOCUS]) / c.step_s) - c.early
        if n + 1 >= soonest and c.arcs[lane, g] > n + 1 and then < c.cells:
            for b in range(states):
                found = worth + v.goes_on[then, lane, b]
                v.begins[g, lane, f, b] = max(v.begins[g, lane, f, b], found)
    if g + focus < c.cells:
        for b in range(states):
            found = v.begins[g + focus, lane, full, b]
            v.begins[g, lane, f, b] = max(v.begins[g, lane, f, b], found)


@inner
def _fill_runs(t: Any, c: Any, v: Any, q: Any, g: int) -> None:
    """Values of runs that begin in a cell or later."""
    full, states = c.classes + 1, v.ended.shape[3]
    ended, begins, goes_on = v.ended, v.begins, v.goes_on
    in_cells, left = c.in_cells, c.left
    for lane in range(t.sub.size):
        many = c.arcs[lane, g]
        for f in range(full + 1):
            for b in range(states):
                begins[g, lane, f, b] = begins[g + 1, lane, f, b]
        for b in range(states):
            goes_on[g, lane, b] = NEVER
        place = c.place[lane, g]
        least = c.least[lane] if c.least[lane] > 0 else many + 1
        for n in range(many):
            worth = _run_worth(t, c, q, lane, place + n)
            v.run[n] = worth
            then, f = g + in_cells[lane, n], left[lane, n]
            for b in range(states):
                found = worth + ended[then, lane, f, b]
                goes_on[g, lane, b] = max(goes_on[g, lane, b], found)
                if n + 1 >= least and found > begins[g, lane, full, b]:
                    begins[g, lane, full, b] = found
        for f in range(0 if c.late[lane] else c.classes, full):
            _fill_partial(t, c, v, g, lane, f)


@inner
def _fill_ends(t: Any, c: Any, v: Any, q: Any, g: int) -> None:
    """Values of ends of runs in a cell."""
    states = v.ended.shape[3]
    ended, begins, allowed, costs = v.ended, v.begins, t.allowed, t.cost
    leads, cross, after, last, alike = c.lead, c.cross, c.after, c.last, v.alike
    for before in range(t.sub.size):
        for f in range(c.classes):
            for b in range(states):
                ended[g, before, f, b] = 0.0
        for b in range(states):
            alike[b] = 0.0
        latest = last[before] + c.in_cells[before, t.most[before] - 1] + 1
        if last[before] < 0 or g <= c.first[before] or g > latest:
            continue
        for lane in range(t.sub.size):
            then = max(g + leads[before, lane], cross[before, lane])
            if not allowed[before, lane] or then > last[lane]:
                continue
            earned = q.bonus[before, lane] - costs[before, lane]
            mask, angle = q.mask[lane], q.angle[lane]
            # Where the change focuses, all classes fare alike: the first stands for them.
            many = c.classes if c.keeps[before, lane] else 1
            for f in range(many):
                focus = after[before, lane, f]
                for b in range(states):
                    found = earned + begins[then, lane, focus, b | mask]
                    if not b & mask:
                        found -= angle
                    if many == 1:
                        alike[b] = max(alike[b], found)
                    else:
                        ended[g, before, f, b] = max(ended[g, before, f, b], found)
        for f in range(c.classes):
            for b in range(states):
                ended[g, before, f, b] = max(ended[g, before, f, b], alike[b])


@inner
def _first_run(t: Any, c: Any, v: Any, q: Any, path: Any) -> float:
    """The most that the night may earn; `path` gets lane, cell, subs, whether a block in focus
    goes on, and class of focus of its first run; -1 subs where it begins in focus."""
    stand, full, every = t.sub.size, c.classes + 1, t.scalar[EVERY]
    focus, best = int(t.scalar[FOCUS] / c.step_s), 0.0
    path[0] = -1
    for lane in range(stand):
        begin = max(c.lead[stand, lane], c.cross[stand, lane])
        if not t.allowed[stand, lane] or begin > c.last[lane]:
            continue
        b = q.mask[lane]
        earned = q.bonus[stand, lane] - t.cost[stand, lane] - q.angle[lane]
        if t.focuses[stand, lane]:
            found = earned + v.begins[begin, lane, full, b]
            if found > best:
                best = found
                path[0], path[1], path[2], path[3], path[4] = lane, begin, -1, 0, full
            continue
        # A focus run first, be it while waiting.
        if begin + focus < c.cells and earned + v.begins[begin + focus, lane, full, b] > best:
            best = earned + v.begins[begin + focus, lane, full, b]
            path[0], path[1], path[2], path[3], path[4] = lane, begin + focus, -1, 0, full
        # In the focus of setting up, or of before now: it holds to the second.
        for g in range(max(begin, c.first[lane]), c.last[lane] + 1):
            holds = t.scalar[LAST_FOCUS] + every - t.scalar[START] - g * c.step_s
            least = c.least[lane]
            if lane == int(t.scalar[BEGUN_LANE]) and g == 0:
                least = 1
                while least < t.most[lane] and (
                    c.run_s[lane, least - 1] + t.scalar[BEGUN] < t.shortest[lane] - 1e-6
                ):
                    least += 1
            many, soonest = 0, 0
            while many < c.arcs[lane, g] and t.offset[lane, many] + t.sub[lane] <= holds + 1e-6:
                many += 1
                # A start late in the cell has a cell less of it left.
                if t.offset[lane, many - 1] + t.sub[lane] <= holds - c.step_s + 1e-6:
                    soonest = many
            for n in range(many):
                worth = earned + _run_worth(t, c, q, lane, c.place[lane, g] + n)
                f = _class(holds - c.run_s[lane, n], every, c.classes)
                found = worth + v.ended[g + c.in_cells[lane, n], lane, f, b]
                if n + 1 >= least > 0 and found > best:
                    best = found
                    path[0], path[1], path[2], path[3], path[4] = lane, g, n + 1, 0, f
                then = g + int((c.run_s[lane, n] + t.scalar[FOCUS]) / c.step_s) - c.early
                if n + 1 >= soonest and then < c.cells and worth + v.goes_on[then, lane, b] > best:
                    best = worth + v.goes_on[then, lane, b]
                    path[0], path[1], path[2], path[3], path[4] = lane, g, n + 1, 1, full
            if holds < t.sub[lane]:
                break
    return float(best)


@compiled
def price(t: Any, c: Any, v: Any, q: Any, path: Any) -> float:
    """The most that a schedule is worth at prices, less its change costs and the camera angles
    that bits tell; `path` gets the first run."""
    for g in range(c.cells - 1, -1, -1):
        _fill_runs(t, c, v, q, g)
        _fill_ends(t, c, v, q, g)
    return _first_run(t, c, v, q, path)
