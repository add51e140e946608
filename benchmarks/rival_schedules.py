"""Other ways to fill the same night, wrapped to the same blocks, rules and scoring.

Each gives an order of runs; `Night` carries it out under the same rules, so that no rival breaks
one, and `evaluate` scores it. astroplan's schedulers see the same sky: their constraint is the
instance's worth, their transitions the instance's leads.
"""

from __future__ import annotations

import warnings

import numpy as np

from nightplan.planning.schedule.blocks import Schedule
from nightplan.planning.schedule.problem import Problem
from nightplan.planning.schedule.rules import RigNow
from nightplan.planning.schedule.solving.annealing import carry_out
from nightplan.planning.schedule.solving.building import order_of, schedule_of
from nightplan.planning.schedule.solving.placing import room_for
from nightplan.planning.schedule.solving.tables import tables_of

SIZES_MIN = (20.0, 40.0, 60.0, 90.0)
Run = tuple[int, int]
"""Lane and subs."""


class Night:
    """A problem with what carries an order of runs out."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.tables = tables_of(problem)
        self.placed = room_for(self.tables)
        self.lanes = int(self.tables.sub.size)
        self.start_s, self.end_s = problem.start_s, problem.end_s

    def value(self, order: list[Run]) -> float:
        """Objective of an order."""
        found, size = order_of([(lane, count, 0.0) for lane, count in order])
        return carry_out(self.tables, self.placed, found, size)

    def free_s(self) -> float:
        """When the order valued last is over."""
        runs = int(self.placed.number[0])
        return float(self.placed.end_s[runs - 1]) if runs else self.start_s

    def schedule(self, order: list[Run]) -> Schedule:
        """An order carried out."""
        self.value(order)
        return schedule_of(self.problem, self.tables, self.placed)

    def fitting(self, lane: int, length_s: float) -> int:
        """Subs of a lane that a block of a length holds, at least one."""
        count = 1
        task = int(self.tables.task[lane])
        while self.problem.run_s(task, count + 1) <= length_s:
            count += 1
        return count

    def lane_at(self, task: int, time_s: float) -> int | None:
        """The side of the pier that a task is on at a time, if it is usable at all."""
        lanes = np.flatnonzero(self.tables.task == task)
        for lane in lanes:
            low, high = self.tables.low[lane], self.tables.high[lane]
            if ((low <= time_s + 1.0) & (time_s < high)).any():
                return int(lane)
        return int(lanes[0]) if lanes.size else None


def best_of(problem: Problem, orders: list[list[Run]]) -> Schedule:
    """The best of several orders as carried out: a rival may choose its block length."""
    night = Night(problem)
    return night.schedule(max(orders, key=night.value))


def greedy(problem: Problem) -> Schedule:
    """Best next: whatever gains most per minute from now, lead and change cost included."""
    return best_of(problem, [_greedy(problem, 60.0 * size) for size in SIZES_MIN])


def _greedy(problem: Problem, size_s: float) -> list[Run]:
    night = Night(problem)
    order: list[Run] = []
    value, free = night.value(order), night.start_s
    while True:
        best, rate = None, 0.0
        for lane in range(night.lanes):
            wish = [*order, (lane, night.fitting(lane, size_s))]
            gained = night.value(wish) - value
            taken = night.free_s() - free
            if taken > 1.0 and gained / taken > rate:
                best, rate = wish, gained / taken
        if best is None:
            return order
        order = best
        value, free = night.value(order), night.free_s()


def equal_split(problem: Problem) -> Schedule:
    """Every filter the same time: of all targets, or of the best few, in order of transit."""
    night = Night(problem)
    targets = sorted(
        range(len(problem.pointings)), key=lambda index: problem.pointings[index].transit_s
    )
    orders = []
    for first in range(len(targets)):
        for last in range(first + 1, len(targets) + 1):
            tasks = [
                number
                for pointing in targets[first:last]
                for number, task in enumerate(problem.tasks)
                if task.pointing == pointing and (night.tables.task == number).any()
            ]
            if not tasks:
                continue
            share_s = (night.end_s - night.start_s) / len(tasks) - 300.0
            order, at = [], night.start_s
            for task in tasks:
                lane = night.lane_at(task, at)
                if lane is not None:
                    order.append((lane, night.fitting(lane, share_s)))
                    at += share_s + 300.0
            orders.append(order)
    return best_of(problem, orders or [[]])


def astroplan_schedule(problem: Problem, kind: str) -> Schedule:
    """astroplan's SequentialScheduler or PriorityScheduler over blocks of equal length."""
    return best_of(problem, [_astroplan(problem, kind, size) for size in SIZES_MIN[1:3]])


