"""Follows the best path through the values of a dynamic programme, run by run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, IntArray
from nightplan.planning.schedule.solving.placing import EVERY, FOCUS
from nightplan.planning.schedule.solving.pricing import NEVER, Cells, Prices, Values
from nightplan.planning.schedule.solving.tables import Tables

TINY = 1e-12
MOST_RUNS = 200


@dataclass(frozen=True, eq=False)
class NightPath:
    """A path's runs as (lane, subs), its hours and changes to each row, arrays (row,), and what
    its changes and the angles told by bits cost."""

    runs: tuple[tuple[int, int], ...]
    hours: FloatArray
    visits: FloatArray
    cost: float


@dataclass
class _Run:
    lane: int
    cell: int
    subs: int
    goes_on: bool
    focus: int


class Follower:
    """Reads paths off the values."""

    def __init__(self, tables: Tables, cells: Cells, values: Values) -> None:
        self.t, self.c, self.v = tables, cells, values
        self.every, self.focus_s = float(tables.scalar[EVERY]), float(tables.scalar[FOCUS])
        self.full = cells.classes + 1

    def follow(self, q: Prices, first: IntArray) -> NightPath:
        """The path whose first run is given as `price` left it."""
        t, c = self.t, self.c
        hours, visits = np.zeros(t.at_h.shape[0]), np.zeros(t.at_h.shape[0])
        runs: list[tuple[int, int]] = []
        before, bits, cost = t.sub.size, 0, 0.0
        run: _Run | None = None
        if first[0] >= 0:
            lane, cell, subs, goes_on, focus = (int(value) for value in first)
            run = _Run(lane, cell, subs, bool(goes_on), focus)
        while run is not None and len(runs) < MOST_RUNS:
            lane, rows = run.lane, t.row[run.lane, : t.feeds[run.lane]]
            cost += float(t.cost[before, lane])
            held = t.row[before] if before < t.sub.size else ()
            visits[rows[~np.isin(rows, held)]] += 1.0
            if not bits & q.mask[lane]:
                cost += float(q.angle[lane])
            bits |= int(q.mask[lane])
            if run.subs < 0:
                self._settle(q, run, bits)
            subs, cell = run.subs, run.cell
            hours[rows] += self._hours(lane, cell, subs)
            end = cell + int(c.in_cells[lane, subs - 1])
            if run.goes_on:
                cell += int((c.run_s[lane, subs - 1] + self.focus_s) / c.step_s) - c.early
                more, run.focus = self._best(q, lane, cell, bits, 1)
                hours[rows] += self._hours(lane, cell, more)
                end, subs = cell + int(c.in_cells[lane, more - 1]), subs + more
            runs.append((lane, subs))
            run, before = self._next(q, run, end, bits), lane
        return NightPath(tuple(runs), hours, visits, cost)

    def _hours(self, lane: int, cell: int, subs: int) -> FloatArray:
        """Of each of the lane's goals, (feed,)."""
        number = self.c.place[lane, cell] + subs - 1
        return self.c.hours[: self.t.feeds[lane], number].astype(np.float64)

    def _worth(self, q: Prices, lane: int, cell: int, many: int) -> FloatArray:
        """What runs of 1 to `many` subs earn."""
        begin = int(self.c.place[lane, cell])
        worth = q.hour[lane, 0] * self.c.hours[0, begin : begin + many]
        for k in range(1, int(self.t.feeds[lane])):
            worth += q.hour[lane, k] * self.c.hours[k, begin : begin + many]
        return worth

    def _best(self, q: Prices, lane: int, cell: int, bits: int, least: int) -> tuple[int, int]:
        """Subs and focus left of the best run that begins in focus."""
        c = self.c
        many = int(c.arcs[lane, cell])
        left = c.left[lane, :many]
        worth = self._worth(q, lane, cell, many)
        worth = worth + self.v.ended[cell + c.in_cells[lane, :many], lane, left, bits]
        worth[: least - 1] = NEVER
        subs = int(worth.argmax()) + 1
        return subs, int(left[subs - 1])

    def _settle(self, q: Prices, run: _Run, bits: int) -> None:
        """Cell and subs of a run that is worth what `begins` says."""
        c, v, lane = self.c, self.v, run.lane
        for _ in range(2):
            begins = v.begins[run.cell :, lane, run.focus, bits]
            run.cell += int(np.flatnonzero(begins >= begins[0] - TINY)[-1])
            if run.focus == self.full:
                least = max(1, int(c.least[lane]))
                run.subs, run.focus = self._best(q, lane, run.cell, bits, least)
                return
            if self._settle_partial(q, run, bits):
                return
            # Rather a focus run first.
            run.cell, run.focus = run.cell + int(self.focus_s / c.step_s), self.full

    def _settle_partial(self, q: Prices, run: _Run, bits: int) -> bool:
        c, v, lane, cell = self.c, self.v, run.lane, run.cell
        kept = min(run.focus, c.classes - 1)
        many = int(min(c.arcs[lane, cell], c.until[lane, kept]))
        if many == 0:
            return False
        holds = self.every * (kept + 1) / c.classes
        left = np.clip(
            np.trunc((holds - c.run_s[lane, :many]) * c.classes / self.every), 0, c.classes - 1
        ).astype(int)
        want = float(v.begins[cell, lane, run.focus, bits])
        hours = self._worth(q, lane, cell, many)
        worth = hours + v.ended[cell + c.in_cells[lane, :many], lane, left, bits]
        worth[: max(0, int(c.least[lane]) - 1)] = NEVER
        subs = int(worth.argmax()) + 1
        soonest = max(1, int(c.until[lane, kept - 1])) if 0 < kept == run.focus else 1
        then = cell + ((c.run_s[lane, :many] + self.focus_s) / c.step_s).astype(int) - c.early
        able = (np.arange(1, many + 1) >= soonest) & (then < c.cells)
        able &= c.arcs[lane, cell] > np.arange(1, many + 1)
        on = np.where(able, hours + v.goes_on[np.minimum(then, c.cells - 1), lane, bits], NEVER)
        last = int(on.argmax())
        if on[last] > worth[subs - 1]:
            if on[last] < want - 1e-9:
                return False
            run.subs, run.goes_on, run.focus = last + 1, True, self.full
            return True
        if worth[subs - 1] < want - 1e-9:
            return False
        run.subs, run.focus = subs, int(left[subs - 1])
        return True

    def _next(self, q: Prices, run: _Run, end: int, bits: int) -> _Run | None:
        """The run after one that ended in a cell; None where the night ends with it."""
        t, c, before = self.t, self.c, run.lane
        then = np.maximum(end + c.lead[before], c.cross[before])
        open_ = np.flatnonzero(t.allowed[before] & (then <= c.last))
        if open_.size == 0:
            return None
        focus = c.after[before, open_, run.focus]
        earned = q.bonus[before, open_] - t.cost[before, open_]
        earned = earned - np.where(bits & q.mask[open_], 0.0, q.angle[open_])
        found = earned + self.v.begins[then[open_], open_, focus, bits | q.mask[open_]]
        k = int(found.argmax())
        if found[k] <= 0.0:
            return None
        return _Run(int(open_[k]), int(then[open_[k]]), -1, False, int(focus[k]))
