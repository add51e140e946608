"""The rest of a night as a problem of its own: what was shot is kept, the rest is open."""

from __future__ import annotations

import math
from dataclasses import replace

from nightplan.planning.schedule.blocks import Block, Event, Schedule
from nightplan.planning.schedule.done import Done, done_key
from nightplan.planning.schedule.problem import Problem, RigState
from nightplan.planning.schedule.solving.shot import shot_before

PAUSE_S = 600.0
"""After a longer pause guiding is lost and the field is centred anew (common practice)."""


def resume(
    problem: Problem,
    in_force: Schedule,
    now_s: float,
    done: Done | None = None,
    rounding_s: float = 1e-6,
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
    done : mapping of filter, or of target and filter, to count, optional
        Subs really shot before now, where that differs from the plan; where they are put is told
        in `nightplan.planning.schedule.solving.shot`.
    rounding_s : float
        How far times of the plan may be off: a sub that ends so little after now counts as shot.

    Returns
    -------
    Problem
        With `kept`, `kept_events`, `state`, `now_s` and `previous` set. What is under way now is
        finished first, and counts: a sub, or a slew, filter change, flip or focus run with what
        leads to the block behind it; unless `done` counts what it is for.

    Raises
    ------
    InputError
        As of `shot_before`.
    """
    done = done or {}
    now_s = min(max(now_s, 0.0), problem.window_s)
    now_s = max([now_s, *_open_sub_ends(problem, in_force, now_s, done, rounding_s)])
    coming = _block_being_led_to(in_force, now_s)
    if coming is not None and done_key(problem, coming.task, done) is not None:
        coming = None
    if coming is not None:
        now_s = coming.start_s
    kept, events = shot_before(problem, in_force, now_s, done, rounding_s)
    state = _state(problem, in_force, kept, events, now_s, coming)
    if state is not None and state.task is None:
        state = replace(state, bolted=_bolted(in_force, now_s))
    return replace(
        problem,
        now_s=now_s,
        kept=tuple(kept),
        kept_events=tuple(events),
        state=state,
        previous=in_force,
    )


def _open_sub_ends(
    problem: Problem,
    in_force: Schedule,
    now_s: float,
    done: Done,
    rounding_s: float,
) -> list[float]:
    """End of the sub, its download included, that is open now; empty if none is."""
    ends = []
    for block in in_force.blocks:
        if done_key(problem, block.task, done) is None:
            starts = problem.sub_starts_s(block.task, block.start_s, block.count)
            over = starts + block.sub_s + problem.overheads.download_s
            ends += [float(end) for end in over[(starts < now_s) & (over > now_s + rounding_s)]]
    return ends


def _block_being_led_to(in_force: Schedule, now_s: float) -> Block | None:
    """The next block, if a change of train, filter or side, a slew or a focus run before it is
    under way."""
    coming = next((block for block in in_force.blocks if block.start_s > now_s), None)
    for event in in_force.events:
        # Of the events idle time and the night's own set-up serve no target.
        if event.pointing is not None and event.start_s < now_s < event.end_s:
            return coming
    return None


def _bolted(in_force: Schedule, now_s: float) -> int | None:
    """The task whose train and camera angle the rig has: the last begun, or the next one after a
    change of train that is over."""
    begun = [block for block in in_force.blocks if block.start_s <= now_s]
    since_s = begun[-1].start_s if begun else 0.0
    changed = any(
        event.kind == "setup" and event.pointing is not None and since_s < event.end_s <= now_s
        for event in in_force.events
    )
    if changed:
        return next((block.task for block in in_force.blocks if block.start_s > now_s), None)
    return begun[-1].task if begun else None


def _state(
    problem: Problem,
    in_force: Schedule,
    kept: list[Block],
    events: list[Event],
    now_s: float,
    coming: Block | None,
) -> RigState | None:
    focused = [e.end_s for e in events if e.kind == "focus" and e.end_s <= now_s]
    last_focus_s = max([problem.last_focus_s, *focused])
    if coming is not None:
        return RigState(coming.task, coming.after_meridian, last_focus_s)
    if not kept and (not in_force.blocks or now_s <= in_force.blocks[0].start_s):
        # Still standing where setting up ended.
        return None
    begun = [block for block in in_force.blocks if block.start_s <= now_s]
    on, since_s = (kept[-1], kept[-1].end_s) if kept else (None, -math.inf)
    if begun and begun[-1].start_s >= since_s - 1.0 and now_s < begun[-1].end_s:
        # Its first sub is open, or was lost.
        on, since_s = begun[-1], begun[-1].start_s
    turned = any(e.start_s >= since_s - 1e-6 and e.kind != "focus" for e in events)
    if on is None or turned or now_s - since_s > max(PAUSE_S, _sub_s(problem, on)):
        # Clouds, or a pause: guiding is lost, but tube, filter and focus are as they were.
        side = begun[-1].after_meridian if begun else False
        return RigState(None, side, last_focus_s)
    return RigState(on.task, on.after_meridian, last_focus_s)


def _sub_s(problem: Problem, block: Block) -> float:
    """The longest that an undisturbed block goes without a sub ending."""
    return block.sub_s + problem.overheads.download_s + problem.overheads.dither_s
