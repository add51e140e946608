"""Never idle: work goes into idle stretches that hold a shortest block, whatever changes cost."""

from __future__ import annotations

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, IntArray, Problem
from nightplan.planning.schedule.solving.annealing import Order, carry_out
from nightplan.planning.schedule.solving.placing import END, MOST_RUNS, START, Placed
from nightplan.planning.schedule.solving.tables import Tables

MOST_FILLED = 24
IDLE_S = 900.0
"""Shorter stretches stay idle where work in them costs more than it brings: nobody changes the
target for one sub of two minutes."""


def filled(
    problem: Problem, tables: Tables, placed: Placed, least: IntArray, order: Order, size: int
) -> tuple[Order, int]:
    """The order with runs put into its idle stretches, dearest first, nothing else losing a sub.

    Costs of changes choose which runs, not whether; of a row whose curve has ended none is added.
    """
    for _ in range(MOST_FILLED):
        carry_out(tables, placed, order, size)
        gaps, counts = _gaps(problem, tables, placed), _counts(placed, size)
        starts = _starts(placed, size)
        tried = [
            found
            for at, length_s in gaps
            for lane in range(tables.sub.size)
            for found in [
                _with(tables, placed, least, (order, size), (at, lane, length_s), counts, starts)
            ]
            if found is not None
        ]
        if not tried:
            break
        _, order, size = max(tried, key=lambda found: found[0])
    return order, size


def _counts(placed: Placed, size: int) -> IntArray:
    """Subs that each wish of an order got."""
    counts = np.zeros(size, dtype=np.int64)
    runs = int(placed.number[0])
    counts[placed.wish[:runs]] = placed.subs[:runs]
    return counts


def _gaps(problem: Problem, tables: Tables, placed: Placed) -> list[tuple[int, float]]:
    """Idle stretches that hold a shortest block, as (place in the order, length)."""
    runs = int(placed.number[0])
    shortest = max(float(tables.shortest.min(initial=problem.shortest_block_s)), IDLE_S)
    found = []
    before = tables.sub.size
    free = float(tables.scalar[START])
    for run in range(runs):
        lane = int(placed.lane[run])
        idle = float(placed.start_s[run]) - free - float(tables.lead[before, lane])
        if idle >= shortest:
            found.append((int(placed.wish[run]), idle))
        before, free = lane, float(placed.end_s[run])
    if float(tables.scalar[END]) - free >= shortest:
        last = int(placed.wish[runs - 1]) + 1 if runs else 0
        found.append((last, float(tables.scalar[END]) - free))
    return found


def _with(
    tables: Tables,
    placed: Placed,
    least: IntArray,
    given: tuple[Order, int],
    where: tuple[int, int, float],
    counts: IntArray,
    starts: FloatArray,
) -> tuple[float, Order, int] | None:
    """An order with a run of a lane put in, as long as nothing else loses a sub by it.

    `where` is the place in the order, the lane and the length of the gap; `counts` and `starts`
    are those of the order without it.
    """
    (order, size), (at, lane, length_s) = given, where
    if size >= MOST_RUNS - 1:
        return None
    fewest, most = int(least[lane]), int(min(tables.most[lane], length_s // tables.sub[lane]))
    for subs in sorted({most, (3 * most) // 4, most // 2, fewest + 1, fewest}, reverse=True):
        if not fewest <= subs <= most:
            continue
        lanes, wish, waits = (np.insert(column, at, 0)[:MOST_RUNS] for column in order)
        lanes[at], wish[at] = lane, subs
        if at < size:
            # What follows starts when it did, wherever it can.
            waits[at + 1] = 0.0
            carry_out(tables, placed, (lanes, wish, waits), size + 1)
            waits[at + 1] = max(0.0, starts[at] - _starts(placed, size + 1)[at + 1])
        value = carry_out(tables, placed, (lanes, wish, waits), size + 1)
        got = _counts(placed, size + 1)
        if got[at] > 0 and (np.delete(got, at) >= counts).all() and _pays(tables, placed, lane):
            return float(value), (lanes, wish, waits), size + 1
    return None


def _pays(tables: Tables, placed: Placed, lane: int) -> bool:
    """Whether hours of one of the lane's rows still bring anything."""
    rows = tables.row[lane, : tables.feeds[lane]]
    hours = placed.hours[rows]
    return bool(((hours > 0.0) & (hours <= tables.at_h[rows, -1])).any())


def _starts(placed: Placed, size: int) -> FloatArray:
    """Start of each wish of an order; infinite where it got nothing."""
    starts = np.full(size, np.inf)
    runs = int(placed.number[0])
    starts[placed.wish[:runs]] = placed.start_s[:runs]
    return starts
