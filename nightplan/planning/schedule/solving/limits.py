"""Which limit stands in the way: for nights with nothing to shoot, and for wishes left out."""

from __future__ import annotations

import numpy as np

from nightplan.planning.schedule.blocks import Schedule
from nightplan.planning.schedule.problem import Problem


def binding_limits(problem: Problem, schedule: Schedule) -> list[str]:
    """Sentences on what keeps tasks out of the night, the widest first.

    Each task without a block is put down to the first of these that holds: no window, set-up
    longer than what is left, limits that never hold, spans shorter than the shortest block (the
    meridian stop included), goal already reached; what remains simply earned less than others.
    """
    if problem.window_s <= 0.0:
        return ["the night has no dark window"]
    if problem.end_s <= problem.start_s:
        return [_no_room(problem)]
    shot = {row for block in schedule.blocks for row in problem.rows_of_task[block.task]}
    reasons: dict[str, dict[str, list[str]]] = {}
    for number, task in enumerate(problem.tasks):
        if shot.issuperset(problem.rows_of_task[number]):
            continue
        own = reasons.setdefault(_why_out(problem, number), {})
        filters = own.setdefault(_field(problem, task.pointing), [])
        if task.set_name not in filters:
            filters.append(task.set_name)
    widest = sorted(reasons.items(), key=lambda item: (-sum(map(len, item[1].values())), item[0]))
    found = []
    for why, wanted in widest:
        names = ", ".join(f"{name} {' '.join(filters)}" for name, filters in wanted.items())
        found.append(f"{names}: {why}")
    return found


def _field(problem: Problem, pointing: int) -> str:
    """A target's name, with the panel where it has several."""
    one = problem.pointings[pointing]
    several = sum(other.target == one.target for other in problem.pointings) > 1
    return f"{one.target} panel {one.panel}" if several else one.target


def _no_room(problem: Problem) -> str:
    if problem.latest_end_s < problem.window_s:
        why = problem.limits.get("latest_end", "work has to end early")
        if problem.end_s <= 0.0:
            return f"{why}: that is before the window begins"
        return (
            f"{why}: that is {problem.end_s / 60:.0f} min into the window, and "
            f"setting up and what is past take {problem.start_s / 60:.0f} min of it"
        )
    return (
        f"setting up and what is past take {problem.start_s / 60:.0f} min "
        f"of a window of {problem.window_s / 60:.0f} min"
    )


def _why_out(problem: Problem, number: int) -> str:
    task = problem.tasks[number]
    if all(feed.goal_h <= 0.0 or feed.gathered_h >= feed.goal_h for feed in task.feeds):
        return "its goal is reached"
    ever = problem.usable_intervals(number)
    if not ever:
        return task.why_never
    least = max(problem.shortest_s[number], task.sub_s + problem.overheads.download_s)
    spans = problem.lane_intervals(number, False) + problem.lane_intervals(number, True)
    longest = max((high - low for low, high in spans), default=0.0)
    if longest < least:
        clear = max(high - low for low, high in ever)
        cut = (
            "the meridian stop, set-up or the latest end cut"
            if clear >= least
            else "its limits leave"
        )
        return (
            f"{cut} it to {longest / 60:.0f} min at a stretch, "
            f"the shortest block is {least / 60:.0f} min"
        )
    worth = float(np.max(np.where(task.usable, task.mean_worth, 0.0)))
    return f"other filters earn more tonight (its efficiency is at most {100.0 * worth:.0f} %)"