def _astroplan(problem: Problem, kind: str, size_min: float) -> list[Run]:
    import astropy.units as u
    from astroplan import FixedTarget, Observer, ObservingBlock, TransitionBlock
    from astroplan.scheduling import PriorityScheduler, SequentialScheduler
    from astroplan.scheduling import Schedule as Slots
    from astropy.coordinates import EarthLocation, SkyCoord
    from astropy.time import Time
    from astropy.utils import iers

    iers.conf.auto_download = False
    iers.conf.auto_max_age = None
    night = Night(problem)
    # A place in the sky that never sets: what may be shot when is the constraint's affair.
    pole = SkyCoord(0.0 * u.deg, 89.0 * u.deg)
    site = Observer(location=EarthLocation.from_geodetic(0.0 * u.deg, 38.6 * u.deg, 0.0 * u.m))

    class Worth:
        """Worth of a task where it is usable, else nothing."""

        def __init__(self, task: int) -> None:
            item = problem.tasks[task]
            self.worth = np.where(item.usable, item.worth, 0.0)

        def __call__(self, observer, targets, times=None, **more):  # type: ignore[no-untyped-def]
            seconds = (times.mjd - problem.epoch_utc_mjd) * 86400.0
            return np.interp(seconds, problem.grid_s, self.worth, left=0.0, right=0.0)

    blocks = []
    for task, item in enumerate(problem.tasks):
        lane = night.lane_at(task, night.start_s)
        if lane is None:
            continue
        count = night.fitting(lane, 60.0 * size_min)
        hours = count * item.sub_s / 3600.0
        room = max(0.0, item.goal_h - item.gathered_h)
        wanted = max(1, min(8, round(room / hours)))
        pointing = problem.pointings[item.pointing]
        for number in range(wanted):
            block = ObservingBlock(
                FixedTarget(pole, name=pointing.target),
                round(problem.run_s(task, count)) * u.s,
                # Lower is first: important targets, then one block of every filter, and so on.
                number / pointing.priority,
                configuration={"task": task, "count": count},
                constraints=[Worth(task)],
            )
            blocks.append(block)

    def transition(old, new, start, observer):  # type: ignore[no-untyped-def]
        before = RigNow(old.configuration["task"])
        lead = problem.rules.lead(before, new.configuration["task"], False)
        seconds = sum(s for _, s in lead)
        if old.configuration["task"] == new.configuration["task"]:
            return None
        return TransitionBlock({"lead": seconds * u.s}, start)

    start = Time(problem.epoch_utc_mjd + night.start_s / 86400.0, format="mjd")
    end = Time(problem.epoch_utc_mjd + night.end_s / 86400.0, format="mjd")
    maker = SequentialScheduler if kind == "sequential" else PriorityScheduler
    scheduler = maker(
        constraints=[], observer=site, transitioner=transition, time_resolution=120.0 * u.s
    )
    slots = Slots(start, end)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        scheduler(blocks, slots)
    order = []
    for block in sorted(slots.observing_blocks, key=lambda block: block.start_time.mjd):
        begins = (block.start_time.mjd - problem.epoch_utc_mjd) * 86400.0
        lane = night.lane_at(block.configuration["task"], begins)
        if lane is not None:
            order.append((lane, block.configuration["count"]))
    return order
