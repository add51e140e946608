"""Searches orders of runs by annealing, compiled; all chance from integers of its own.

Moves grow and shrink runs, trade subs between them, swap, shift, split, join, drop and put in
runs, change their filter, move all runs of one target, and put in a whole target or all panels.
Effort is a count of orders valued, never a clock.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, IntArray
from nightplan.planning.schedule.solving.compiled import compiled, inner
from nightplan.planning.schedule.solving.placing import MOST_RUNS, Placed, cut_value, place
from nightplan.planning.schedule.solving.tables import Tables

Order = tuple[IntArray, IntArray, FloatArray]
"""Lanes, counts and waits (seconds) of runs, arrays (run,)."""

WAIT_S = 60.0
LOG_STEPS = 1024
"""Steps of the table of -log of a chance; rounded, so that no machine's logarithm matters."""
CHANCES = np.round(-np.log((np.arange(LOG_STEPS) + 0.5) / LOG_STEPS), 6)
MOVES = 15
COOLINGS = 64
LOWEST = -1e17


@inner
def _below(state: Any, limit: int) -> int:
    """A number from 0 to limit - 1: xorshift64* (Vigna 2016, from memory), high bits."""
    x = state[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    state[0] = x
    high = (x * np.uint64(2685821657736338717)) >> np.uint64(33)
    below: int = np.int64(high % np.uint64(limit))  # type: ignore[assignment]
    return below


@inner
def _insert(lanes: Any, counts: Any, waits: Any, n: int, at: int, lane: int, count: int) -> int:
    if n >= MOST_RUNS - 1:
        return n
    for k in range(n, at, -1):
        lanes[k], counts[k], waits[k] = lanes[k - 1], counts[k - 1], waits[k - 1]
    lanes[at], counts[at], waits[at] = lane, count, 0.0
    return n + 1


@inner
def _remove(lanes: Any, counts: Any, waits: Any, n: int, at: int) -> int:
    for k in range(at, n - 1):
        lanes[k], counts[k], waits[k] = lanes[k + 1], counts[k + 1], waits[k + 1]
    return n - 1


@inner
def _trade(t: Any, state: Any, lanes: Any, counts: Any, n: int, i: int, j: int) -> None:
    """Trade subs between two runs, next to each other as often as not."""
    if _below(state, 2) == 0:
        j = min(n - 1, i + 1)
    share = 1 + _below(state, 4)
    if i != j:
        counts[i] += share
        counts[j] -= np.int64(share * t.sub[lanes[i]] / t.sub[lanes[j]])


@inner
def _shift(lanes: Any, counts: Any, waits: Any, n: int, at: int, to: int) -> None:
    """Move one run to another place of the order."""
    lane, count, wait = lanes[at], counts[at], waits[at]
    n = _remove(lanes, counts, waits, n, at)
    _insert(lanes, counts, waits, n, to, lane, count)
    waits[to] = wait


@inner
def _turn_about(lanes: Any, counts: Any, waits: Any, first: int, last: int) -> None:
    """Reverse a stretch of the order."""
    while first < last:
        lanes[first], lanes[last] = lanes[last], lanes[first]
        counts[first], counts[last] = counts[last], counts[first]
        waits[first], waits[last] = waits[last], waits[first]
        first, last = first + 1, last - 1


@inner
def _move_target(t: Any, state: Any, lanes: Any, counts: Any, waits: Any, n: int, i: int) -> None:
    """Move the neighbouring runs of one target, or turn their order about."""
    first, last = i, i
    target = t.target[lanes[i]]
    while first > 0 and t.target[lanes[first - 1]] == target:
        first -= 1
    while last < n - 1 and t.target[lanes[last + 1]] == target:
        last += 1
    size = last - first + 1
    if _below(state, 3) == 0 or size == n:
        for k in range(size - 1):
            _shift(lanes, counts, waits, n, last, first + k)
        return
    to = _below(state, n - size + 1)
    while first < to:
        _shift(lanes, counts, waits, n, first + size, first)
        first += 1
    while first > to:
        _shift(lanes, counts, waits, n, first - 1, first + size - 1)
        first -= 1


@inner
def _put_in_target(
    t: Any, least: Any, likely: Any, state: Any, lanes: Any, counts: Any, waits: Any, n: int,
    lane: int,
) -> int:  # fmt: skip
    """Put in a whole target, or one kind of sub of all of its panels."""
    at = _below(state, n + 1)
    panels = _below(state, 2) == 1
    seen = -1
    for k in range(likely.size):
        other = likely[k]
        if t.target[other] != t.target[lane] or t.task[other] == seen:
            continue
        alike = t.pointing[other] != t.pointing[lane] and t.kind[other] == t.kind[lane]
        if panels and other != lane and not alike:
            continue
        n = _insert(lanes, counts, waits, n, at, other, least[other])
        at = min(at + 1, n)
        seen = t.task[other]
    return n


@inner
def _split(
    state: Any, lanes: Any, counts: Any, waits: Any, n: int, i: int, j: int, lane: int, count: int
) -> int:
    """Split a run around another one, taken from elsewhere in the order or new."""
    many = counts[i]
    first = 1 + _below(state, max(1, many))
    if _below(state, 2) == 0 or i == j:
        n = _insert(lanes, counts, waits, n, i + 1, lane, count)
    else:
        moved, subs = lanes[j], counts[j]
        n = _remove(lanes, counts, waits, n, j)
        if j < i:
            i -= 1
        n = _insert(lanes, counts, waits, n, i + 1, moved, subs)
    counts[i] = first
    return _insert(lanes, counts, waits, n, min(n, i + 2), lanes[i], max(1, many - first))


@inner
def _propose(
    t: Any, least: Any, likely: Any, state: Any, lanes: Any, counts: Any, waits: Any, n: int
) -> int:
    """Change an order in place; returns its new length."""
    lane = likely[_below(state, likely.size)]
    count = least[lane] + _below(state, max(1, least[lane]))
    if n == 0:
        return _insert(lanes, counts, waits, n, 0, lane, count)
    move = _below(state, MOVES)
    i = _below(state, n)
    j = _below(state, n)
    if move == 0:
        counts[i] += 1 + _below(state, 3)
    elif move == 1:
        counts[i] -= 1 + _below(state, 3)
    elif move == 2:
        _trade(t, state, lanes, counts, n, i, j)
    elif move == 3:
        if _below(state, 2) == 0:
            j = min(n - 1, i + 1)
        lanes[i], lanes[j] = lanes[j], lanes[i]
        counts[i], counts[j] = counts[j], counts[i]
    elif move == 4:
        _shift(lanes, counts, waits, n, i, j)
    elif move == 5:
        n = _split(state, lanes, counts, waits, n, i, j, lane, count)
    elif move < 8:
        n = _insert(lanes, counts, waits, n, _below(state, n + 1), lane, count)
        if move == 7:
            # In place of some of another run, so that what follows stays where it is.
            counts[_below(state, n)] -= count
    elif move == 8:
        n = _remove(lanes, counts, waits, n, i)
    elif move == 9:
        lanes[i] = lane
    elif move == 10:
        # Join two runs of one task.
        if i != j and t.task[lanes[i]] == t.task[lanes[j]]:
            counts[i] += counts[j]
            n = _remove(lanes, counts, waits, n, j)
    elif move == 11:
        _move_target(t, state, lanes, counts, waits, n, i)
    elif move == 12:
        n = _put_in_target(t, least, likely, state, lanes, counts, waits, n, lane)
    elif move == 13:
        _turn_about(lanes, counts, waits, min(i, j), max(i, j))
    elif waits[i] > 0.0 or _below(state, 3) == 0:
        waits[i] = 0.0
    else:
        waits[i] = WAIT_S * (1 + _below(state, 40))
    return n


@inner
def _copy(old: Any, new: Any, n: int) -> None:
    """Copy an order: lanes, counts and waits of `n` runs."""
    for k in range(n):
        new[0][k], new[1][k], new[2][k] = old[0][k], old[1][k], old[2][k]


@inner
def _accept(t: Any, p: Any, trial: Any, order: Any) -> int:
    """Make the order what was placed of a trial; neighbours of one lane are joined,
    unless only a pause between them makes them short enough."""
    size = 0
    for r in range(p.number[0]):
        wish = p.wish[r]
        joined = r > 0 and p.lane[r] == p.lane[r - 1]
        if joined and order[1][size - 1] + p.subs[r] > t.most[p.lane[r]]:
            joined = False
        if joined and trial[0][wish] == order[0][size - 1] and trial[2][wish] == 0.0:
            order[1][size - 1] += p.subs[r]
            continue
        order[0][size], order[1][size] = trial[0][wish], p.subs[r]
        order[2][size] = trial[2][wish]
        size += 1
    return size


@inner
def _score(t: Any, p: Any, order: Any, n: int, floor: float) -> float:
    """The objective; or above a floor (finite) the worth of nights that end early."""
    value = place(t, p, order[0], order[1], order[2], n)
    if floor > LOWEST:
        return cut_value(t, p) + min(0.0, 1e3 * (value - floor))
    return value


@compiled
def anneal(
    t: Any,
    p: Any,
    least: Any,
    likely: Any,
    chances: Any,
    order: Any,
    trial: Any,
    best: Any,
    size: int,
    tries: int,
    hot: float,
    cooling: float,
    seed: int,
    floor: float,
) -> tuple[float, int]:
    """Improve an order.

    Parameters
    ----------
    t, p : Tables and Placed
    least : (lane,)
        Subs of a shortest run.
    likely : (lane,)
        Lanes worth putting in.
    order, trial, best : Order
        The order, of which `size` runs count, and room for two more; `best` gets the best found.
    tries : int
        Orders valued.
    hot, cooling : float
        Temperature at first, in value, and its factor at each of `COOLINGS` steps.
    floor : float
        Above `LOWEST` the worth of a night that clouds end early is made largest, the objective
        staying above this.

    Returns
    -------
    score : float
        The objective, or the worth of early ends.
    size : int
    """  # fmt: skip
    state = np.zeros(1, dtype=np.uint64)
    state[0] = np.uint64(seed) * np.uint64(2654435769) + np.uint64(88172645463325252)
    score, top, top_size = 10.0 * LOWEST, 10.0 * LOWEST, 0
    heat, step = hot, max(1, tries // COOLINGS)
    for k in range(tries + 1):
        if k % step == step - 1:
            heat *= cooling
        _copy(order, trial, size)
        n, moves = size, 0
        if k > 0:
            moves = 1 + (_below(state, 4) == 0)
        for _ in range(moves):
            n = _propose(t, least, likely, state, trial[0], trial[1], trial[2], n)
        found = _score(t, p, trial, n, floor)
        if found >= score - heat * chances[_below(state, chances.size)]:
            score, size = found, _accept(t, p, trial, order)
            if score > top:
                top, top_size = score, size
                _copy(order, best, size)
    return top, top_size


def empty_order() -> Order:
    """An order of no runs, with room for the most that one may have."""
    whole = np.zeros(MOST_RUNS, dtype=np.int64)
    return whole, whole.copy(), np.zeros(MOST_RUNS)


def copied(order: Order) -> Order:
    """An order that may be changed apart from this one."""
    return order[0].copy(), order[1].copy(), order[2].copy()


def carry_out(tables: Tables, placed: Placed, order: Order, size: int) -> float:
    """Objective of an order as it stands; `placed` then holds its runs."""
    none = np.zeros(1, dtype=np.int64)
    value, _ = anneal(
        tables, placed, none, none, CHANCES, copied(order), empty_order(), empty_order(), size,
        0, 1.0, 1.0, 1, LOWEST,
    )  # fmt: skip
    return float(value)
