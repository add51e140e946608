"""Many orders of runs placed and valued at once: `placement` again, as arrays over candidates.

The search asks for thousands of values; one candidate at a time would take most of the night's
planning. A test holds this file to `Placer.place` and `evaluate`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nightplan.planning.schedule.problem import HOUR_S, FloatArray, IntArray
from nightplan.planning.schedule.solving.cells import change_costs
from nightplan.planning.schedule.solving.placement import EPS_S, STALE_S, Placer
from nightplan.planning.schedule.solving.utility_model import RowUtility

NONE = -1
TABLE_STEP_S = 15.0


@dataclass(frozen=True, eq=False)
class Values:
    """Of each candidate: its objective, and of each run the lane and count it really got,
    its start and its end (arrays (candidate, run); count 0 where it could not be placed)."""

    objective: FloatArray
    lanes: IntArray
    counts: IntArray
    start_s: FloatArray
    end_s: FloatArray
    hours: FloatArray


class BatchPlacer:
    """Values candidates in one go. Lane index `NONE` pads short orders."""

    def __init__(self, placer: Placer, utility: RowUtility) -> None:
        self.placer, self.utility = placer, utility
        lanes = len(placer.lanes)
        self.first = lanes
        self.lead = np.array(placer.lead_s).reshape(lanes + 1, lanes)
        self.lead_focus = np.array(placer.lead_focus, dtype=bool).reshape(lanes + 1, lanes)
        self.cost = change_costs(placer)
        self.sub, self.cycle = np.array(placer.sub_s), np.array(placer.cycle_s)
        self.period = placer.dither_every * self.cycle + placer.dither_s
        self.pointing, self.after = np.array(placer.pointing), np.array(placer.after)
        self.transit = np.array(placer.transit_s)
        self.row = np.array(placer.row, dtype=int)
        self.target = utility.target[self.row] if lanes else self.row
        choices = []
        for lane in range(lanes):
            own = [(lane, low, high) for low, high in placer.spans[lane]]
            other = placer.sibling[lane]
            if other is not None:
                own += [(other, low, high) for low, high in placer.spans[other]]
            choices.append(own)
        self.most_spans = max((len(own) for own in choices), default=0)
        shape = (lanes, self.most_spans)
        self.span_lane = np.zeros(shape, dtype=int)
        self.span_low, self.span_high = np.full(shape, np.inf), np.full(shape, -np.inf)
        for lane, own in enumerate(choices):
            for number, (used, low, high) in enumerate(own):
                self.span_lane[lane, number] = used
                self.span_low[lane, number] = low
                self.span_high[lane, number] = high
        self.most_pieces = 1
        if placer.focus_every_s < placer.longest_s:
            reach = min(placer.longest_s, max(placer.end_s - placer.start_s, 0.0))
            self.most_pieces = 2 + int(reach // max(placer.focus_every_s, 60.0))
        table = np.arange(placer.start_s, placer.end_s + 2.0 * TABLE_STEP_S, TABLE_STEP_S)
        tasks = sorted({lane.task for lane in placer.lanes})
        self.table_of_lane = np.array([tasks.index(lane.task) for lane in placer.lanes], dtype=int)
        self.table = np.array([placer.problem.worth_until(task, table) for task in tasks])

    def _fitting(self, lane: IntArray, seconds: FloatArray) -> IntArray:
        every, dither = self.placer.dither_every, self.placer.dither_s
        groups = np.floor((seconds + dither + EPS_S) / self.period[lane])
        rest = np.floor((seconds - groups * self.period[lane] + EPS_S) / self.cycle[lane])
        subs = groups * every + np.maximum(0.0, rest)
        return np.where(groups < 0.0, 0.0, subs).astype(np.int64)

    def _integral(self, lane: IntArray, times: FloatArray) -> FloatArray:
        place = (times - self.placer.start_s) / TABLE_STEP_S
        index = np.clip(place.astype(np.int64), 0, self.table.shape[1] - 2)
        share = place - index
        which = self.table_of_lane[lane]
        low = self.table[which, index]
        result: FloatArray = low + share * (self.table[which, index + 1] - low)
        return result

    def values(self, lanes: IntArray, counts: IntArray, not_before_s: FloatArray) -> Values:
        """Place and value candidates; arrays (candidate, run)."""
        placer = self.placer
        size, runs = lanes.shape
        before = np.full(size, self.first)
        free = np.full(size, placer.start_s)
        focus = np.full(size, placer.first_focus_s)
        hours = np.zeros((size, self.utility.goal_h.size))
        used = np.zeros((size, self.utility.priority.size), dtype=bool)
        cost = np.zeros(size)
        got_lane = np.full((size, runs), NONE)
        got_count = np.zeros((size, runs), dtype=np.int64)
        got_start = np.full((size, runs), np.nan)
        got_end = np.full((size, runs), np.nan)
        for number in range(runs):
            which = np.flatnonzero((lanes[:, number] != NONE) & (counts[:, number] > 0))
            for span in range(self.most_spans):
                if which.size == 0:
                    break
                wish = lanes[which, number]
                lane = self.span_lane[wish, span]
                placed = self._try(
                    lane,
                    self.span_low[wish, span],
                    self.span_high[wish, span],
                    counts[which, number],
                    not_before_s[which, number],
                    before[which],
                    free[which],
                    focus[which],
                )
                good, start, end, last_focus, count, gained = placed
                mine, lane = which[good], lane[good]
                got_lane[mine, number], got_count[mine, number] = lane, count[good]
                got_start[mine, number], got_end[mine, number] = start[good], end[good]
                cost[mine] += self.cost[before[mine], lane]
                hours[mine, self.row[lane]] += gained[good] / HOUR_S
                used[mine, self.target[lane]] = True
                before[mine], free[mine], focus[mine] = lane, end[good], last_focus[good]
                which = which[~good]
        cost += used @ self.utility.angle_cost
        objective = self.utility.totals(hours) - cost - self.utility.sunk_cost
        return Values(objective, got_lane, got_count, got_start, got_end, hours)

    def _try(
        self,
        lane: IntArray,
        low: FloatArray,
        high: FloatArray,
        count: IntArray,
        not_before: FloatArray,
        before: IntArray,
        free: FloatArray,
        last_focus: FloatArray,
    ) -> tuple[NDArray[np.bool_], FloatArray, FloatArray, FloatArray, IntArray, FloatArray]:
        placer = self.placer
        lead = self.lead[before, lane]
        lead_focus = self.lead_focus[before, lane]
        sub, cycle = self.sub[lane], self.cycle[lane]
        anew = self.pointing[before] != self.pointing[lane]
        crossing = self.after[lane] & (lead > 0.0) & (anew | ~self.after[before])
        free = np.where(crossing, np.maximum(free, self.transit[lane]), free)
        floor = np.maximum(low, not_before)
        start = np.maximum(free + lead, floor)
        waiting = ~lead_focus & (start - free - lead >= placer.focus_s)
        waiting &= start - placer.focus_s - last_focus >= STALE_S
        due = ~lead_focus & ~waiting & (start > last_focus)
        due &= start + sub > last_focus + placer.focus_every_s + EPS_S
        start = np.where(due, np.maximum(free + lead + placer.focus_s, floor), start)
        focus = np.where(lead_focus | due | waiting, start, last_focus)
        early = ~self.after[lane] & (anew | self.after[before])
        good = (start < high) & ~(early & (start >= self.transit[lane]))
        start = np.where(good, start, 0.0)
        resumed = -1 if placer.resumed is None else placer.resumed
        credit = np.where((before == self.first) & (lane == resumed), placer.credit_s, 0.0)
        limit = np.where(good, np.minimum(high, start + placer.longest_s - credit), 0.0)
        focus = np.where(good, focus, 0.0)
        at, end, left = start, start, np.where(good, count, 0)
        got = np.zeros(lane.size, dtype=np.int64)
        gained = np.zeros(lane.size)
        going = good
        for _ in range(self.most_pieces):
            by_time = self._fitting(lane, limit - at)
            by_focus = self._fitting(lane, focus + placer.focus_every_s - at + cycle - sub)
            by_focus = np.where((by_focus < 1) & (focus >= at), 1, by_focus)
            number = np.minimum(np.minimum(left, by_time), by_focus)
            number = np.where(going & (number > 0), number, 0)
            some = number > 0
            dithers = np.maximum(0, (number - 1) // placer.dither_every)
            end = np.where(some, at + number * cycle + dithers * placer.dither_s, end)
            closed = np.where(some, end - (cycle - sub), at + 1.0)
            mean = (self._integral(lane, closed) - self._integral(lane, at)) / (closed - at)
            gained += number * sub * mean
            got += number
            left = left - number
            following = end + placer.focus_s
            going = some & (left > 0) & (number < by_time)
            going &= following + cycle <= limit + EPS_S
            if not going.any():
                break
            at = np.where(going, following, at)
            focus = np.where(going, following, focus)
        good = good & (got > 0) & (end - start >= placer.shortest_s - credit - EPS_S)
        return good, start, end, focus, got, gained
