"""The night in steps of a few seconds and runs in whole subs: the bound's exact last word.

Between cells a run is a stretch of time; here it is a number of subs. Every moment is rounded
down to its step. A block of n subs whose lead begins within step k takes at least
floor((lead + length) / step) steps, and collects at most the larger of what it would collect if
its lead began at either end of the step (plus what a curve can rise above both: step^2 / 8 times
the change of slope of worth along the block). So every schedule that keeps the rules has a path
here that brings at least as much, and what the steps hide is half a step a block or so, where
cells hide as much of every border and know nothing of whole subs.

A run that focus runs part is a chain of blocks. One that is too short to be a run may only be
gone on with. How long the blocks of a chain are together, and when the clock asks for a focus run
between others, is known to `beginnings` only.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from nightplan.planning.schedule.problem import HOUR_S, BoolArray, FloatArray, IntArray
from nightplan.planning.schedule.solving.cells import barred_changes, change_costs
from nightplan.planning.schedule.solving.path_programme import NEVER, NightPath, Prices
from nightplan.planning.schedule.solving.placement import Placer

MOST_LEADS = 6
TURN_STEP_S = 30.0


@dataclass(frozen=True, eq=False)
class Moves:
    """Blocks as columns (move,), in order of `group`: those with one lane and one lead.

    `lane` indexes the lanes of the programme, `count` are subs, `steps` the least steps that lead
    and block take. `state` is the lane, or lanes + lane where the block is too short to end a
    run. `hours` (step, move) is the most that they bring, `NEVER` where they cannot be.
    """

    group: IntArray
    lane: IntArray
    count: IntArray
    steps: IntArray
    state: IntArray
    hours: FloatArray
    lead_s: FloatArray
    length_s: FloatArray
    run_s: FloatArray


@dataclass(frozen=True, eq=False)
class Onward:
    """At given prices the most that is still to come, `value` (step, state), the night's beginning
    being the last state; of what begins in this very step, `leave` (step, lane before) for other
    runs and `goes_on` (step, lane) after a focus run; `gain` (step, move) is what a move earns."""

    prices: Prices
    value: FloatArray
    gain: FloatArray
    leave: FloatArray
    goes_on: FloatArray
    toll: FloatArray


@dataclass(frozen=True, eq=False)
class Ways:
    """Moves that may come next (way,): what each is worth with all that is to come, array (step,
    way), what the change costs, whether a focus run is part of it, and the moment before which it
    must not begin (seconds since the night's beginning)."""

    move: IntArray
    worth: FloatArray
    cost: FloatArray
    focused: BoolArray
    after_s: FloatArray


class ClockSteps:
    """Prices paths of whole subs. `open_rows` (row,) bool leaves rows out.

    Parameters
    ----------
    placer : Placer
    goal_h : array (row,)
    step_s : float
    lanes : iterable of int
        Those that are worth looking at; the others must have been ruled out.
    """

    def __init__(
        self, placer: Placer, goal_h: FloatArray, step_s: float, lanes: Iterable[int]
    ) -> None:
        self.placer, self.step_s = placer, step_s
        self.rows = goal_h.size
        self.goal_h = np.where(goal_h > 0.0, goal_h, 1.0)
        self.open_rows = np.ones(self.rows, dtype=bool)
        self.lane_name = np.array(sorted(lanes), dtype=int)
        self.lanes = self.lane_name.size
        self.row = np.array(placer.row, dtype=int)[self.lane_name]
        self.steps = int((placer.end_s - placer.start_s + 1e-6) / step_s) + 1
        self.borders_s = np.float64(placer.start_s) + step_s * np.arange(
            self.steps, dtype=np.float64
        )
        self._leads()
        self._fill()

    def _leads(self) -> None:
        """Leads from lane to lane (the last row is the night's beginning), and the groups of
        moves that they make; arrays (from, to)."""
        placer = self.placer
        before = np.append(self.lane_name, len(placer.lanes))
        pick = np.ix_(before, self.lane_name)
        exact = np.array(placer.lead_s).reshape(len(placer.lanes) + 1, -1)[pick]
        turns = np.array(placer.turns_s).reshape(len(placer.lanes) + 1, -1)[pick]
        leads = np.floor(1e6 * exact) / 1e6
        if np.unique(leads).size > MOST_LEADS:
            leads = exact - np.minimum(exact, turns - TURN_STEP_S * np.floor(turns / TURN_STEP_S))
            leads = np.floor(1e6 * leads) / 1e6
        self.focused = np.array(placer.lead_focus, dtype=bool).reshape(len(placer.lanes) + 1, -1)[
            pick
        ]
        self.cost = change_costs(placer)[pick]
        barred = barred_changes(placer, self.borders_s, False)[:, pick[0], pick[1]]
        # A mount goes to the far side only for a target that has crossed.
        after, pointing = np.array(placer.after)[before], np.array(placer.pointing)[before]
        anew = pointing[:, None] != pointing[None, :-1]
        crossing = after[None, :-1] & (exact > 0.0) & (anew | ~after[:, None])
        transit_s = np.array(placer.transit_s)[self.lane_name]
        self.after_s = np.where(crossing, transit_s[None, :] - placer.start_s, -np.inf)
        late = self.borders_s[:, None] + self.step_s <= transit_s[None, :]
        self.barred = barred | (crossing[None] & late[:, None, :])
        row = np.append(self.row, -1)
        # Going on with the same row (after a flip, a pause, in another train) is no new start.
        self.anew = row[:, None] != self.row[None, :]
        # How long the run has lasted that the rig may go on with.
        credit_s = np.zeros(leads.shape)
        if placer.resumed is not None:
            credit_s[-1, self.lane_name == placer.resumed] = placer.credit_s
        keys = sorted(
            {
                (int(lane), float(leads[b, lane]), float(credit_s[b, lane]))
                for b, lane in zip(*np.nonzero(~self.barred.all(axis=0)), strict=True)
            }
        )
        self.groups = list(keys)
        index = {key: number for number, key in enumerate(keys)}
        self.group_of = np.array(
            [
                [
                    index.get((lane, float(leads[b, lane]), float(credit_s[b, lane])), -1)
                    for lane in range(self.lanes)
                ]
                for b in range(self.lanes + 1)
            ]
        ).reshape(self.lanes + 1, self.lanes)
        # Blocks that only a focus run parts from the one before.
        self.going_on = len(keys) + np.arange(self.lanes)
        self.groups += [(lane, placer.focus_s, np.inf) for lane in range(self.lanes)]

    def _fill(self) -> None:
        placer = self.placer
        parts: list[tuple[Any, ...]] = []
        hours: list[FloatArray] = []
        for of_group, (one_lane, lead, credit_s) in enumerate(self.groups):
            name = int(self.lane_name[one_lane])
            widest = max(high - low for low, high in placer.spans[name])
            most = min(
                placer.most_by_focus(name),
                placer.fitting(name, min(widest, placer.longest_s) + 1e-6),
            )
            if most < 1:
                continue
            count = np.arange(1, most + 1)
            length = np.array([placer.run_s(name, int(n)) for n in count])
            steps = np.floor((lead + length + 1e-9) / self.step_s).astype(int)
            enough = length >= placer.shortest_s - credit_s - 1e-6
            # Too short a block at the border of a span is no use.
            state = np.where(enough, one_lane, self.lanes + one_lane)
            parts.append(
                (
                    np.full(most, of_group),
                    np.full(most, one_lane),
                    count,
                    np.maximum(steps, 1),
                    state,
                    np.full(most, lead),
                    length,
                    length + (credit_s if np.isfinite(credit_s) else 0.0),
                )
            )
            hours.append(self._hours(name, lead, length))
        group, lane_of, count, steps, state, lead_s, length_s, run_s = (
            (np.concatenate(column) for column in zip(*parts, strict=True))
            if parts
            else (np.zeros(0, dtype=int) for _ in range(8))
        )
        table = np.concatenate(hours, axis=1) if hours else np.zeros((self.steps, 0))
        table[np.arange(self.steps)[:, None] + steps[None, :] >= self.steps] = NEVER
        self.never = table <= NEVER
        # Spans of each lane since the night's beginning, (lane, span, low and high).
        longest = max((len(placer.spans[name]) for name in self.lane_name), default=0)
        self.lane_spans = np.zeros((self.lanes, longest, 2))
        for one_lane, name in enumerate(self.lane_name):
            own = np.array(placer.spans[name]) - placer.start_s
            self.lane_spans[one_lane] = own[np.minimum(np.arange(longest), len(own) - 1)]
        self.moves = Moves(group, lane_of, count, steps, state, table, lead_s, length_s, run_s)
        self.first_of_group = np.flatnonzero(np.diff(group, prepend=-1))
        self.group_size = np.diff(self.first_of_group, append=group.size)
        there = group[self.first_of_group]
        self.opens_only = ~np.isin(there, self.group_of[:-1]) & ~np.isin(there, self.going_on)
        place = np.full(len(self.groups) + 1, -1)
        place[group[self.first_of_group]] = np.arange(self.first_of_group.size)
        before, lane = np.nonzero(place[self.group_of] >= 0)
        self.changes = before, lane
        self.change_column = place[self.group_of[before, lane]]
        self.change_barred = self.barred[:, before, lane]
        opens = int(np.searchsorted(before, self.lanes))
        self.changes_from = [
            (part, np.flatnonzero(np.diff(before[part], prepend=-1)))
            for part in (slice(0, opens), slice(opens, before.size))
        ]
        self.going_on_lanes = np.flatnonzero(place[self.going_on] >= 0)
        self.going_on_column = place[self.going_on[self.going_on_lanes]]
        number = np.full((self.lanes + 1, self.lanes), -1)
        number[before, lane] = np.arange(before.size)
        self.moves_from = []
        for one in range(self.lanes + 1):
            mine = np.flatnonzero(self.group_of[one, lane_of] == group)
            self.moves_from.append((mine, number[one, lane_of[mine]]))
        self.moves_on = [np.flatnonzero(group == self.going_on[k]) for k in range(self.lanes)]
        # Nothing that begins in a stretch so short ends in it, but for what opens the night.
        later = np.isin(group, self.group_of[:-1]) | np.isin(group, self.going_on)
        self.stretch = max(1, int(steps[later].min(initial=self.steps)))

    def _hours(self, name: int, lead: float, length: FloatArray) -> FloatArray:
        """Most equivalent hours of blocks of 1, 2 ... subs whose lead begins in each step."""
        placer, step = self.placer, self.step_s
        problem = placer.problem
        task = placer.lanes[name].task
        grid, worth = problem.grid_s, problem.tasks[task].worth
        sub, most = placer.sub_s[name], length.size
        offsets = problem.sub_starts_s(task, 0.0, most)
        starts = placer.start_s + step * np.arange(self.steps + 1) + lead
        open_s = starts[:, None] + offsets[None, :]

        def until(times: FloatArray) -> FloatArray:
            beyond = times - np.clip(times, grid[0], grid[-1])
            return problem.worth_until(task, times) + beyond * np.where(
                beyond > 0.0, worth[-1], worth[0]
            )

        brings = np.cumsum(until(open_s + sub) - until(open_s), axis=1)
        turn = np.abs(np.diff(np.diff(worth) / np.diff(grid), prepend=0.0, append=0.0))
        along = np.concatenate([[0.0], np.cumsum(turn)])
        first = np.searchsorted(grid, starts[:-1] - 1e-6)
        last = np.searchsorted(grid, starts[:-1, None] + length[None, :] + step + 1e-6)
        rise = step**2 / 8.0 * (along[last] - along[first][:, None])
        result = (np.maximum(brings[:-1], brings[1:]) + rise) / HOUR_S + 1e-9
        begin, end = starts[:-1, None], starts[:-1, None] + length[None, :]
        fits = np.zeros(result.shape, dtype=bool)
        for low, high in placer.spans[name]:
            fits |= (
                (begin + step > low) & (end <= high + 1e-6) & (length[None, :] <= high - low + 1e-6)
            )
        result[~fits] = NEVER
        return result

    def ends_s(
        self, step: IntArray, free_s: FloatArray, move: IntArray, after_s: FloatArray
    ) -> FloatArray:
        """First moment at which moves can end that begin in their step, the rig being free.

        They begin not before `after_s`. Seconds since the night's beginning, arrays (move,);
        infinite where a move cannot be.
        """
        moves, spans = self.moves, self.lane_spans
        begin = np.maximum(np.maximum(free_s, after_s), step * self.step_s)
        start = begin + moves.lead_s[move]
        lane = moves.lane[move]
        # The first span that is not over yet.
        over = spans[lane, :, 1] <= start[:, None]
        number = np.minimum(over.sum(axis=1), spans.shape[1] - 1)
        end = np.maximum(start, spans[lane, number, 0]) + moves.length_s[move]
        last = spans[lane, -1, 1]
        result: FloatArray = np.where(end <= last + 1e-6, end, np.inf)
        return result

    def best(self, prices: Prices) -> NightPath:
        """The best path. Its value is exact for these steps, so at least any real schedule's."""
        if self.lanes == 0 or self.moves.lane.size == 0:
            none = np.zeros(self.rows)
            return NightPath(0.0, (), none, none, none, none, 0.0)
        return self._path(self.onward(prices))

    def tolls(self, prices: Prices) -> FloatArray:
        """What each change takes, its bonus off; array (from, to)."""
        toll = self.cost - np.where(self.anew, prices.bonus[self.row][None, :], 0.0)
        toll[:, ~self.open_rows[self.row]] = -NEVER
        return toll

    def onward(self, prices: Prices) -> Onward:
        """One pass backward: the most that is to come from every step and state."""
        moves, lanes = self.moves, self.lanes
        hour = prices.hour[self.row][moves.lane]
        bend = (prices.curve / self.goal_h**2)[self.row][moves.lane]
        toll = self.tolls(prices)
        width = 2 * lanes + 1
        value = np.full((self.steps, width), NEVER)
        leave = np.full((self.steps, lanes + 1), NEVER)
        goes_on = np.full((self.steps + 1, lanes), NEVER)
        best = np.full((self.steps, self.first_of_group.size), NEVER)
        gain = np.empty(moves.hours.shape)
        resting = np.zeros(lanes)
        flat = value.reshape(-1)
        arrive = moves.steps * width + moves.state
        high = self.steps
        while high > 0:
            low = max(0, high - self.stretch)
            here = slice(low, high)
            self._gain(gain[here], low, high, hour, bend)
            index = np.arange(low, high)[:, None] * width + arrive[None, :]
            ahead = flat.take(index, mode="clip")
            ahead += gain[here]
            best[here] = np.maximum.reduceat(ahead, self.first_of_group, axis=1)
            self._leave(leave, best, here, toll, opening=False)
            goes_on[here, self.going_on_lanes] = best[here, self.going_on_column]
            # Idle until a later step; a focus run follows at once, or within a step.
            rest = np.maximum(leave[here, :lanes], resting)
            rest = np.maximum.accumulate(rest[::-1], axis=0)[::-1]
            resting = rest[0]
            soon = np.maximum(goes_on[here], goes_on[low + 1 : high + 1])
            value[here, :lanes] = np.maximum(rest, soon)
            value[here, lanes : 2 * lanes] = soon
            high = low
        # The night may open with runs shorter than a stretch: all at once, for they feed no other.
        whole = slice(0, self.steps)
        for column, first in enumerate(self.first_of_group):
            if self.opens_only[column]:
                mine = slice(first, first + int(self.group_size[column]))
                index = np.arange(self.steps)[:, None] * width + arrive[None, mine]
                best[:, column] = (gain[:, mine] + flat.take(index, mode="clip")).max(axis=1)
        self._leave(leave, best, whole, toll, opening=True)
        rest = np.maximum.accumulate(np.maximum(leave[::-1, lanes], 0.0))[::-1]
        value[:, 2 * lanes] = rest
        return Onward(prices, value, gain, leave, goes_on, toll)

    def _leave(
        self, leave: FloatArray, best: FloatArray, here: slice, toll: FloatArray, opening: bool
    ) -> None:
        """The most from beginning another run in some steps; from the night's beginning, or from
        each lane."""
        mine, first = self.changes_from[opening]
        if not first.size:
            return
        before, lane = self.changes[0][mine], self.changes[1][mine]
        way = best[here].take(self.change_column[mine], axis=1)
        way -= toll[before, lane]
        np.copyto(way, NEVER, where=self.change_barred[here, mine])
        leave[here, before[first]] = np.maximum.reduceat(way, first, axis=1)

    def _gain(
        self, out: FloatArray, low: int, high: int, hour: FloatArray, bend: FloatArray
    ) -> None:
        """What moves earn that begin in some steps: hours at their price less the curve."""
        hours = self.moves.hours[low:high]
        if bend.any():
            counted = np.minimum(hours, 0.5 * hour / np.maximum(bend, 1e-12))
            np.multiply(hour - bend * counted, counted, out=out)
        else:
            np.multiply(hours, hour, out=out)
        np.copyto(out, NEVER, where=self.never[low:high])

    def ways(self, onward: Onward, steps: IntArray, state: int) -> Ways:
        """Moves that may follow a state."""
        before = min(state, self.lanes) if state < 2 * self.lanes else self.lanes
        move, change = self.moves_from[before]
        lane = self.moves.lane[move]
        worth = self._ahead(onward, steps, move) - onward.toll[before, lane]
        worth[self.change_barred[steps[:, None], change[None, :]]] = NEVER
        changed = before, lane
        return Ways(move, worth, self.cost[changed], self.focused[changed], self.after_s[changed])

    def goes_on(self, onward: Onward, steps: IntArray, lane: int) -> Ways:
        """Blocks that go on with a lane's run after a focus run."""
        move = self.moves_on[lane]
        every = np.ones(move.size, dtype=bool)
        none = np.zeros(move.size)
        return Ways(move, self._ahead(onward, steps, move), none, every, none - np.inf)

    def _ahead(self, onward: Onward, steps: IntArray, move: IntArray) -> FloatArray:
        moves = self.moves
        arrive = (steps[:, None] + moves.steps[move]) * (2 * self.lanes + 1) + moves.state[move]
        result: FloatArray = onward.gain[steps[:, None], move]
        result += onward.value.reshape(-1).take(arrive, mode="clip")
        return result

    def _path(self, onward: Onward) -> NightPath:
        moves, lanes, value, prices = self.moves, self.lanes, onward.value, onward.prices
        hours, starts, blocks, squares = (np.zeros(self.rows) for _ in range(4))
        bend = (prices.curve / self.goal_h**2)[self.row]
        cost, step, state, since = 0.0, 0, 2 * lanes, 2
        found: list[tuple[int, int, int]] = []
        while step < self.steps:
            here = float(value[step, state])
            slack = 1e-12 + 1e-9 * abs(here)
            may_end = not lanes <= state < 2 * lanes
            if may_end and here <= slack:
                break
            before = lanes if state == 2 * lanes else state
            move, on = -1, False
            if may_end and onward.leave[step, before] >= here - slack:
                some = self.ways(onward, np.array([step]), state)
                move = int(some.move[some.worth[0].argmax()])
            elif since < 2 and onward.goes_on[step, state % lanes] >= here - slack:
                some = self.goes_on(onward, np.array([step]), state % lanes)
                move, on = int(some.move[some.worth[0].argmax()]), True
            if move < 0:
                step, since = step + 1, since + 1
                continue
            lane = int(moves.lane[move])
            row = int(self.row[lane])
            counted = float(moves.hours[step, move])
            if bend[lane] > 0.0:
                counted = min(counted, 0.5 * float(prices.hour[row]) / float(bend[lane]))
            hours[row] += counted
            squares[row] += (counted / self.goal_h[row]) ** 2
            blocks[row] += 1.0
            if not on:
                cost += float(self.cost[before, lane])
                starts[row] += self.anew[before, lane]
            ended = step + int(moves.steps[move])
            found.append((int(self.lane_name[lane]), step, ended))
            step, state, since = ended, int(moves.state[move]), 0
        return NightPath(
            float(value[0, 2 * lanes]), tuple(found), hours, starts, blocks, squares, cost
        )
