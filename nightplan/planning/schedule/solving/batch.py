"""Many orders of runs placed and valued at once: `placement` again, as arrays over candidates.

The search asks for thousands of values; one candidate at a time would take most of the night's
planning. A test holds this file to `Placer.place` and `evaluate`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from nightplan.planning.schedule.problem import HOUR_S, BoolArray, FloatArray, IntArray
from nightplan.planning.schedule.solving.cells import change_costs
from nightplan.planning.schedule.solving.placement import EPS_S, STALE_S, Placer
from nightplan.planning.schedule.solving.utility_model import RowUtility

NONE = -1
TABLE_STEP_S = 15.0


@dataclass(frozen=True, eq=False)
class Values:
    """Of each candidate: its objective, of each run the lane and count it really got and
    its start (arrays (candidate, run); count 0 where it could not be placed), and the hours of
    each row (candidate, row); `ended_s` (candidate,) is when its last run ends."""

    objective: FloatArray
    lanes: IntArray
    counts: IntArray
    start_s: FloatArray
    hours: FloatArray
    ended_s: FloatArray


@dataclass(eq=False)
class _Rigs:
    """Where each candidate stands after the runs placed so far; arrays (candidate,), `hours`
    (candidate, row) and `used` (candidate, target)."""

    before: IntArray
    free_s: FloatArray
    focus_s: FloatArray
    cost: FloatArray
    hours: FloatArray
    used: BoolArray

    def follow_first(self, which: IntArray) -> None:
        """What the first candidate has done holds for these too."""
        for column in fields(self):
            values = getattr(self, column.name)
            values[which] = values[0]


class BatchPlacer:
    """Values candidates in one go. Lane index `NONE` pads short orders."""

    def __init__(self, placer: Placer, utility: RowUtility) -> None:
        self.placer, self.utility = placer, utility
        self.lanes = len(placer.lanes)
        self.cost = change_costs(placer)
        self.sub, self.cycle = np.array(placer.sub_s), np.array(placer.cycle_s)
        self.period = placer.dither_every * self.cycle + placer.dither_s
        self.most_by_focus = np.array([placer.most_by_focus(k) for k in range(self.lanes)])
        self.row = np.array(placer.row, dtype=int)
        self.target = utility.target[self.row] if self.lanes else self.row
        self._spans()
        self._leads()
        self.most_pieces = 1
        if placer.focus_every_s < placer.longest_s:
            reach = min(placer.longest_s, max(placer.end_s - placer.start_s, 0.0))
            self.most_pieces = 2 + int(reach // max(placer.focus_every_s, 60.0))
        table = np.arange(placer.start_s, placer.end_s + 2.0 * TABLE_STEP_S, TABLE_STEP_S)
        tasks = sorted({lane.task for lane in placer.lanes})
        self.last = table.size - 2
        number = np.array([tasks.index(lane.task) for lane in placer.lanes], dtype=int)
        self.table_of_lane = number * table.size
        worth = [placer.problem.worth_until(task, table) for task in tasks]
        self.table = np.concatenate([np.zeros(0), *worth])

    def _spans(self) -> None:
        """Spans that a run may take, those of its own side of the pier first; arrays (lane, span)
        of the lane, the first and the last moment."""
        placer = self.placer
        choices = []
        for lane in range(self.lanes):
            sides = [lane, placer.sibling[lane]]
            choices.append(
                [(k, low, high) for k in sides if k is not None for low, high in placer.spans[k]]
            )
        shape = (self.lanes, max((len(own) for own in choices), default=0))
        self.span_lane = np.zeros(shape, dtype=int)
        self.span_low, self.span_high = np.full(shape, np.inf), np.full(shape, -np.inf)
        for lane, own in enumerate(choices):
            for number, (used, low, high) in enumerate(own):
                self.span_lane[lane, number] = used
                self.span_low[lane, number] = low
                self.span_high[lane, number] = high

    def _leads(self) -> None:
        """By lane before (the rig last), lane wished and span, arrays (before x lanes + wish,
        span): the lead, whether it focuses, when it may begin and before when the run must."""
        placer, lanes, used = self.placer, self.lanes, self.span_lane
        shape = (lanes + 1, lanes)
        lead = np.array(placer.lead_s).reshape(shape)
        focus = np.array(placer.lead_focus, dtype=bool).reshape(shape)
        pointing, after = np.array(placer.pointing), np.array(placer.after)
        transit = np.array(placer.transit_s)
        anew = pointing[:, None] != pointing[None, :-1]
        crossing = after[None, :-1] & (lead > 0.0) & (anew | ~after[:, None])
        early = ~after[None, :-1] & (anew | after[:, None])
        begin = np.where(crossing, transit, -np.inf)
        until = np.where(early, transit, np.inf)
        flat = ((lanes + 1) * lanes, used.shape[1])
        self.lead = lead[:, used].reshape(flat)
        self.lead_focus = focus[:, used].reshape(flat)
        self.lead_begin = begin[:, used].reshape(flat)
        self.run_until = np.minimum(until[:, used], self.span_high).reshape(flat)

    def _fitting(self, lane: IntArray, seconds: FloatArray) -> FloatArray:
        every, dither = self.placer.dither_every, self.placer.dither_s
        period = self.period[lane]
        groups = np.floor((seconds + (dither + EPS_S)) / period)
        rest = np.floor((seconds - groups * period + EPS_S) / self.cycle[lane])
        # No time at all makes groups negative.
        return np.maximum(0.0, groups * every + np.maximum(0.0, rest))

    def _integral(self, lane: IntArray, times: FloatArray) -> FloatArray:
        place = (times - self.placer.start_s) / TABLE_STEP_S
        index = np.minimum(np.maximum(place, 0.0).astype(np.int64), self.last)
        share = place - index
        index += self.table_of_lane[lane]
        low = self.table[index]
        return low + share * (self.table[index + 1] - low)

    def values(self, lanes: IntArray, counts: IntArray, not_before_s: FloatArray) -> Values:
        """Place and value candidates; arrays (candidate, run).

        Runs that a candidate begins with as the first one does are placed once.
        """
        placer, utility = self.placer, self.utility
        size, runs = lanes.shape
        rigs = _Rigs(
            before=np.full(size, self.lanes),
            free_s=np.full(size, placer.start_s),
            focus_s=np.full(size, placer.first_focus_s),
            cost=np.zeros(size),
            hours=np.zeros((size, utility.most_h.size)),
            used=np.zeros((size, utility.angle_cost.size), dtype=bool),
        )
        got = Values(
            objective=np.zeros(size),
            lanes=np.full((size, runs), NONE),
            counts=np.zeros((size, runs), dtype=np.int64),
            start_s=np.full((size, runs), np.nan),
            hours=rigs.hours,
            ended_s=rigs.free_s,
        )
        same = (lanes == lanes[0]) & (counts == counts[0]) & (not_before_s == not_before_s[0])
        apart = np.where(same.all(axis=1), runs, same.argmin(axis=1))
        apart[0] = 0
        wished = (lanes != NONE) & (counts > 0)
        for number in range(runs):
            rigs.follow_first(np.flatnonzero(apart == number))
            which = np.flatnonzero(wished[:, number] & (apart <= number))
            wishes = lanes[which, number], counts[which, number], not_before_s[which, number]
            self._place(rigs, got, number, which, *wishes)
        rigs.follow_first(np.flatnonzero(apart == runs))
        alike = np.arange(runs)[None, :] < apart[:, None]
        for values in (got.lanes, got.counts, got.start_s):
            np.copyto(values, values[0], where=alike)
        cost = rigs.cost + rigs.used @ utility.angle_cost
        got.objective[:] = utility.totals(rigs.hours) - cost
        return got

    def _place(
        self,
        rigs: _Rigs,
        got: Values,
        number: int,
        which: IntArray,
        wish: IntArray,
        count: IntArray,
        not_before: FloatArray,
    ) -> None:
        """Place one run of the candidates `which`, each in the first span that takes it."""
        placer = self.placer
        key = rigs.before[which] * self.lanes + wish
        last_focus = rigs.focus_s[which, None]
        ready = np.maximum(rigs.free_s[which, None], self.lead_begin[key]) + self.lead[key]
        floor = np.maximum(self.span_low[wish], not_before[:, None])
        start = np.maximum(ready, floor)
        without = ~self.lead_focus[key]
        focus = start
        if without.any():
            waiting = without & (start - ready >= placer.focus_s)
            waiting &= start - placer.focus_s - last_focus >= STALE_S
            due = without & ~waiting & (start > last_focus)
            sub = self.sub[wish][:, None]
            due &= start + sub > last_focus + placer.focus_every_s + EPS_S
            start = np.where(due, np.maximum(ready + placer.focus_s, floor), start)
            focus = np.where(without & ~due & ~waiting, last_focus, start)
        open_spans = start < self.run_until[key]
        left = np.flatnonzero(open_spans.any(axis=1))
        while left.size:
            span = open_spans[left].argmax(axis=1)
            lane, begin = self.span_lane[wish[left], span], start[left, span]
            before = rigs.before[which[left]]
            credit = np.zeros(left.size)
            if placer.resumed is not None:
                credit[(before == self.lanes) & (lane == placer.resumed)] = placer.credit_s
            limit = np.minimum(self.span_high[wish[left], span], begin + placer.longest_s - credit)
            end, focused, subs, gained = self._fill(
                lane, begin, focus[left, span], count[left], limit
            )
            good = (subs > 0) & (end - begin >= placer.shortest_s - credit - EPS_S)
            mine, lane = which[left[good]], lane[good]
            got.lanes[mine, number], got.counts[mine, number] = lane, subs[good]
            got.start_s[mine, number] = begin[good]
            rigs.cost[mine] += self.cost[before[good], lane]
            rigs.hours[mine, self.row[lane]] += gained[good] / HOUR_S
            rigs.used[mine, self.target[lane]] = True
            rigs.before[mine], rigs.free_s[mine], rigs.focus_s[mine] = (
                lane, end[good], focused[good],
            )  # fmt: skip
            open_spans[left, span] = False
            left = left[~good]
            left = left[open_spans[left].any(axis=1)]

    def _spared(
        self, lane: IntArray, number: FloatArray, left: FloatArray, parted: BoolArray
    ) -> FloatArray:
        """As `Placer._spared` where a focus run follows."""
        whole = number - number % self.placer.dither_every
        most = self.most_by_focus[lane]
        same = np.ceil((left - whole) / most) == np.ceil((left - number) / most)
        return np.where(parted & (whole > 0.0) & same, whole, number)

    def _fill(
        self,
        lane: IntArray,
        start: FloatArray,
        focus: FloatArray,
        count: IntArray,
        limit: FloatArray,
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """End, last focus run, subs and equivalent seconds of runs, parted by focus runs."""
        placer = self.placer
        ended, focused = start.copy(), focus.copy()
        subs, gained = np.zeros(lane.size), np.zeros(lane.size)
        going = np.arange(lane.size)
        at, left = start, count.astype(float)
        for _ in range(self.most_pieces):
            cycle, sub = self.cycle[lane], self.sub[lane]
            due = focus + placer.focus_every_s - at + cycle - sub
            by_time = self._fitting(lane, limit - at)
            by_focus = self._fitting(lane, due)
            by_focus[(by_focus < 1.0) & (focus >= at)] = 1.0
            number = np.minimum(np.minimum(left, by_time), by_focus)
            number = self._spared(lane, number, left, by_focus < np.minimum(left, by_time))
            dithers = np.maximum(0.0, np.floor((number - 1.0) / placer.dither_every))
            end = at + number * cycle + dithers * placer.dither_s
            some = number > 0.0
            open_s = np.where(some, end - (cycle - sub) - at, 1.0)
            both = self._integral(np.concatenate([lane, lane]), np.concatenate([at, at + open_s]))
            gained[going] += number * sub * (both[lane.size :] - both[: lane.size]) / open_s
            subs[going] += number
            ended[going] = np.where(some, end, ended[going])
            following = end + placer.focus_s
            more = some & (left > number) & (number < by_time)
            more &= following + cycle <= limit + EPS_S
            if not more.any():
                break
            going, lane, limit = going[more], lane[more], limit[more]
            at = focus = following[more]
            left = left[more] - number[more]
            focused[going] = focus
        return ended, focused, subs, gained
