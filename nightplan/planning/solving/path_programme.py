"""The best way through the night at given prices: an exact dynamic programme over cell borders.

A price is utility per equivalent hour of a row (target, panel, filter); a start bonus is utility
for each run of the row. The value of the best path is what the Lagrangian bound needs; the path
is a column of the linear programme of the bound and the seed of a schedule. Lanes that `lane_open`
excludes are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from nightplan.planning.schedule_problem import FloatArray
from nightplan.planning.solving.cells import BARRED, Cells
from nightplan.planning.solving.placement import Placer

NEVER = -1e8


@dataclass(frozen=True, eq=False)
class NightPath:
    """Arcs (lane, first border, last border) in order of time, and what they bring by row."""

    value: float
    arcs: tuple[tuple[int, int, int], ...]
    hours: FloatArray
    starts: FloatArray
    cost: float


class PathProgramme:
    """Prices paths through the cells; the arrays are laid out once for all prices."""

    def __init__(self, placer: Placer, cells: Cells, rows: int) -> None:
        self.cells, self.rows = cells, rows
        self.row = np.array(placer.row[: len(placer.lanes)], dtype=int)
        self.lanes = len(placer.lanes)
        self.hours = cells.hours
        self.closed = np.where(cells.hours > BARRED / 2, 0.0, NEVER)
        self.ordinary = np.where(cells.short, NEVER, self.closed)
        self.open_hours = np.where(cells.hours > BARRED / 2, cells.hours, 0.0)
        self.fixed = np.where(cells.barred, -NEVER, cells.cost[None, :, :])
        first_only = np.argwhere(cells.short)
        self.first_only = (first_only[:, 0], first_only[:, 1], first_only[:, 2])
        self.lane_open = np.ones(self.lanes, dtype=bool)

    def best(self, price: FloatArray, bonus: FloatArray) -> NightPath:
        """The best path; `price` and `bonus` are arrays (row,).

        The value is exact for these arcs, so it is at least that of every real schedule.
        """
        cells, lanes = self.cells, self.lanes
        count = cells.borders_s.size
        if lanes == 0 or count < 2:
            return NightPath(0.0, (), np.zeros(self.rows), np.zeros(self.rows), 0.0)
        lane_price, lane_bonus = price[self.row], bonus[self.row]
        gain = self.open_hours * lane_price
        gain += lane_bonus
        ordinary = gain + self.ordinary
        toll = self.fixed + cells.lead * lane_price
        toll[:, :, ~self.lane_open] = -NEVER
        longest = gain.shape[1]
        begin = np.full((count + longest, lanes), NEVER)
        idle = np.full((count, lanes + 1), NEVER)
        idle[:, lanes] = 0.0
        ended = np.full((count, lanes), NEVER)
        if self.first_only[0].size:
            b, length, lane = self.first_only
            a = b - length - 1
            value = gain[b, length, lane] - toll[a, lanes, lane]
            np.maximum.at(ended, (b, lane), value)
        # begin[k] belongs to border k - longest, so that a window of starts is one slice.
        begin[longest] = (idle[0][:, None] - toll[0]).max(axis=0)
        for b in range(1, count):
            window = begin[b : b + longest][::-1]
            np.maximum(ended[b], (window + ordinary[b]).max(axis=0), out=ended[b])
            np.maximum(idle[b - 1, :lanes], ended[b], out=idle[b, :lanes])
            begin[longest + b] = (idle[b][:, None] - toll[b]).max(axis=0)
        value = float(idle[-1].max())
        arcs = self._trace(begin, idle, ended, gain, ordinary, toll)
        return self._path(value, arcs)

    def _trace(
        self,
        begin: FloatArray,
        idle: FloatArray,
        ended: FloatArray,
        gain: FloatArray,
        ordinary: FloatArray,
        toll: FloatArray,
    ) -> tuple[tuple[int, int, int], ...]:
        longest, lanes = gain.shape[1], self.lanes
        b = idle.shape[0] - 1
        lane = int(idle[b].argmax())
        arcs: list[tuple[int, int, int]] = []
        while lane != lanes:
            while idle[b, lane] > ended[b, lane]:
                b -= 1
            choices = begin[b : b + longest, lane][::-1] + ordinary[b, :, lane]
            length = int(choices.argmax())
            if choices[length] < ended[b, lane]:
                # Only the first run of the night may be this short.
                a = np.arange(b - 1, max(-1, b - longest - 1), -1)
                first = gain[b, : a.size, lane] - toll[a, lanes, lane]
                first[~self.cells.short[b, : a.size, lane]] = NEVER
                length = int(first.argmax())
                arcs.append((lane, b - length - 1, b))
                break
            a = b - length - 1
            arcs.append((lane, a, b))
            lane, b = int((idle[a] - toll[a, :, lane]).argmax()), a
        return tuple(reversed(arcs))

    def _path(self, value: float, arcs: tuple[tuple[int, int, int], ...]) -> NightPath:
        hours, starts, cost = np.zeros(self.rows), np.zeros(self.rows), 0.0
        before = self.lanes
        for lane, a, b in arcs:
            row = self.row[lane]
            hours[row] += self.hours[b, b - a - 1, lane] - self.cells.lead[a, before, lane]
            starts[row] += 1.0
            cost += float(self.cells.cost[before, lane])
            before = lane
        return NightPath(value, arcs, hours, starts, cost)
