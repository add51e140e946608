"""Why each block is when it is: sentences computed from differences of worth, never canned.

A block is compared with the same filter at the night's other usable times, and with the other
blocks' times: what would be lost if the two filters changed places. The largest difference
speaks; altitude and moon, where the problem carries them, say what lies behind it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from nightplan.number_forms import percent
from nightplan.planning.schedule.blocks import Block, Schedule
from nightplan.planning.schedule.problem import HOUR_S, FloatArray, Problem

TELLING = 0.03
"""A difference of worth below this says nothing."""


def reasons(problem: Problem, schedule: Schedule) -> list[str]:
    """One sentence for each block of the schedule, in its order.

    What a re-plan found shot needs no reason but its efficiency, and is no alternative
    to what comes.
    """
    kept = len(problem.kept)
    ahead = replace(schedule, blocks=schedule.blocks[kept:])
    words = [_shot(problem, block) for block in schedule.blocks[:kept]]
    return words + [_reason(problem, ahead, number) for number in range(len(ahead.blocks))]


def _shot(problem: Problem, block: Block) -> str:
    worth = mean_worth(problem, block.task, block.start_s, block.end_s)
    name = problem.tasks[block.task].set_name
    return f"{name} is already shot, at an efficiency of {percent(worth)}"


def mean_worth(problem: Problem, task: int, start_s: float, end_s: float) -> float:
    """Mean worth of a task between two times, over its goals."""
    if end_s <= start_s:
        return 0.0
    low, high = problem.worth_until(task, np.array([start_s, end_s])).mean(axis=0)
    return float(high - low) / (end_s - start_s)


def _reason(problem: Problem, schedule: Schedule, number: int) -> str:
    block = schedule.blocks[number]
    task = problem.tasks[block.task]
    if task.short:
        return f"{task.filter}: short subs for the bright core, which the normal ones burn out"
    here = mean_worth(problem, block.task, block.start_s, block.end_s)
    parts = [
        part
        for part in (
            _against_times(problem, schedule, block, here),
            _against_swap(problem, schedule, number, here),
            _against_filters(problem, schedule, block),
        )
        if part
    ]
    if not parts:
        return (
            f"{task.set_name}: efficiency {percent(here)} here and much the same at its other times"
        )
    return f"{task.set_name} " + "; ".join(parts)


def _against_times(problem: Problem, schedule: Schedule, block: Block, here: float) -> str:
    """Against windows of the same length through the rest of its usable time.

    Times that its other blocks take are no alternative, and are left out.
    """
    own = [(b.start_s, b.end_s) for b in schedule.blocks if b.task == block.task]
    length = block.end_s - block.start_s
    others: list[tuple[float, float]] = []
    for rise, set_ in problem.usable_intervals(block.task):
        first, last = max(rise, problem.start_s), min(set_, problem.end_s)
        if last - first < 60.0:
            continue
        for start in np.arange(first, max(first, last - length) + 1.0, 900.0):
            end = min(last, start + length)
            if all(end <= low or start >= high for low, high in own):
                others.append((mean_worth(problem, block.task, start, end), float(start)))
    if not others:
        spans = problem.usable_intervals(block.task)
        whole = sum(high - low for low, high in spans)
        if whole < 0.9 * (problem.end_s - problem.start_s):
            return f"has only {whole / 60:.0f} min tonight inside its limits, and this is in them"
        return "takes all of the time that it can use"
    worst, worst_s = min(others)
    best, best_s = max(others)
    early_or_late = f"{_when(worst_s - block.start_s)} {percent(worst)}"
    if here >= best - TELLING and here - worst > TELLING:
        sky = _sky(problem, block)
        return f"is at its best now ({sky}efficiency {percent(here)}; {early_or_late})"
    now = f"counts {percent(here)} now{_sky_bracket(problem, block)}"
    when_best = _when(best_s - block.start_s)
    if here - worst > TELLING:
        return f"{now}; {early_or_late}, {when_best} {percent(best)}"
    if best - here > TELLING:
        return (
            f"{now}; {when_best} it would be {percent(best)}, but others gain more from that time"
        )
    span = f"{percent(worst)} to {percent(max(best, here))}"
    return f"hardly minds when (efficiency {span} over the night)"


def _when(offset_s: float) -> str:
    hours = abs(offset_s) / HOUR_S
    amount = f"{hours:.1f} h" if hours >= 1.0 else f"{abs(offset_s) / 60:.0f} min"
    return f"{amount} later" if offset_s > 0.0 else f"{amount} earlier"


def _against_swap(problem: Problem, schedule: Schedule, number: int, here: float) -> str:
    """The block whose time would cost most if the two changed places."""
    block = schedule.blocks[number]
    found = ""
    most = 0.02
    for other in schedule.blocks:
        if other.task == block.task:
            continue
        there = mean_worth(problem, other.task, other.start_s, other.end_s)
        mine_there = _worth_if_usable(problem, block.task, other)
        other_here = _worth_if_usable(problem, other.task, block)
        if mine_there is None or other_here is None:
            continue
        share = (here + there - mine_there - other_here) / max(here + there, 1e-9)
        if share > most:
            most = share
            name = _label(problem, block, other)
            found = f"changing places with {name} would lose {percent(share)} of both"
    return found


def _worth_if_usable(problem: Problem, task: int, at: Block) -> float | None:
    for low, high in problem.usable_intervals(task):
        if low <= at.start_s + 1.0 and high >= at.end_s - 1.0:
            return mean_worth(problem, task, at.start_s, at.end_s)
    return None


def _label(problem: Problem, block: Block, other: Block) -> str:
    target = problem.pointings[other.pointing].target
    name = problem.tasks[other.task].set_name
    same = target == problem.pointings[block.pointing].target
    return name if same else f"{target} {name}"


def _against_filters(problem: Problem, schedule: Schedule, block: Block) -> str:
    """Filters of the same target that cannot be used now, or lose far more of their worth."""
    barred, dimmed = [], []
    for number, task in enumerate(problem.tasks):
        if task.pointing != block.pointing or task.filter == problem.tasks[block.task].filter:
            continue
        if task.train != problem.tasks[block.task].train:
            continue
        now = _worth_if_usable(problem, number, block)
        usable_worth = task.mean_worth[task.usable]
        if usable_worth.size == 0:
            continue
        if now is None:
            barred.append(task.filter)
        elif now < 0.6 * float(usable_worth.max()):
            dimmed.append(task.filter)
    said = []
    if barred:
        said.append(f"{', '.join(barred)} cannot be used at this time")
    if dimmed:
        behind = " under the moon" if _moon_up(problem, block) else ""
        whose = "its" if len(dimmed) == 1 else "their"
        said.append(f"{', '.join(dimmed)} would lose over 40 % of {whose} best efficiency{behind}")
    return "; ".join(said)


def _mean_at(problem: Problem, samples: FloatArray, block: Block) -> float:
    times = np.linspace(block.start_s, block.end_s, 9)
    return float(np.mean(np.interp(times, problem.grid_s, samples)))


def _moon_up(problem: Problem, block: Block) -> bool:
    moon = problem.moon_altitude_deg
    return moon is not None and _mean_at(problem, moon, block) > 0.0


def _sky(problem: Problem, block: Block) -> str:
    """'at 63 deg, moon down, ' as far as the problem knows."""
    words = []
    if problem.altitude_deg is not None:
        altitude = problem.altitude_deg[block.pointing]
        mean = _mean_at(problem, altitude, block)
        words.append(f"at {mean:.0f}° altitude")
    if problem.moon_altitude_deg is not None and np.any(problem.moon_altitude_deg > 0.0):
        words.append("moon up" if _moon_up(problem, block) else "moon down")
    return ", ".join(words) + ", " if words else ""


def _sky_bracket(problem: Problem, block: Block) -> str:
    words = _sky(problem, block).removesuffix(", ")
    return f" ({words})" if words else ""
