"""The rest of a night as a problem of its own: what was shot is kept, the rest is open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from nightplan.planning.schedule.blocks import Block, Event, Schedule
from nightplan.planning.schedule.problem import Problem, RigState

PAUSE_S = 600.0
"""After a longer pause the field is centred and focused anew (common practice, no source)."""


def resume(
    problem: Problem,
    in_force: Schedule,
    now_s: float,
    done: Mapping[str, int] | None = None,
    rounding_s: float = 1e-6,
    finish_sub: bool = True,
) -> Problem:
    """The rest of the night as a problem of its own.

    Parameters
    ----------
    problem : Problem
        The night as it was planned, nothing kept.
    in_force : Schedule
        The plan that was being carried out.
    now_s : float
        Now, seconds since the window's start.
    done : mapping of filter to count, optional
        Subs really shot of each filter before now, where that differs from the plan. Of filters
        that it names, earlier blocks are kept first and cut to the count; blocks cannot gain
        subs that the plan did not have.
    rounding_s : float
        A sub that ends so little after now counts as shot.
    finish_sub : bool
        Whether a sub that is open now is finished and counts, unless `done` names its filter.

    Returns
    -------
    Problem
        With `kept`, `kept_events`, `state`, `now_s` and `previous` set. A slew, filter change,
        flip or focus run under way is finished, with what leads to the block behind it, unless
        `done` names anything.
    """
    done = done or {}
    now_s = min(max(now_s, 0.0), problem.window_s)
    if finish_sub:
        now_s = max([now_s, *_open_sub_ends(problem, in_force, now_s, done)])
    coming = None if done else _block_being_led_to(in_force, now_s)
    if coming is not None:
        now_s = coming.start_s
    left = dict(done)
    kept: list[Block] = []
    for block in in_force.blocks:
        starts = problem.sub_starts_s(block.task, block.start_s, block.count)
        length = block.sub_s + problem.overheads.download_s
        shot = int((starts + length <= now_s + rounding_s).sum())
        name = problem.tasks[block.task].filter
        if name in left:
            shot = min(shot, left[name])
            left[name] -= shot
        if shot > 0:
            kept.append(_cut(problem, block, shot))
    events = _events_before(in_force, kept, now_s)
    return replace(
        problem,
        now_s=now_s,
        kept=tuple(kept),
        kept_events=tuple(events),
        state=_state(problem, in_force, kept, events, now_s, coming),
        previous=in_force,
    )


def _open_sub_ends(
    problem: Problem, in_force: Schedule, now_s: float, done: Mapping[str, int]
) -> list[float]:
    """End of the sub, its download included, that is open now; empty if none is."""
    ends = []
    for block in in_force.blocks:
        if problem.tasks[block.task].filter not in done:
            starts = problem.sub_starts_s(block.task, block.start_s, block.count)
            over = starts + block.sub_s + problem.overheads.download_s
            ends += [float(end) for end in over[(starts < now_s) & (over > now_s)]]
    return ends


def _cut(problem: Problem, block: Block, count: int) -> Block:
    return replace(
        block,
        count=count,
        end_s=block.start_s + problem.run_s(block.task, count),
        dithers=max(0, (count - 1) // problem.overheads.dither_every),
    )


def _events_before(in_force: Schedule, kept: list[Block], now_s: float) -> list[Event]:
    """Events before now, cut so that none overlaps a block: times may have been rounded."""
    events = []
    for event in in_force.events:
        start, end = event.start_s, min(event.end_s, now_s)
        for block in kept:
            if start < block.end_s and end > block.start_s:
                if start < block.start_s:
                    end = min(end, block.start_s)
                else:
                    start = max(start, block.end_s)
        if event.kind != "idle" and end > start:
            events.append(replace(event, start_s=start, end_s=end))
    return events


def _block_being_led_to(in_force: Schedule, now_s: float) -> Block | None:
    """The next block, if a slew, filter change, flip or focus run before it is under way."""
    coming = next((block for block in in_force.blocks if block.start_s > now_s), None)
    for event in in_force.events:
        if event.kind not in ("idle", "setup") and event.start_s < now_s < event.end_s:
            return coming
    return None


def _state(
    problem: Problem,
    in_force: Schedule,
    kept: list[Block],
    events: list[Event],
    now_s: float,
    coming: Block | None,
) -> RigState | None:
    focused = [e.end_s for e in events if e.kind == "focus" and e.end_s <= now_s]
    last_focus_s = max([problem.setup_s, *focused])
    if coming is not None:
        return RigState(coming.task, coming.after_meridian, last_focus_s)
    if not kept and (not in_force.blocks or now_s <= in_force.blocks[0].start_s):
        # Still standing where setting up ended.
        return None
    if not kept or now_s - kept[-1].end_s > PAUSE_S:
        return RigState(None)
    last = kept[-1]
    if any(e.start_s >= last.end_s - 1e-6 and e.kind != "focus" for e in events):
        return RigState(None)
    return RigState(last.task, last.after_meridian, last_focus_s)
