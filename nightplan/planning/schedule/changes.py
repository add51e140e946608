"""What a re-plan changes in the plan in force, filter by filter; shifts, not clock times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from nightplan.planning.schedule.blocks import Block, Schedule
from nightplan.planning.schedule.problem import HOUR_S, Problem

_Key = tuple[str, int, str]
SAME_S = 90.0
"""A shift of the start below this is none to a person at the mount."""


@dataclass(frozen=True)
class _Part:
    """Subs through one filter on one side of now, and when the first begins."""

    count: int = 0
    exposed_s: float = 0.0
    start_s: float = np.inf


def changes(problem: Problem, schedule: Schedule) -> list[str]:
    """One sentence for each filter of a target that a re-plan shoots otherwise than planned.

    Empty without a plan in force. What stays as it was comes last, in one sentence.
    """
    if problem.previous is None:
        return []
    number = len(problem.kept)
    was = _ahead(problem, problem.previous.blocks)
    new = _ahead(problem, schedule.blocks[number:])
    told: list[str] = []
    same: list[str] = []
    for key in sorted(
        {*was, *new}, key=lambda one: min(p[one].start_s for p in (was, new) if one in p)
    ):
        before, after = was.get(key, _Part()), new.get(key, _Part())
        name = _name(problem, key)
        if not after.count:
            told.append(f"{name}: dropped, {_subs(before.count)} still planned")
        elif not before.count:
            told.append(f"{name}: new, {_subs(after.count)}")
        else:
            words = _compared(before, after)
            if words:
                told.append(f"{name}: {words}")
            else:
                same.append(name)
    if same:
        told.append(f"As planned: {', '.join(same)}")
    return told


def _ahead(problem: Problem, blocks: tuple[Block, ...]) -> dict[_Key, _Part]:
    """What of some blocks lies after now, by target, panel and filter."""
    found: dict[_Key, _Part] = {}
    for block in blocks:
        starts = problem.sub_starts_s(block.task, block.start_s, block.count)
        ahead = starts[starts >= problem.now_s - 1.0]
        if ahead.size:
            pointing = problem.pointings[block.pointing]
            key = (pointing.target, pointing.panel, problem.tasks[block.task].filter)
            part = found.get(key, _Part())
            found[key] = _Part(
                part.count + ahead.size,
                part.exposed_s + ahead.size * block.sub_s,
                min(part.start_s, float(ahead[0])),
            )
    return found


def _compared(before: _Part, after: _Part) -> str:
    words = []
    if after.count != before.count:
        words.append(f"{_subs(after.count)} instead of {before.count}")
    elif after.exposed_s != before.exposed_s:
        words.append(
            f"subs of {after.exposed_s / after.count:g} s instead of "
            f"{before.exposed_s / before.count:g} s"
        )
    shift_s = after.start_s - before.start_s
    if abs(shift_s) >= SAME_S:
        size = f"{abs(shift_s) / 60:.0f} min"
        if abs(shift_s) >= HOUR_S:
            size = f"{abs(shift_s) / HOUR_S:.1f} h"
        words.append(f"{size} {'later' if shift_s > 0 else 'sooner'}")
    return ", ".join(words)


def _subs(count: int) -> str:
    return "1 sub" if count == 1 else f"{count} subs"


def _name(problem: Problem, key: _Key) -> str:
    target, panel, name = key
    several = sum(one.target == target for one in problem.pointings) > 1
    return f"{target} panel {panel} {name}" if several else f"{target} {name}"
