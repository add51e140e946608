"""Another way to search a night, with rules and an evaluation of its own, compiled to be fast.

Nothing here comes from the solver but the problem's data; what lies between two runs is
`OwnNight.between`, and what is found is built by `OwnNight.carried_out` and judged by `check`.
Random numbers are those of numba, seeded inside. An order is an array (run, 3): lane (2 x task +
side of the pier), subs wanted, idle seconds.
"""

# ruff: noqa: NPY002, PLR0912, PLR0915
from __future__ import annotations

import math
from typing import Any

import numba
import numpy as np

from nightplan.planning.schedule.blocks import Schedule
from nightplan.planning.schedule.problem import Problem
from tests.planning.own_night import OwnNight, Run

MOST = 80
STEP_S = 5.0
EDGE_S = 1e-6
DITHER, DITHER_EVERY, FOCUS, EVERY, DOWNLOAD, START, END, LONGEST = range(8)
FLATS, FLATS_AT_END, FOCUSED, NEW_FILTER, NEW_TARGET, NEW_ANGLE = range(8, 14)


@numba.njit(cache=True)
def run_of(d: Any, s: Any, lane: int, begin: float, high: float, wish: int, fresh: float,
           starts: Any) -> tuple[int, float, float]:  # fmt: skip
    """Starts of the subs that fit; how many, the end, and the last focus that a sub followed."""
    sub = d[4][lane]
    at, got, inside, held, end = begin, 0, 0, fresh, begin
    high = min(high, begin + s[LONGEST]) + EDGE_S
    while got < min(wish, d[18][lane], starts.size):
        now = at
        if inside and inside % int(s[DITHER_EVERY]) == 0:
            now += s[DITHER]
        if now + sub > fresh + s[EVERY] + EDGE_S and fresh < now - EDGE_S:
            now = at + s[FOCUS]
            fresh, inside = now, 0
        if now + sub + s[DOWNLOAD] > high:
            break
        starts[got] = now
        at = now + sub + s[DOWNLOAD]
        end, held = at, fresh
        got += 1
        inside += 1
    if end - begin < d[17][lane] - EDGE_S:
        got = 0
    return got, end, held


@numba.njit(cache=True)
def worth_of(d: Any, s: Any, order: Any, size: int, out: Any, hours: Any, starts: Any,
             angles: Any, owed: Any) -> float:  # fmt: skip
    """Value of an order; `out` gets of each run lane, subs and idle seconds before its lead, lane
    -1 where it found no place."""
    (lead, flats, cross, focuses, sub, stop, transit, spans, integral, rows, at_h, value, target,
     new_angle, kind, fname, same, _, _) = d  # fmt: skip
    hours[:] = 0.0
    angles[:] = 0
    owed[:] = 0
    before, free, focused, cost = -1, s[START], s[FOCUSED], 0.0
    for i in range(size):
        lane, wish, wait = int(order[i, 0]), int(order[i, 1]), order[i, 2]
        out[i, 0] = -1.0
        far, near = lane % 2 == 1, lane % 2 == 0
        many = 0
        for k in range(owed.size):
            many += owed[k]
        length, first = 0.0, 0.0
        new_field = before < 0 or not same[before, lane]
        if before >= 0:
            if before % 2 == 1 and near and not new_field:
                continue
            length = lead[before, lane] + many * flats[before, lane]
            first = cross[before, lane]
            if before == lane:
                length += 300.0
        got, begin, end, held = 0, 0.0, 0.0, 0.0
        for again in range(2):
            extra = s[FOCUS] * again
            earliest = free + wait + length + extra
            if again:
                # Only then is the focus due.
                earliest = max(earliest, focused + s[EVERY] - sub[lane] + 1e-3 + extra)
            if far:
                earliest = max(earliest, transit[lane] + (first + extra if first >= 0.0 else 0.0))
            late = False
            for k in range(spans.shape[1]):
                low, high = spans[lane, k, 0], spans[lane, k, 1]
                begin = max(earliest, low)
                due = 0
                if s[FLATS_AT_END] > 0.0:
                    due = 1 if kind[lane] >= 0 else 0
                    keeps = before < 0 or flats[before, lane] == 0.0
                    for m in range(owed.size):
                        if m != kind[lane] and keeps:
                            due += owed[m]
                high = min(high, s[END] - due * s[FLATS])
                if begin + sub[lane] > high:
                    continue
                if near and new_field and begin >= transit[lane]:
                    break
                fresh = focused
                if again or (before >= 0 and focuses[before, lane]):
                    fresh = begin
                elif begin + sub[lane] > focused + s[EVERY] + EDGE_S and focused < begin - EDGE_S:
                    late = True
                    break
                got, end, held = run_of(
                    d, s, lane, begin, min(high, stop[lane]), wish, fresh, starts
                )
                if got:
                    break
            if got or not late:
                break
        if got == 0:
            continue
        for f in range(rows.shape[1]):
            if rows[lane, f] < 0:
                break
            for n in range(got):
                for sign in (-1.0, 1.0):
                    x = (starts[n] + (sub[lane] if sign > 0.0 else 0.0)) / STEP_S
                    m = min(int(x), integral.shape[2] - 2)
                    part = integral[lane, f, m + 1] - integral[lane, f, m]
                    hours[rows[lane, f]] += sign * (integral[lane, f, m] + (x - m) * part)
        if before >= 0:
            if flats[before, lane] > 0.0:
                owed[:] = 0
            cost += s[NEW_FILTER] * (fname[before] != fname[lane])
            cost += s[NEW_TARGET] * (target[before] != target[lane])
        if new_angle[lane]:
            if angles[target[lane]] == 0:
                cost += s[NEW_ANGLE]
            angles[target[lane]] = 1
        if kind[lane] >= 0:
            owed[kind[lane]] = 1
        pause = 300.0 if before == lane else 0.0
        out[i, 0], out[i, 1], out[i, 2] = lane, got, begin - free - length - extra + pause
        before, free, focused = lane, end, held
    total = -cost
    for row in range(hours.size):
        if hours[row] > 0.0:
            total += np.interp(hours[row], at_h[row], value[row])
    return total


