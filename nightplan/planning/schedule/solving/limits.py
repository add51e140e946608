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
    found: list[str] = []
    shot = {(problem.row_of_task[block.task]) for block in schedule.blocks}
    reasons: dict[str, list[str]] = {}
    for number, task in enumerate(problem.tasks):
        if problem.row_of_task[number] in shot:
            continue
        pointing = problem.pointings[task.pointing]
        why = _why_out(problem, number)
        reasons.setdefault(why, []).append(f"{pointing.target} {task.filter}")
    for why, wanted in sorted(reasons.items(), key=lambda item: (-len(item[1]), item[0])):
        names = list(dict.fromkeys(wanted))
        shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
        found.append(f"{shown}: {why}")
    return found


def _no_room(problem: Problem) -> str:
    if problem.latest_end_s < problem.window_s:
        why = problem.limits.get("latest_end", "the latest end")
        return (
            f"{why} leaves {problem.end_s / 60:.0f} min of the window, "
            f"setting up and what is past take {problem.start_s / 60:.0f} min"
        )
    return (
        f"setting up and what is past take {problem.start_s / 60:.0f} min "
        f"of a window of {problem.window_s / 60:.0f} min"
    )


def _why_out(problem: Problem, number: int) -> str:
    task = problem.tasks[number]
    if task.goal_h <= 0.0 or task.gathered_h >= task.goal_h:
        return "its goal is reached"
    ever = problem.usable_intervals(number)
    if not ever:
        return "its altitude, horizon, moon or darkness limits hold at no time of the window"
    least = max(problem.shortest_block_s, task.sub_s + problem.overheads.download_s)
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
    worth = float(np.max(np.where(task.usable, task.worth, 0.0)))
    return f"other filters earn more tonight (its worth is at most {worth:.2f})"
