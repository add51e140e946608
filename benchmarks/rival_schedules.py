"""Other ways to fill the same night, wrapped to the same blocks, rules and scoring.

Each gives an order of runs; `Placer` carries it out under the same rules, so that no rival breaks
one, and `evaluate` scores it. astroplan's schedulers see the same sky: their constraint is the
instance's worth, their transitions the instance's leads.
"""

from __future__ import annotations

import warnings

import numpy as np

from nightplan.planning.schedule.blocks import Schedule
from nightplan.planning.schedule.problem import Problem
from nightplan.planning.schedule.schedule import evaluate
from nightplan.planning.schedule.solving.placement import FIRST, Placer, Run

SIZES_MIN = (20.0, 40.0, 60.0, 90.0)


def best_of(problem: Problem, orders: list[list[Run]]) -> Schedule:
    """The best of several orders as carried out: a rival may choose its block length."""
    placer = Placer(problem)
    schedules = [placer.schedule(placer.place(_merged(order))) for order in orders]
    return max(schedules, key=lambda schedule: evaluate(problem, schedule).value)


def _merged(order: list[Run]) -> list[Run]:
    merged: list[Run] = []
    for run in order:
        if merged and merged[-1].lane == run.lane:
            merged[-1] = merged[-1]._replace(count=merged[-1].count + run.count)
        else:
            merged.append(run)
    return merged


def _lane_at(placer: Placer, task: int, time_s: float) -> int | None:
    """The side of the pier that a task is on at a time, if it is usable at all."""
    lanes = [k for k, lane in enumerate(placer.lanes) if lane.task == task]
    for lane in lanes:
        if any(low <= time_s + 1.0 and time_s < high for low, high in placer.spans[lane]):
            return lane
    return lanes[0] if lanes else None


def greedy(problem: Problem) -> Schedule:
    """Best next: whatever gains most per minute from now, lead and change cost included."""
    return best_of(problem, [_greedy(problem, 60.0 * size) for size in SIZES_MIN])


def _greedy(problem: Problem, size_s: float) -> list[Run]:
    placer = Placer(problem)
    order: list[Run] = []
    placed, value = placer.place(order), evaluate(problem, placer.schedule([])).value
    while True:
        free = placed[-1].end_s if placed else placer.start_s
        best, rate = None, 0.0
        for lane in range(len(placer.lanes)):
            run = Run(lane, max(1, placer.fitting(lane, size_s)))
            if order and order[-1].lane == lane:
                wish = [*order[:-1], run._replace(count=order[-1].count + run.count)]
                found = [*placed[:-1], *placer.place(wish)[-1:]]
            else:
                before = placed[-1].lane if placed else FIRST
                focus = placed[-1].last_focus_s if placed else placer.first_focus_s
                wish = [*order, run]
                one = placer.place_one(before, free, focus, run)
                found = [*placed, one] if one is not None else placed
            taken = (found[-1].end_s if found else free) - free
            if taken <= 1.0:
                continue
            gained = evaluate(problem, placer.schedule(found)).value - value
            if gained / taken > rate:
                best, rate = (wish, found), gained / taken
        if best is None:
            return order
        order, placed = best
        value = evaluate(problem, placer.schedule(placed)).value


def equal_split(problem: Problem) -> Schedule:
    """Every filter the same time: of all targets, or of the best few, in order of transit."""
    placer = Placer(problem)
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
                if task.pointing == pointing and any(k.task == number for k in placer.lanes)
            ]
            if not tasks:
                continue
            share_s = (placer.end_s - placer.start_s) / len(tasks) - 300.0
            order, at = [], placer.start_s
            for task in tasks:
                lane = _lane_at(placer, task, at)
                if lane is not None:
                    order.append(Run(lane, max(1, placer.fitting(lane, max(0.0, share_s)))))
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
    placer = Placer(problem)
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
        lanes = [k for k, lane in enumerate(placer.lanes) if lane.task == task]
        if not lanes:
            continue
        count = max(1, placer.fitting(lanes[0], 60.0 * size_min))
        hours = count * item.sub_s / 3600.0
        room = max(0.0, item.goal_h - item.gathered_h)
        wanted = max(1, min(8, round(room / hours)))
        pointing = problem.pointings[item.pointing]
        for number in range(wanted):
            block = ObservingBlock(
                FixedTarget(pole, name=pointing.target),
                round(placer.run_s(lanes[0], count)) * u.s,
                # Lower is first: important targets, then one block of every filter, and so on.
                number / pointing.priority,
                configuration={"task": task, "count": count},
                constraints=[Worth(task)],
            )
            blocks.append(block)

    def transition(old, new, start, observer):  # type: ignore[no-untyped-def]
        lead = problem.lead_s(old.configuration["task"], new.configuration["task"])
        seconds = sum(s for _, s in lead)
        if old.configuration["task"] == new.configuration["task"]:
            return None
        return TransitionBlock({"lead": seconds * u.s}, start)

    start = Time(problem.epoch_utc_mjd + placer.start_s / 86400.0, format="mjd")
    end = Time(problem.epoch_utc_mjd + placer.end_s / 86400.0, format="mjd")
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
        lane = _lane_at(placer, block.configuration["task"], begins)
        if lane is not None:
            order.append(Run(lane, block.configuration["count"], begins - 600.0))
    return order