@numba.njit(cache=True)
def changed(order: Any, size: int, least: Any, lanes: Any) -> int:
    """One random change in place; the new length."""
    lane = lanes[np.random.randint(lanes.size)]
    move = np.random.randint(9)
    if size == 0 or (move == 0 and size < MOST - 1):
        at = np.random.randint(size + 1)
        for k in range(size, at, -1):
            order[k] = order[k - 1]
        order[at, 0], order[at, 2] = lane, 0.0
        order[at, 1] = least[lane] + np.random.randint(8)
        if size and np.random.randint(2):
            other = np.random.randint(size + 1)
            if other != at:
                order[other, 1] = max(1.0, order[other, 1] - order[at, 1])
        return size + 1
    i, j = np.random.randint(size), np.random.randint(size)
    if move == 1:
        for k in range(i, size - 1):
            order[k] = order[k + 1]
        return size - 1
    if move == 2:
        order[i, 1] = max(1.0, order[i, 1] + np.random.randint(-4, 5))
    elif move == 3:
        many = np.random.randint(1, 6)
        order[i, 1] += many
        order[j, 1] = max(1.0, order[j, 1] - many)
    elif move == 4:
        for c in range(3):
            order[i, c], order[j, c] = order[j, c], order[i, c]
    elif move == 5:
        order[i, 0] = lane
    elif move == 6:
        # A stretch turned about.
        a, b = min(i, j), max(i, j)
        while a < b:
            for c in range(3):
                order[a, c], order[b, c] = order[b, c], order[a, c]
            a, b = a + 1, b - 1
    elif move == 7:
        order[i, 0] = 2.0 * (order[i, 0] // 2.0) + (order[i, 0] + 1.0) % 2.0
    else:
        order[i, 2] = 0.0 if np.random.randint(2) else 60.0 * np.random.randint(40)
    return size


@numba.njit(cache=True)
def annealed(d: Any, s: Any, least: Any, lanes: Any, first: Any, size: int, tries: int, hot: float,
             cold: float, seed: int, sizes: Any) -> tuple[float, Any, int]:  # fmt: skip
    """Best value, order and length found."""
    np.random.seed(seed)
    hours, angles, owed = (
        np.zeros(sizes[0]),
        np.zeros(sizes[1], np.int64),
        np.zeros(sizes[2], np.int64),
    )
    starts, out = np.zeros(sizes[3]), np.zeros((MOST, 3))
    order, trial, best = first.copy(), first.copy(), first.copy()
    value = worth_of(d, s, order, size, out, hours, starts, angles, owed)
    top, top_size = value, size
    for k in range(tries):
        heat = hot * (cold / hot) ** (k / tries)
        trial[:size] = order[:size]
        n = changed(trial, size, least, lanes)
        if np.random.randint(4) == 0:
            n = changed(trial, n, least, lanes)
        found = worth_of(d, s, trial, n, out, hours, starts, angles, owed)
        if found >= value or np.random.random() < math.exp((found - value) / heat):
            value, size = found, 0
            for r in range(n):
                if out[r, 0] >= 0.0:
                    order[size, 0], order[size, 1] = trial[r, 0], out[r, 1]
                    order[size, 2] = trial[r, 2]
                    size += 1
            if value > top:
                top, top_size = value, size
                best[:size] = order[:size]
    return top, best, top_size


class OwnAnnealer(OwnNight):
    """A fast search of a night from its beginning (nothing kept)."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem)
        self.data, self.scalars, self.least, self.lanes, self.sizes = self._arrays()

    def best(self, seed: int, tries: int, restarts: int = 4) -> tuple[float, Schedule]:
        """The best schedule of several annealings from nothing, and its value by `OwnNight`."""
        tops = []
        scale = max(1e-3, float(self.data[11][:, -1].sum()))
        for number in range(restarts):
            hot = 0.02 * scale / max(1.0, math.sqrt(len(self.keys)))
            none = np.zeros((MOST, 3))
            tops.append(
                annealed(self.data, self.scalars, self.least, self.lanes, none, 0,
                         tries // restarts, hot, 1e-3 * hot, 1000 * seed + number, self.sizes)
            )  # fmt: skip
        value, order, size = max(tops, key=lambda one: one[0])
        schedule = self.schedule(order, size)
        assert abs(self.value(schedule) - value) < 1e-4 * max(1.0, abs(value))
        return self.value(schedule), schedule

    def schedule(self, order: Any, size: int) -> Schedule:
        """An order carried out sub by sub."""
        out, hours = np.zeros((MOST, 3)), np.zeros(self.sizes[0])
        worth_of(self.data, self.scalars, order, size, out, hours, np.zeros(self.sizes[3]),
                 np.zeros(self.sizes[1], np.int64), np.zeros(self.sizes[2], np.int64))  # fmt: skip
        runs: list[Run] = [
            (int(lane) // 2, bool(lane % 2), int(subs), max(0.0, float(idle_s)))
            for lane, subs, idle_s in out[:size]
            if lane >= 0.0
        ]
        found = self.carried_out(runs)
        assert found is not None
        return found

    def _arrays(self) -> Any:
        """Lanes, pairs of lanes and rows as arrays."""
        problem, rules = self.problem, self.problem.overheads
        size = 2 * len(problem.tasks)
        pairs = [np.zeros((size, size)) for _ in range(2)]
        (lead, flats), cross = pairs, np.full((size, size), -1.0)
        focuses, same = np.zeros((size, size), bool), np.zeros((size, size), bool)
        for a in range(size):
            for b in range(size):
                one: Run = (a // 2, bool(a % 2), 1, 0.0)
                two: Run = (b // 2, bool(b % 2), 1, 0.0)
                steps, more = self.between(one, two, 0), self.between(one, two, 1)
                lead[a, b] = sum(seconds for _, seconds in steps)
                flats[a, b] = sum(seconds for _, seconds in more) - lead[a, b]
                kinds = [kind for kind, _ in steps]
                focuses[a, b] = "focus" in kinds
                moves = [n for n, kind in enumerate(kinds) if kind in ("flip", "slew_centre")]
                if moves:
                    cross[a, b] = sum(seconds for _, seconds in steps[moves[0] :])
                same[a, b] = problem.tasks[one[0]].pointing == problem.tasks[two[0]].pointing
        tasks = [problem.tasks[lane // 2] for lane in range(size)]
        fields = [problem.pointings[task.pointing] for task in tasks]
        far = np.arange(size) % 2 == 1
        transit = np.array([one.transit_s if rules.flips else math.inf for one in fields])
        stop_s = rules.track_past_meridian_s - rules.stop_before_meridian_s
        spans = self._spans()
        grid = np.arange(0.0, problem.window_s + 2.0 * STEP_S, STEP_S)
        feeds = max(len(task.feeds) for task in problem.tasks)
        rows = np.full((size, feeds), -1)
        integral = np.zeros((size, feeds, grid.size))
        for lane, task in enumerate(tasks):
            rows[lane, : len(task.feeds)] = problem.rows_of_task[lane // 2]
            for f, feed in enumerate(task.feeds):
                worth = np.interp(grid, problem.grid_s, feed.worth)
                steps_h = 0.5 * (worth[1:] + worth[:-1]) * STEP_S / 3600.0
                integral[lane, f, 1:] = np.cumsum(steps_h)
        points = max(len(curve.hours_h) for curve in problem.curves)
        at_h, value = (
            np.zeros((len(problem.curves), points)),
            np.zeros((len(problem.curves), points)),
        )
        for row, curve in enumerate(problem.curves):
            fill = (0, points - len(curve.hours_h))
            at_h[row] = np.pad(np.array(curve.hours_h) - curve.gathered_h, fill, mode="edge")
            value[row] = np.pad(np.array(curve.value), fill, mode="edge")
        names = list(dict.fromkeys(field.target for field in fields))
        owing = [
            (field.position_angle_deg, task.filter) if field.new_angle and rules.flats_s else None
            for field, task in zip(fields, tasks, strict=True)
        ]
        kinds_owed = [one for one in dict.fromkeys(owing) if one is not None]
        filters = list(dict.fromkeys(task.filter for task in tasks))
        data = (
            lead, flats, cross, focuses, np.array([task.sub_s for task in tasks]),
            np.where(far | (not rules.flips), math.inf, transit + stop_s), transit, spans, integral,
            rows, at_h, value, np.array([names.index(field.target) for field in fields]),
            np.array([field.new_angle for field in fields]),
            np.array([-1 if one is None else kinds_owed.index(one) for one in owing]),
            np.array([filters.index(task.filter) for task in tasks]), same,
            np.array([self.shortest_s(lane // 2) for lane in range(size)]),
            np.array([self.most(lane // 2) for lane in range(size)]),
        )  # fmt: skip
        costs, focused = problem.change_costs, problem.focused_s
        scalars = np.array([
            rules.dither_s, rules.dither_every, rules.focus_s, rules.focus_every_s,
            rules.download_s, problem.setup_s, min(problem.window_s, problem.latest_end_s),
            min(problem.longest_block_s, 1e6), rules.flats_s,
            float(rules.flats_at_end), problem.setup_s if focused is None else focused,
            costs.filter_change, costs.target_change, costs.new_angle,
        ])  # fmt: skip
        cycle_s = np.array([task.sub_s + rules.download_s for task in tasks])
        least = np.maximum(1, np.ceil(data[17] / cycle_s))
        open_ = (spans[:, 0, 1] > spans[:, 0, 0]) & (rules.flips | ~far)
        sizes = (len(problem.curves), len(names), max(1, len(kinds_owed)),
                 int(problem.window_s / cycle_s.min()) + 2)  # fmt: skip
        return data, scalars, least, np.flatnonzero(open_), sizes

    def _spans(self) -> Any:
        """Spans of each lane in which its task is usable, (lane, span, 2); infinite pads."""
        grid = self.problem.grid_s
        found = []
        for task in self.problem.tasks:
            good = np.concatenate([[False], task.usable, [False]])
            first = np.flatnonzero(good[1:] & ~good[:-1])
            last = np.flatnonzero(good[:-1] & ~good[1:]) - 1
            found.append([(grid[a], grid[b]) for a, b in zip(first, last, strict=True) if b > a])
        width = max(1, *(len(own) for own in found))
        spans = np.full((2 * len(found), width, 2), (math.inf, -math.inf))
        for number, own in enumerate(found):
            for lane in (2 * number, 2 * number + 1):
                spans[lane, : len(own)] = np.array(own).reshape(-1, 2)
        return spans
