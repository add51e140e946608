"""The best way through the night at given prices: an exact dynamic programme over cell borders.

A price is utility per equivalent hour of a row (target, panel, filter); a bonus is utility for
taking a row up (a run that does not follow one of the same row); a block price is utility for each
block that a run holds, focus runs parting it; a curve is charged per square of each run's share of
the goal (a run may leave its last subs uncounted). The value of the best path is what the
Lagrangian bound needs; the path is a column of the linear programme and the seed of a schedule.

Arcs that lie on no path good enough to beat a known schedule can be dropped for good (fixing by
reduced cost): what is left is often a few per cent, and passes become fast.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from nightplan.planning.schedule.problem import BoolArray, FloatArray, IntArray
from nightplan.planning.schedule.solving.cell_arcs import Arcs, Reach, reach_of
from nightplan.planning.schedule.solving.cells import Cells
from nightplan.planning.schedule.solving.placement import Placer

NEVER = -1e8


@dataclass(frozen=True, eq=False)
class Prices:
    """Prices per row, arrays (row,); `hour`, `bonus` and `curve` are >= 0."""

    hour: FloatArray
    bonus: FloatArray
    block: FloatArray
    curve: FloatArray

    def toward(self, other: Prices, share: float) -> Prices:
        """A point on the way to other prices."""
        return Prices(
            (1.0 - share) * self.hour + share * other.hour,
            (1.0 - share) * self.bonus + share * other.bonus,
            (1.0 - share) * self.block + share * other.block,
            (1.0 - share) * self.curve + share * other.curve,
        )


@dataclass(frozen=True, eq=False)
class NightPath:
    """Arcs (lane, first border, last border) in order of time, and what they bring by row.

    `hours`, `starts`, `blocks` and `squares` (of each run's share of the goal) are arrays (row,);
    `cost` is what its changes cost.
    """

    value: float
    arcs: tuple[tuple[int, int, int], ...]
    hours: FloatArray
    starts: FloatArray
    blocks: FloatArray
    squares: FloatArray
    cost: float


@dataclass(frozen=True, eq=False)
class _Changes:
    """Changes from lane to lane as columns (change,), in order of class of lead, then new lane.

    `lead` is hours lost per border (border, change); `fixed` the cost, or a bar, likewise.
    """

    before: IntArray
    lane: IntArray
    lead_class: IntArray
    lead: FloatArray
    fixed: FloatArray

    def only(self, which: BoolArray | IntArray) -> _Changes:
        """A part of the changes, in the same order."""
        return _Changes(
            self.before[which],
            self.lane[which],
            self.lead_class[which],
            np.ascontiguousarray(self.lead[:, which]),
            np.ascontiguousarray(self.fixed[:, which]),
        )


def _changes_of(cells: Cells) -> _Changes:
    """All changes that some border allows."""
    before, lane = np.nonzero(~cells.barred.all(axis=0))
    order = np.lexsort((lane, cells.lead_class[before, lane]))
    before, lane = before[order], lane[order]
    barred = cells.barred[:, before, lane]
    return _Changes(
        before,
        lane,
        cells.lead_class[before, lane],
        cells.lead[:, before, lane],
        np.where(barred, -NEVER, cells.cost[before, lane]),
    )


@dataclass(frozen=True, eq=False)
class _Tables:
    """One pass forward: best value of beginning (border, class x lane), of being idle after a
    lane (border, lane + FIRST), of having ended one; of arcs alone, of first-only arcs with
    their lead, and what changes take (border, change)."""

    begin: FloatArray
    idle: FloatArray
    ended: FloatArray
    gain: FloatArray
    opening: FloatArray
    toll: FloatArray
    hour: FloatArray
    bend: FloatArray


def _counted(arcs: Arcs, lead_h: FloatArray, hour: FloatArray, bend: FloatArray) -> FloatArray:
    """Hours of each arc that are worth counting under the curve."""
    bent = 0.5 * hour / np.maximum(bend, 1e-12)
    return np.minimum(arcs.hours, bent[arcs.lane] + lead_h)


def _gain(arcs: Arcs, lead_h: FloatArray, hour: FloatArray, bend: FloatArray) -> FloatArray:
    """What arcs earn: hours at their price less the curve, before their lead is taken off.

    The square of (hours - lead) is at least hours^2 - 2 hours lead.
    """
    price = hour[arcs.lane]
    if not bend.any():
        price *= arcs.hours
        return price
    counted = _counted(arcs, lead_h, hour, bend)
    curved = counted - 2.0 * lead_h
    curved *= bend[arcs.lane]
    price -= curved
    price *= counted
    return price


class PathProgramme:
    """Prices paths through the cells. `open_rows` (row,) bool leaves rows out."""

    def __init__(self, placer: Placer, cells: Cells, goal_h: FloatArray) -> None:
        self.rows = rows = goal_h.size
        self.goal_h = np.where(goal_h > 0.0, goal_h, 1.0)
        self.borders_s = cells.borders_s
        self.borders = cells.borders_s.size
        self.classes = cells.classes
        self.row = np.array(placer.row[: len(placer.lanes)], dtype=int)
        self.lane_name = np.arange(len(placer.lanes))
        self.open_rows = np.ones(rows, dtype=bool)
        self.arcs = cells.arcs
        self.first_only = cells.opening
        self.changes = changes = _changes_of(cells)
        reached = changes.lane[(changes.before == self.row.size) & (changes.lead_class == 0)]
        self.first_only = self.first_only.only(np.isin(self.first_only.lane, reached))
        self._lay_out()

    def _lay_out(self) -> None:
        """Index arrays that every pass uses."""
        arcs, changes = self.arcs, self.changes
        self.lanes = lanes = self.row.size
        row = np.append(self.row, -1)
        # Going on with the same row (after a flip, a pause, in another train) is no new start.
        self.anew = row[changes.before] != row[changes.lane]
        self.source = (arcs.first * self.classes + arcs.lead_class).astype(
            np.intp
        ) * lanes + arcs.lane
        self.bounds = np.searchsorted(arcs.last, np.arange(self.borders + 1))
        self.groups: list[tuple[IntArray, IntArray]] = []
        for b in range(self.borders):
            lane = arcs.end_lane[self.bounds[b] : self.bounds[b + 1]]
            starts = np.flatnonzero(np.diff(lane, prepend=-1))
            self.groups.append((starts, lane[starts]))
        place = changes.lead_class * lanes + changes.lane
        # Most that a lead takes from a run's hours, by border, class and lane.
        self.place_start = np.flatnonzero(np.diff(place, prepend=-1))
        self.place = place[self.place_start]
        most = np.zeros((self.borders, self.classes * lanes))
        if place.size:
            most[:, self.place] = np.maximum.reduceat(changes.lead, self.place_start, axis=1)
        self.lead_h = most.reshape(-1)[self.source]
        self.of_first = np.full(lanes, -1)
        first = np.flatnonzero((changes.before == lanes) & (changes.lead_class == 0))
        self.of_first[changes.lane[first]] = first

    def best(self, prices: Prices) -> NightPath:
        """The best path. Its value is exact for these arcs, so at least any real schedule's."""
        if self.lanes == 0 or self.borders < 2:
            none = np.zeros(self.rows)
            return NightPath(0.0, (), none, none, none, none, 0.0)
        return self._path(self._forward(prices))

    def _forward(self, prices: Prices) -> _Tables:
        arcs, opening, changes, lanes = self.arcs, self.first_only, self.changes, self.lanes
        hour, bonus = prices.hour[self.row], prices.bonus[self.row]
        block = prices.block[self.row]
        bend = (prices.curve / self.goal_h**2)[self.row]
        none = np.zeros(opening.lane.size)
        gain = _gain(arcs, self.lead_h, hour, bend)
        first_gain = _gain(opening, none, hour, bend)
        if block.any():
            gain += arcs.blocks * block[arcs.lane]
            first_gain += opening.blocks * block[opening.lane]
        toll = changes.lead * hour[changes.lane]
        toll += changes.fixed
        shut = ~self.open_rows[self.row]
        toll += np.where(shut[changes.lane], -NEVER, -bonus[changes.lane] * self.anew)
        begin = np.full((self.borders, self.classes * lanes), NEVER)
        flat = begin.reshape(-1)
        idle = np.full((self.borders, lanes + 1), NEVER)
        idle[:, lanes] = 0.0
        ended = np.full((self.borders, lanes), NEVER)
        first_gain -= toll[opening.first, self.of_first[opening.lane]]
        np.maximum.at(ended, (opening.last, opening.end_lane), first_gain)
        bounds, before, source = self.bounds, changes.before, self.source
        for b in range(self.borders):
            if b:
                low, high = bounds[b], bounds[b + 1]
                starts, lane = self.groups[b]
                if starts.size:
                    value = flat.take(source[low:high])
                    value += gain[low:high]
                    best = np.maximum.reduceat(value, starts)
                    ended[b, lane] = np.maximum(ended[b].take(lane), best)
            np.maximum(idle[max(0, b - 1), :lanes], ended[b], out=idle[b, :lanes])
            way = idle[b].take(before)
            way -= toll[b]
            begin[b, self.place] = np.maximum.reduceat(way, self.place_start)
        return _Tables(begin, idle, ended, gain, first_gain, toll, hour, bend)

    def _path(self, tables: _Tables) -> NightPath:
        lanes, arcs, opening, changes = self.lanes, self.arcs, self.first_only, self.changes
        idle, ended, flat = tables.idle, tables.ended, tables.begin.reshape(-1)
        hours, starts, blocks, squares = (np.zeros(self.rows) for _ in range(4))
        cost = 0.0
        b = self.borders - 1
        lane = int(idle[b].argmax())
        found: list[tuple[int, int, int]] = []
        used: Arcs
        while lane != lanes:
            while idle[b, lane] > ended[b, lane]:
                b -= 1
            low, high = self.bounds[b], self.bounds[b + 1]
            mine = low + np.flatnonzero(arcs.end_lane[low:high] == lane)
            values = flat[self.source[mine]] + tables.gain[mine]
            if mine.size and values.max() >= ended[b, lane]:
                index = int(mine[values.argmax()])
                used = arcs
                ways = np.flatnonzero(
                    (changes.lane == arcs.lane[index])
                    & (changes.lead_class == arcs.lead_class[index])
                )
                a = int(arcs.first[index])
                way = int(ways[(idle[a, changes.before[ways]] - tables.toll[a, ways]).argmax()])
            else:
                mine = np.flatnonzero((opening.last == b) & (opening.end_lane == lane))
                index = int(mine[tables.opening[mine].argmax()])
                used = opening
                a, way = int(opening.first[index]), int(self.of_first[opening.lane[index]])
            row = self.row[lane]
            middle = int(used.via[index])
            if used.lane[index] != lane:
                found.append((int(self.lane_name[lane]), middle, b))
                found.append((int(self.lane_name[used.lane[index]]), a, middle))
            else:
                found.append((int(self.lane_name[lane]), a, b))
            one = used.only(np.array([index]))
            lead_h = self.lead_h[index : index + 1] if used is arcs else np.zeros(1)
            counted = float(_counted(one, lead_h, tables.hour, tables.bend)[0])
            hours[row] += counted - changes.lead[a, way]
            squares[row] += counted * (counted - 2.0 * float(lead_h[0])) / self.goal_h[row] ** 2
            starts[row] += self.anew[way]
            blocks[row] += used.blocks[index]
            cost += float(changes.fixed[a, way])
            lane, b = int(changes.before[way]), a
        value = float(idle[-1].max())
        return NightPath(value, tuple(reversed(found)), hours, starts, blocks, squares, cost)

    def drop(self, prices: Prices, below: float) -> float:
        """Drop every arc and change whose best path at these prices is worth less than `below`.

        Returns the share of arcs that is left. Later passes are over-estimates only for
        schedules whose path was worth as much; so let `below` come from a known schedule.
        """
        if self.lanes == 0 or self.arcs.lane.size == 0:
            return 1.0
        tables = self._forward(prices)
        arcs, changes, lanes = self.arcs, self.changes, self.lanes
        togo = np.zeros((self.borders, lanes + 1))
        onward = np.full((self.borders, self.classes * lanes), NEVER)
        flat = onward.reshape(-1)
        place = changes.lead_class * lanes + changes.lane
        by_before = np.argsort(changes.before, kind="stable")
        before_start = np.flatnonzero(np.diff(changes.before[by_before], prepend=-1))
        before = changes.before[by_before][before_start]
        through = np.full(changes.lane.size, NEVER)
        for b in range(self.borders - 1, -1, -1):
            way = onward[b, place] - tables.toll[b]
            np.maximum(through, way + tables.idle[b, changes.before], out=through)
            if b < self.borders - 1:
                togo[b] = togo[b + 1]
                ahead = np.maximum.reduceat(way[by_before], before_start)
                togo[b, before] = np.maximum(togo[b, before], ahead)
            low, high = self.bounds[b], self.bounds[b + 1]
            if high > low:
                value = tables.gain[low:high] + togo[b, arcs.end_lane[low:high]]
                # A run and its like across a flip may share beginning and end.
                np.maximum.at(flat, self.source[low:high], value)
        worth = tables.begin.reshape(-1)[self.source] + tables.gain
        kept = worth + togo[arcs.last, arcs.end_lane] >= below
        opening = self.first_only
        first = tables.opening + togo[opening.last, opening.end_lane] >= below
        share = float(kept.mean())
        self.arcs, self.first_only = arcs.only(kept), opening.only(first)
        needed = np.isin(changes.lane, self.first_only.lane) & (changes.before == lanes)
        self.changes = changes.only((through >= below) | needed)
        self._squeeze()
        return share

    def reach(self) -> Reach:
        """The runs that are left, for finer cells."""
        return reach_of(self.borders_s, [self.arcs, self.first_only], self.lane_name)

    def _squeeze(self) -> None:
        """Leave out lanes without arcs, and lay out anew."""
        parts = (self.arcs, self.first_only)
        used = np.unique(
            np.concatenate([lanes for arcs in parts for lanes in (arcs.lane, arcs.end_lane)])
        )
        new = np.full(self.lanes + 1, -1, dtype=np.int32)
        new[used] = np.arange(used.size)
        new[self.lanes] = used.size
        self.row, self.lane_name = self.row[used], self.lane_name[used]
        self.arcs, self.first_only = (
            replace(arcs, lane=new[arcs.lane], end_lane=new[arcs.end_lane])
            for arcs in (self.arcs, self.first_only)
        )
        changes = self.changes
        both = (new[changes.before] >= 0) & (new[changes.lane] >= 0)
        changes = changes.only(both)
        self.changes = replace(changes, before=new[changes.before], lane=new[changes.lane])
        self._lay_out()
