"""From an order of runs to exact whole subs: the earliest placement that every rule allows.

A *lane* is a task on one side of the pier. A *run* is some subs of one lane in one go; focus
runs that the clock asks for part it into blocks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from nightplan.planning.schedule.blocks import Block, Event, EventKind, Schedule
from nightplan.planning.schedule.problem import Problem

EPS_S = 1e-7
STALE_S = 900.0
FIRST = -1
"""Stands for 'no lane yet' as the lane before the first run."""


class Run(NamedTuple):
    """A wish: `count` subs of a lane, the first not before `not_before_s`."""

    lane: int
    count: int  # type: ignore[assignment]
    not_before_s: float = -math.inf


class PlacedRun(NamedTuple):
    """A run in its place; `pieces` are (start, count) of its blocks, a focus run between."""

    lane: int
    free_s: float
    before: int
    focus_first: bool
    start_s: float
    end_s: float
    pieces: tuple[tuple[float, int], ...]
    last_focus_s: float


@dataclass(frozen=True)
class Lane:
    """A task on one side of the pier, with the spans that its blocks may lie in."""

    task: int
    after_meridian: bool
    spans: tuple[tuple[float, float], ...]


class Placer:
    """Places runs one after the other; holds everything precomputed for speed."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self._leads: dict[tuple[bool | float, ...], list[tuple[EventKind, float]]] = {}
        rules = problem.overheads
        self.lanes: list[Lane] = []
        self.start_s, self.end_s = problem.start_s, problem.end_s
        for task in range(len(problem.tasks)):
            for after in (False, True):
                spans = tuple(problem.lane_intervals(task, after))
                if spans:
                    self.lanes.append(Lane(task, after, spans))
        state = problem.state
        self.rig: Lane | None = None
        if state is not None and state.task is not None:
            self.rig = Lane(state.task, state.after_meridian, ())
        # The task whose train and camera angle the rig has before the first run.
        self.bolted = None if state is None else state.bolted if self.rig is None else state.task
        self.resumed, self.credit_s = self._resumed()
        self.first_focus_s = problem.setup_s if state is None else state.last_focus_s
        tasks = [problem.tasks[lane.task] for lane in self.lanes]
        self.sub_s = [task.sub_s for task in tasks]
        self.cycle_s = [task.sub_s + rules.download_s for task in tasks]
        # The last entry is the rig before the first run.
        self.pointing = [task.pointing for task in tasks]
        self.pointing.append(-1 if self.rig is None else problem.tasks[self.rig.task].pointing)
        self.transit_s = [problem.pointings[task.pointing].transit_s for task in tasks]
        self.after = [lane.after_meridian for lane in self.lanes]
        self.after.append(self.rig is not None and self.rig.after_meridian)
        self.spans = [lane.spans for lane in self.lanes]
        # A run that its own lane cannot take is tried on the other side of the pier.
        index = {(lane.task, lane.after_meridian): k for k, lane in enumerate(self.lanes)}
        self.sibling = [index.get((lane.task, not lane.after_meridian)) for lane in self.lanes]
        self.row = [problem.row_of_task[lane.task] for lane in self.lanes]
        self.dither_every = rules.dither_every
        self.dither_s = rules.dither_s
        self.focus_s = rules.focus_s
        self.focus_every_s = rules.focus_every_s
        self.shortest_s = problem.shortest_block_s
        self.longest_s = problem.longest_block_s
        # lead[b][l]: seconds between lanes; the last row is the start of the night.
        self.lead_s: list[list[float]] = []
        self.lead_focus: list[list[bool]] = []
        self.turns_s: list[list[float]] = []
        for before in [*range(len(self.lanes)), FIRST]:
            leads = [self._lead(before, lane) for lane in range(len(self.lanes))]
            self.lead_s.append([sum(seconds for _, seconds in lead) for lead in leads])
            self.lead_focus.append([any(kind == "focus" for kind, _ in lead) for lead in leads])
            self.turns_s.append([self._turn_s(before, lane) for lane in range(len(self.lanes))])

    def _resumed(self) -> tuple[int | None, float]:
        """The lane that the rig can simply go on with, and how long its run has lasted."""
        rig, kept = self.rig, self.problem.kept
        if rig is None:
            return None, 0.0
        key = (rig.task, rig.after_meridian)
        lane = {(k.task, k.after_meridian): n for n, k in enumerate(self.lanes)}.get(key)
        begun = self.start_s
        for block in reversed(kept):
            gap = begun - block.end_s
            if (
                block.task,
                block.after_meridian,
            ) != key or gap > self.problem.overheads.focus_s + 2:
                break
            if any(
                event.kind not in ("focus", "idle") and block.end_s - 1 <= event.start_s < begun
                for event in self.problem.kept_events
            ):
                break
            begun = block.start_s
        lasted = self.start_s - begun
        return lane, lasted + self.problem.dither_due_s if lasted > 0.0 else 0.0

    def _lead(self, before: int, lane: int) -> list[tuple[EventKind, float]]:
        new = self.lanes[lane]
        old = self.rig if before == FIRST else self.lanes[before]
        if old is None:
            return [] if self.problem.state is None else self.problem.lead_s(None, new.task)
        if before == FIRST and (old.task, old.after_meridian) == (new.task, new.after_meridian):
            return []
        one, two = self.problem.tasks[old.task], self.problem.tasks[new.task]
        same = one.pointing == two.pointing
        flip = same and old.after_meridian != new.after_meridian
        key = (
            old.task == new.task,
            same,
            flip,
            one.filter == two.filter,
            one.focus_offset_known and two.focus_offset_known,
            one.train == two.train,
            self._turn_s(before, lane),
        )
        if key not in self._leads:
            self._leads[key] = self.problem.lead_s(old.task, new.task, flip)
        return self._leads[key]

    def _turn_s(self, before: int, lane: int) -> float:
        """The part of a lead that turning the camera takes, where the train stays."""
        number = self.bolted if before == FIRST else self.lanes[before].task
        if number is None:
            return 0.0
        old, new = self.problem.tasks[number], self.problem.tasks[self.lanes[lane].task]
        if old.train != new.train:
            return 0.0
        return float(self.problem.turns_s[old.pointing, new.pointing])

    def fitting(self, lane: int, seconds: float) -> int:
        """How many subs of a lane fit into a block of so many seconds."""
        cycle = self.cycle_s[lane]
        period = self.dither_every * cycle + self.dither_s
        groups = int((seconds + self.dither_s + EPS_S) // period)
        if groups < 0:
            return 0
        rest = seconds - groups * period
        return groups * self.dither_every + max(0, int((rest + EPS_S) // cycle))

    def lasts_s(self, lane: int, count: int) -> float:
        """Length of a run that begins in fresh focus, with the focus runs that part it, seconds."""
        return self._fill(lane, 0.0, 0.0, count, 1e9)[1]

    def most_by_focus(self, lane: int) -> int:
        """Subs of a lane that one focus run holds for."""
        held = self.focus_every_s + self.cycle_s[lane] - self.sub_s[lane]
        return max(1, self.fitting(lane, held))

    def run_s(self, lane: int, count: int) -> float:
        """Length of a block, seconds."""
        return count * self.cycle_s[lane] + max(0, (count - 1) // self.dither_every) * self.dither_s

    def place_one(
        self, before: int, free_s: float, last_focus_s: float, run: Run
    ) -> PlacedRun | None:
        """Place a run after lane `before`, which is free from `free_s`; None if it cannot be.

        A run that its own lane cannot take goes to the same task's other side of the pier.
        """
        one = self._place_on(before, free_s, last_focus_s, run)
        sibling = self.sibling[run.lane]
        if one is None and sibling is not None:
            one = self._place_on(before, free_s, last_focus_s, run._replace(lane=sibling))
        return one

    def _place_on(
        self, before: int, free_s: float, last_focus_s: float, run: Run
    ) -> PlacedRun | None:
        lane, count, not_before_s = run
        lead = self.lead_s[before][lane]
        lead_focus = self.lead_focus[before][lane]
        anew = self.pointing[before] != self.pointing[lane]
        needs_early = not self.after[lane] and (anew or self.after[before])
        if self.after[lane] and lead > 0.0 and (anew or not self.after[before]):
            # A mount goes to the far side only for a target that has crossed.
            free_s = max(free_s, self.transit_s[lane])
        sub = self.sub_s[lane]
        credit = self.credit_s if before == FIRST and lane == self.resumed else 0.0
        for low, high in self.spans[lane]:
            start = max(free_s + lead, low, not_before_s)
            focus_first = False
            if lead_focus:
                focus = start
            elif (
                start - free_s - lead >= self.focus_s
                and start - self.focus_s - last_focus_s >= STALE_S
            ):
                # Waiting anyway: a focus run costs nothing and lasts longer.
                focus_first = True
                focus = start
            elif start + sub > last_focus_s + self.focus_every_s + EPS_S and start > last_focus_s:
                focus_first = True
                start = max(free_s + lead + self.focus_s, low, not_before_s)
                focus = start
            else:
                focus = last_focus_s
            if start >= high:
                continue
            if needs_early and start >= self.transit_s[lane]:
                return None
            pieces, end, focus = self._fill(
                lane, start, focus, count, min(high, start + self.longest_s - credit)
            )
            if pieces and end - start >= self.shortest_s - credit - EPS_S:
                return PlacedRun(lane, free_s, before, focus_first, start, end, pieces, focus)
        return None

    def _fill(
        self, lane: int, start: float, focus: float, count: int, high: float
    ) -> tuple[tuple[tuple[float, int], ...], float, float]:
        cycle, sub = self.cycle_s[lane], self.sub_s[lane]
        pieces: list[tuple[float, int]] = []
        at, end, left = start, start, count
        while left > 0:
            by_time = self.fitting(lane, high - at)
            # The last sub before a focus run is spared its download in the reckoning.
            by_focus = self.fitting(lane, focus + self.focus_every_s - at + cycle - sub)
            if by_focus < 1 and focus >= at:
                by_focus = 1
            number = min(left, by_time, by_focus)
            if number < 1:
                break
            if number == by_focus < min(left, by_time):
                number = self._spared(lane, number, left)
            pieces.append((at, number))
            end = at + self.run_s(lane, number)
            left -= number
            if left == 0 or number == by_time:
                break
            following = end + self.focus_s
            if following + cycle > high + EPS_S:
                break
            at = focus = following
        return tuple(pieces), end, focus

    def _spared(self, lane: int, number: int, left: int) -> int:
        """Subs before a focus run: whole rounds of dither, for its last dither is spared, if as
        few focus runs will do."""
        whole = number - number % self.dither_every
        most = self.most_by_focus(lane)
        same = -(-(left - whole) // most) == -(-(left - number) // most)
        return whole if whole and same else number

    def place(self, runs: list[Run] | tuple[Run, ...]) -> list[PlacedRun]:
        """Place runs in order, each as early as the rules allow; one that cannot be is left out."""
        placed: list[PlacedRun] = []
        before, free, focus = FIRST, self.start_s, self.first_focus_s
        for run in runs:
            one = self.place_one(before, free, focus, run)
            if one is not None:
                placed.append(one)
                before, free, focus = one.lane, one.end_s, one.last_focus_s
        return placed

    def schedule(self, placed: list[PlacedRun]) -> Schedule:
        """Blocks and events of placed runs, with what was kept, filling the window."""
        problem = self.problem
        blocks = list(problem.kept)
        events: list[Event] = []
        at = 0.0
        past: list[Block | Event] = [*problem.kept]
        past += [e for e in problem.kept_events if e.kind != "idle"]
        if not past and problem.setup_s > 0.0:
            past = [Event("setup", None, 0.0, min(problem.setup_s, problem.window_s))]
        for item in sorted(past, key=lambda item: (item.start_s, item.end_s)):
            if item.start_s > at + EPS_S:
                events.append(Event("idle", None, at, item.start_s))
            if isinstance(item, Event):
                events.append(item)
            at = item.end_s
        rules = problem.overheads
        for run in placed:
            lane = self.lanes[run.lane]
            pointing = problem.tasks[lane.task].pointing
            lead: list[tuple[EventKind, float]] = self._lead(run.before, run.lane)
            if run.focus_first:
                lead = [*lead, ("focus", rules.focus_s)]
            begin = run.start_s - sum(seconds for _, seconds in lead)
            if begin > at + EPS_S:
                events.append(Event("idle", None, at, begin))
                at = begin
            for kind, seconds in lead:
                events.append(Event(kind, pointing, at, at + seconds))
                at += seconds
            for number, (start, count) in enumerate(run.pieces):
                if number:
                    events.append(Event("focus", pointing, at, start))
                at = start + self.run_s(run.lane, count)
                blocks.append(
                    Block(
                        task=lane.task,
                        pointing=pointing,
                        start_s=start,
                        end_s=at,
                        count=count,
                        sub_s=self.sub_s[run.lane],
                        dithers=max(0, (count - 1) // rules.dither_every),
                        after_meridian=lane.after_meridian,
                    )
                )
        if problem.window_s > at + EPS_S:
            events.append(Event("idle", None, at, problem.window_s))
        return Schedule(tuple(blocks), tuple(events))
