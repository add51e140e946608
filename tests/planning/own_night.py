"""A night worked through sub by sub, with rules and value of its own: nothing of the solver's.

The rules are those that docs/concepts/schedule.md tells; `check` judges the result besides.
"""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np

from nightplan.planning.schedule.blocks import Block, Event, Schedule
from nightplan.planning.schedule.problem import ChangeCosts, Overheads, Pointing, Problem, Task
from nightplan.planning.value.curve import ValueCurve

Run = tuple[int, bool, int, float]
"""Task, side of the pier, subs, and idle seconds before what leads to it."""


def invented(seed: int) -> Problem:
    """A small night of any kind: panels, stops, tracking past, offsets, flats, short windows."""
    rng = np.random.default_rng([77, seed])
    window_s = float(rng.uniform(0.7, 4.5)) * 3600.0
    grid_s = np.linspace(0.0, window_s, int(window_s // 60) + 2)
    pointings, tasks = [], []
    panels = int(rng.integers(1, 3))
    new_angles = [angle for angle in (0.0, 40.0) if rng.integers(2)]
    for target in range(int(rng.integers(1, 4))):
        transit = float(rng.uniform(-0.4, 1.4) * window_s)
        for panel in range(1, panels + 1 if target == 0 else 2):
            pointings.append(
                Pointing(
                    f"T{target}", panel, 10.0 * target, 20.0, float(rng.choice([0.0, 40.0])), None,
                    transit + 300.0 * panel, float(rng.choice([1.0, 2.0])), bool(rng.integers(2)),
                )
            )  # fmt: skip
            first = pointings[-panel]
            pointings[-1] = replace(
                pointings[-1], position_angle_deg=first.position_angle_deg,
                new_angle=first.position_angle_deg in new_angles, priority=first.priority,
            )  # fmt: skip
            for name in "LRH"[: int(rng.integers(1, 4))]:
                middle, width = rng.uniform(-0.2, 1.2) * window_s, rng.uniform(0.3, 2.0) * window_s
                usable = np.ones(grid_s.size, dtype=bool)
                if rng.integers(3) == 0:
                    a, b = sorted(rng.uniform(-0.3, 1.3, 2) * window_s)
                    usable = (grid_s >= a) & (grid_s <= b)
                tasks.append(
                    Task(
                        len(pointings) - 1, name, "one", "low",
                        float(rng.choice([45.0, 120.0, 300.0, 590.0])),
                        rng.uniform(0.5, 1.0) * np.exp(-(((grid_s - middle) / width) ** 2)), usable,
                        2.0, 0.0, bool(rng.integers(2)),
                    )
                )  # fmt: skip
    early = rng.integers(3)
    rules = Overheads(
        download_s=float(rng.choice([0.0, 2.0, 7.5])),
        dither_every=int(rng.integers(1, 5)),
        dither_s=float(rng.choice([0.0, 25.0])),
        focus_s=float(rng.choice([60.0, 240.0])),
        focus_every_s=float(rng.choice([1500.0, 3600.0, 5400.0])),
        use_filter_offsets=bool(rng.integers(2)),
        focus_after_flip=bool(rng.integers(2)),
        stop_before_meridian_s=60.0 * float(rng.choice([0, 5, 30, 120])) if early == 1 else 0.0,
        track_past_meridian_s=60.0 * float(rng.choice([10, 60])) if early == 2 else 0.0,
        turn_s=float(rng.choice([0.0, 300.0])),
        turned_by_hand=bool(rng.integers(2)),
        flats_s=float(rng.choice([0.0, 150.0])),
        flats_at_end=bool(rng.integers(4) == 0),
        flips=bool(rng.integers(5)),
    )
    rows = {(pointings[task.pointing].target, pointings[task.pointing].panel, task.filter): task
            for task in tasks}  # fmt: skip
    curves = []
    for task in rows.values():
        weight = pointings[task.pointing].priority
        widths = rng.uniform(0.05, 1.2, 4)
        slopes = weight * np.sort(rng.uniform(0.05, 1.0, 4))[::-1]
        curves.append(ValueCurve.from_slopes(0.0, widths, slopes.tolist()))
    setup_s = float(rng.choice([0.0, 300.0]))
    return Problem(
        epoch_utc_mjd=61000.0,
        window_s=window_s,
        setup_s=setup_s,
        latest_end_s=window_s * float(rng.choice([1.0, 0.9])),
        grid_s=grid_s,
        pointings=tuple(pointings),
        tasks=tuple(tasks),
        curves=tuple(curves),
        overheads=rules,
        change_costs=ChangeCosts(*rng.uniform(0.0, 0.05, 4)),
        shortest_block_s=float(rng.choice([0.0, 600.0, 1200.0])),
        longest_block_s=float(rng.choice([3600.0, 14400.0])),
        focused_s=setup_s - float(rng.choice([0.0, 1200.0, 6600.0])),
    )


class OwnNight:
    """Carries orders of runs out, and values them."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.keys = list(dict.fromkeys(self._key(number) for number in range(len(problem.tasks))))

    def _key(self, task: int) -> tuple[str, int, str]:
        pointing = self.problem.pointings[self.problem.tasks[task].pointing]
        return pointing.target, pointing.panel, self.problem.tasks[task].feeds[0].goal

    def most(self, task: int) -> float:
        """Most subs of a run: all that a short set wants, which is shot in one go."""
        own = self.problem.tasks[task]
        wanted_s = 3600.0 * (own.goal_h - own.gathered_h)
        return max(1, math.ceil(wanted_s / own.sub_s - 1e-6)) if own.short else math.inf

    def shortest_s(self, task: int) -> float:
        """Length of a shortest run: a short set may be over sooner."""
        own, rules = self.problem.tasks[task], self.problem.overheads
        if not own.short:
            return self.problem.shortest_block_s
        subs = self.most(task)
        dithers = (subs - 1) // rules.dither_every
        whole_s = subs * (own.sub_s + rules.download_s) + dithers * rules.dither_s
        return min(self.problem.shortest_block_s, whole_s - 1e-6)

    def between(self, old: Run, new: Run, kinds: int) -> list[tuple[str, float]]:
        """What lies between two runs, in order."""
        problem, rules = self.problem, self.problem.overheads
        one, two = problem.tasks[old[0]], problem.tasks[new[0]]
        here, there = problem.pointings[one.pointing], problem.pointings[two.pointing]
        steps: list[tuple[str, float]] = []
        turn = abs((here.position_angle_deg - there.position_angle_deg + 90.0) % 180.0 - 90.0)
        if here.target != there.target and turn > 1.0:
            if rules.turned_by_hand and here.new_angle:
                steps.append(("flats", kinds * rules.flats_s))
            steps.append(("turn", rules.turn_s + turn * rules.turn_s_per_deg))
        flip = rules.flips and old[1] != new[1]
        if flip:
            steps.append(("flip", rules.flip_s))
        if flip or one.pointing != two.pointing:
            steps.append(("slew_centre", rules.slew_centre_s + rules.settle_s))
        focus = flip and rules.focus_after_flip
        if one.filter != two.filter:
            stored = rules.use_filter_offsets and one.focus_offset_known and two.focus_offset_known
            move = rules.offset_move_s if stored else 0.0
            steps.append(("filter_change", rules.filter_change_s + move))
            focus = focus or not stored
        if focus:
            steps.append(("focus", rules.focus_s))
        return steps

    def carried_out(self, order: list[Run]) -> Schedule | None:
        """The schedule of an order; None where a rule forbids it."""
        problem, rules = self.problem, self.problem.overheads
        blocks: list[Block] = []
        events = [Event("setup", None, 0.0, problem.setup_s)] if problem.setup_s else []
        at = problem.setup_s
        focused = at if problem.focused_s is None else problem.focused_s
        end = min(problem.window_s, problem.latest_end_s)
        owed: set[tuple[float, str]] = set()
        old: Run | None = None
        for run in order:
            task = problem.tasks[run[0]]
            pointing = problem.pointings[task.pointing]
            wait = max(run[3], 300.0 if old is not None and old[:2] == run[:2] else 0.0)
            steps = [] if old is None else self.between(old, run, len(owed))
            if any(kind == "flats" for kind, _ in steps):
                owed = set()
            first = at + wait + sum(seconds for _, seconds in steps)
            fresh = any(kind == "focus" for kind, _ in steps)
            if not fresh and first + task.sub_s > focused + rules.focus_every_s:
                steps.append(("focus", rules.focus_s))
            if wait:
                events.append(Event("idle", None, at, at + wait))
                at += wait
            for kind, seconds in steps:
                moves = kind in ("flip", "slew_centre")
                if moves and run[1] and at < pointing.transit_s - 1e-6:
                    return None
                if seconds:
                    events.append(Event(kind, task.pointing, at, at + seconds))  # type: ignore[arg-type]
                at += seconds
                focused = at if kind == "focus" else focused
            new_field = old is None or problem.tasks[old[0]].pointing != task.pointing
            if rules.flips and not run[1] and new_field and at >= pointing.transit_s:
                return None
            if old is not None and old[1] and not run[1] and not new_field:
                return None
            if run[1] and (at < pointing.transit_s or not rules.flips):
                return None
            begun, inside, start = at, 0, at
            for number in range(run[2]):
                if inside and inside % rules.dither_every == 0:
                    at += rules.dither_s
                if at + task.sub_s > focused + rules.focus_every_s and focused < at - 1e-9:
                    if inside and inside % rules.dither_every == 0:
                        at -= rules.dither_s
                    if number:
                        blocks.append(self._block(run, start, at, inside))
                    events.append(Event("focus", task.pointing, at, at + rules.focus_s))
                    at += rules.focus_s
                    focused, start, inside = at, at, 0
                at += task.sub_s + rules.download_s
                inside += 1
            blocks.append(self._block(run, start, at, inside))
            stop = pointing.transit_s + rules.track_past_meridian_s - rules.stop_before_meridian_s
            if at > end or (rules.flips and not run[1] and at > stop):
                return None
            if not self.shortest_s(run[0]) <= at - begun <= problem.longest_block_s:
                return None
            if run[2] > self.most(run[0]):
                return None
            if pointing.new_angle and rules.flats_s:
                owed.add((pointing.position_angle_deg, task.filter))
            old = run
        if rules.flats_at_end and owed and order:
            seconds = len(owed) * rules.flats_s
            if at + seconds > end:
                return None
            events.append(Event("flats", blocks[-1].pointing, at, at + seconds))
            at += seconds
        events.append(Event("idle", None, at, problem.window_s))
        return Schedule(tuple(blocks), tuple(events))

    def _block(self, run: Run, start: float, end: float, count: int) -> Block:
        task = self.problem.tasks[run[0]]
        dithers = (count - 1) // self.problem.overheads.dither_every
        return Block(run[0], task.pointing, start, end, count, task.sub_s, dithers, run[1])

    def value(self, schedule: Schedule) -> float:
        """The objective: worth over open shutter by Simpson's rule, through each row's curve."""
        problem, rules = self.problem, self.problem.overheads
        hours = dict.fromkeys(self.keys, 0.0)
        cost, angles = 0.0, set()
        costs = problem.change_costs
        old: Block | None = None
        for block in schedule.blocks:
            task, pointing = problem.tasks[block.task], problem.pointings[block.pointing]
            for number in range(block.count):
                first = block.start_s + number * (block.sub_s + rules.download_s)
                first += (number // rules.dither_every) * rules.dither_s
                times = np.linspace(first, first + block.sub_s, 101)
                worth = np.interp(times, problem.grid_s, task.worth)
                hours[self._key(block.task)] += float(np.trapezoid(worth, times)) / 3600.0
            if pointing.new_angle and pointing.target not in angles:
                angles.add(pointing.target)
                cost += costs.new_angle
            if old is not None:
                before = problem.tasks[old.task]
                cost += costs.filter_change * (before.filter != task.filter)
                there = problem.pointings[old.pointing].target
                cost += costs.target_change * (there != pointing.target)
            old = block
        total = -cost
        for key, curve in zip(self.keys, problem.curves, strict=True):
            total += float(np.interp(curve.hours_h[0] + hours[key], curve.hours_h, curve.value))
        return total

    def inside_limits(self, schedule: Schedule) -> bool:
        """Whether each block lies where its limits hold."""
        grid = self.problem.grid_s
        for block in schedule.blocks:
            first = int(np.searchsorted(grid, block.start_s + 1e-6, side="right")) - 1
            last = int(np.searchsorted(grid, block.end_s - 1e-6, side="left"))
            if (
                last >= grid.size
                or not self.problem.tasks[block.task].usable[first : last + 1].all()
            ):
                return False
        return True

    def annealed(self, seed: int, tries: int) -> tuple[float, Schedule]:
        """The best legal schedule that a simple annealing finds."""
        chance = random.Random(seed)
        empty = self.carried_out([])
        assert empty is not None
        order: list[Run] = []
        value = best = self.value(empty)
        found = empty
        for number in range(tries):
            trial = self._changed(chance, order)
            schedule = self.carried_out(trial)
            if schedule is None or not self.inside_limits(schedule):
                continue
            worth = self.value(schedule)
            heat = 0.05 * (1.0 - number / tries) ** 2 + 1e-6
            if worth >= value or chance.random() < math.exp((worth - value) / heat):
                order, value = trial, worth
                if worth > best:
                    best, found = worth, schedule
        return best, found

    def _changed(self, chance: random.Random, order: list[Run]) -> list[Run]:
        trial = list(order)
        move = chance.randrange(6)
        task = chance.randrange(len(self.problem.tasks))
        cycle = self.problem.tasks[task].sub_s + self.problem.overheads.download_s
        least = max(1, math.ceil(self.problem.shortest_block_s / cycle))
        wait = chance.choice([0.0, 0.0, 0.0, 600.0, 1800.0])
        new = (task, chance.random() < 0.5, least + chance.randrange(6), wait)
        if not trial or move == 0:
            trial.insert(chance.randint(0, len(trial)), new)
            return trial
        at = chance.randrange(len(trial))
        old = trial[at]
        if move == 1:
            trial[at] = (old[0], old[1], max(1, old[2] + chance.choice([-3, -1, 1, 2, 5])), old[3])
        elif move == 2:
            del trial[at]
        elif move == 3:
            other = chance.randrange(len(trial))
            trial[at], trial[other] = trial[other], trial[at]
        elif move == 4:
            trial[at] = (old[0], not old[1], old[2], chance.choice([0.0, old[3], 300.0, 1200.0]))
        else:
            trial[at] = new
        return trial
