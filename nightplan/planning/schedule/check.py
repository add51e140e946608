"""An independent look at a schedule: every rule it breaks, as a sentence. No solver code here."""

from __future__ import annotations

import math

import numpy as np

from nightplan.planning.schedule.blocks import Block, Event, Schedule
from nightplan.planning.schedule.problem import Problem
from nightplan.planning.schedule.schedule import ledger_min

SLACK_S = 1e-4
SAME_ANGLE_DEG = 1.0
PART_S = 300.0
"""A pause that parts two runs of one task."""
FORBIDDEN = "changes the train, which is forbidden"


def violations(problem: Problem, schedule: Schedule) -> list[str]:
    """Rules of `problem` that `schedule` breaks; an empty list means that it may be carried out.

    What lies before `problem.now_s` is history: it must be what was kept, and is not judged.
    """
    found: list[str] = []
    kept = len(problem.kept)
    if schedule.blocks[:kept] != problem.kept:
        found.append("the blocks already shot are not the first of the schedule")
    fresh = schedule.blocks[kept:]
    found += _timeline(problem, schedule)
    for block in fresh:
        found += _block(problem, block)
    found += _runs(problem, fresh, schedule.events)
    found += _between(problem, schedule, fresh)
    found += _focus(problem, schedule, fresh)
    return found


def _name(problem: Problem, block: Block) -> str:
    task = problem.tasks[block.task]
    return f"{problem.pointings[block.pointing].target} {task.set_name} at {block.start_s:.0f} s"


def _timeline(problem: Problem, schedule: Schedule) -> list[str]:
    found = []
    items = sorted(
        [(b.start_s, b.end_s, "block") for b in schedule.blocks]
        + [(e.start_s, e.end_s, e.kind) for e in schedule.events]
    )
    at = 0.0
    for start, end, kind in items:
        if end < start:
            found.append(f"{kind} at {start:.0f} s ends before it starts")
        if start < at - SLACK_S:
            found.append(f"{kind} at {start:.0f} s overlaps what ends at {at:.0f} s")
        if start > at + SLACK_S:
            found.append(f"nothing accounts for {at:.0f} s to {start:.0f} s")
        at = max(at, end)
    if abs(at - problem.window_s) > SLACK_S:
        found.append(f"the schedule ends at {at:.0f} s, the window at {problem.window_s:.0f} s")
    idle = sum(e.end_s - e.start_s for e in schedule.events if e.kind == "idle")
    ledger = ledger_min(problem, schedule)
    if abs(ledger["idle"] * 60.0 - idle) > SLACK_S * (len(items) + 1):
        found.append(f"idle events last {idle:.1f} s, the ledger says {ledger['idle'] * 60:.1f} s")
    if any(minutes < -1e-6 for minutes in ledger.values()):
        found.append("a ledger entry is negative")
    if abs(sum(ledger.values()) * 60.0 - problem.window_s) > SLACK_S:
        found.append("the ledger does not sum to the window")
    return found


def _block(problem: Problem, block: Block) -> list[str]:
    found = []
    name, task, rules = _name(problem, block), problem.tasks[block.task], problem.overheads
    if block.pointing != task.pointing or block.sub_s != task.sub_s:
        found.append(f"{name} is not what its task says")
    if block.count < 1 or int(block.count) != block.count:
        found.append(f"{name} holds {block.count} subs")
    if block.dithers != (block.count - 1) // rules.dither_every:
        found.append(f"{name} dithers {block.dithers} times")
    length = block.count * (block.sub_s + rules.download_s) + block.dithers * rules.dither_s
    if abs(block.end_s - block.start_s - length) > SLACK_S:
        found.append(f"{name} lasts {block.end_s - block.start_s:.1f} s, its subs {length:.1f} s")
    if block.start_s < max(problem.setup_s, problem.now_s) - SLACK_S:
        found.append(f"{name} starts before setting up ends, or in the past")
    if block.end_s > min(problem.window_s, problem.latest_end_s) + SLACK_S:
        found.append(f"{name} ends after the latest end")
    inside = (problem.grid_s > block.start_s + SLACK_S) & (problem.grid_s < block.end_s - SLACK_S)
    first = np.searchsorted(problem.grid_s, block.start_s + SLACK_S, side="right") - 1
    last = np.searchsorted(problem.grid_s, block.end_s - SLACK_S, side="left")
    samples = [*np.flatnonzero(inside), first, last]
    if last >= problem.grid_s.size or not all(task.usable[index] for index in samples):
        found.append(f"{name} lies where its limits do not hold")
    transit = problem.pointings[block.pointing].transit_s
    if block.after_meridian and block.start_s < transit - SLACK_S:
        found.append(f"{name} is on the far side of the pier before the transit")
    stop = transit - rules.stop_before_meridian_s + rules.track_past_meridian_s
    if not rules.flips:
        stop = math.inf
    if not block.after_meridian and block.end_s > stop + SLACK_S:
        found.append(f"{name} crosses the meridian stop")
    return found


def _runs(problem: Problem, blocks: tuple[Block, ...], events: tuple[Event, ...]) -> list[str]:
    """Shortest and longest run: blocks of one task parted by a focus run or a moment at most."""
    found = []
    runs: list[list[Block]] = []
    for block in blocks:
        last = runs[-1][-1] if runs else None
        between = [] if last is None else _events_between(events, last.end_s, block.start_s)
        if (
            last is not None
            and last.task == block.task
            and last.after_meridian == block.after_meridian
            and all(event.kind in ("focus", "idle") for event in between)
            and sum(e.end_s - e.start_s for e in between if e.kind == "idle") < PART_S - SLACK_S
        ):
            runs[-1].append(block)
        else:
            runs.append([block])
    for number, run in enumerate(runs):
        length = run[-1].end_s - run[0].start_s
        if number == 0:
            length += _before(problem, run[0], events)
        if length < _shortest(problem, run[0]) - SLACK_S:
            found.append(f"{_name(problem, run[0])} lasts {length:.0f} s, below the shortest")
        if length > problem.longest_block_s + SLACK_S:
            found.append(f"{_name(problem, run[0])} lasts {length:.0f} s, above the longest")
    return found


def _shortest(problem: Problem, first: Block) -> float:
    """Shortest run that begins with a block; a short set may be over sooner, once it is whole."""
    task = problem.tasks[first.task]
    if not task.short:
        return problem.shortest_block_s
    shot = sum(b.count for b in problem.kept if problem.tasks[b.task].set_name == task.set_name
               and b.pointing == first.pointing)  # fmt: skip
    left = round((task.goal_h - task.gathered_h) * 3600.0 / task.sub_s) - shot
    return min(problem.shortest_block_s, max(1, left) * task.sub_s)


def _before(problem: Problem, block: Block, events: tuple[Event, ...]) -> float:
    """How long the run that a re-plan goes on with had lasted by now."""
    state = problem.state
    if state is None or (state.task, state.after_meridian) != (block.task, block.after_meridian):
        return 0.0
    begun = problem.start_s
    leading = _events_between(events, begun, block.start_s)
    if any(event.kind not in ("idle", "focus") for event in leading):
        return 0.0
    for kept in reversed(problem.kept):
        if (kept.task, kept.after_meridian) != (block.task, block.after_meridian):
            break
        between = _events_between(events, kept.end_s - 1.0, begun + 1.0)
        if begun - kept.end_s > problem.overheads.focus_s + 2.0 or any(
            event.kind not in ("focus", "idle") for event in between
        ):
            break
        begun = kept.start_s
    lasted = problem.start_s - begun
    return lasted + problem.dither_due_s if lasted > 0.0 else 0.0


def _events_between(events: tuple[Event, ...], low_s: float, high_s: float) -> list[Event]:
    return [e for e in events if e.start_s >= low_s - SLACK_S and e.end_s <= high_s + SLACK_S]


def _between(problem: Problem, schedule: Schedule, fresh: tuple[Block, ...]) -> list[str]:
    """Every change is paid for in minutes, between the blocks that it parts."""
    found = []
    before = _stands(problem)
    free_s = max(problem.setup_s, problem.now_s)
    owed = _flats_owed(problem, problem.kept, problem.kept_events)
    for block in fresh:
        name = _name(problem, block)
        between = _events_between(schedule.events, free_s, block.start_s)
        spent: dict[str, float] = {}
        for event in between:
            spent[event.kind] = spent.get(event.kind, 0.0) + event.end_s - event.start_s
        need, anew, complaints = _needed(problem, before, block, len(owed))
        found += [f"{name} {complaint}" for complaint in complaints]
        transit = problem.pointings[block.pointing].transit_s
        if problem.overheads.flips:
            if anew and not block.after_meridian and block.start_s >= transit + SLACK_S:
                found.append(f"{name} is reached after the transit on the near side")
            moves = [event.start_s for event in between if event.kind in ("flip", "slew_centre")]
            needs_move = bool(need.get("flip") or need.get("slew_centre"))
            if (
                block.after_meridian
                and needs_move
                and min(moves, default=transit) < transit - SLACK_S
            ):
                found.append(f"{name} is turned to on the far side before its transit")
        for kind, seconds in need.items():
            if spent.get(kind, 0.0) < seconds - SLACK_S:
                found.append(f"{name} lacks {kind} of {seconds:.0f} s before it")
        if need.get("flats"):
            owed = set()
        owed |= _flats_owed(problem, (block,), ())
        before, free_s = (block.task, block.after_meridian, True), block.end_s
    if fresh and problem.overheads.flats_at_end:
        seconds = sum(
            event.end_s - event.start_s
            for event in schedule.events
            if event.kind == "flats" and event.start_s >= free_s - SLACK_S
        )
        end_s = min(problem.window_s, problem.latest_end_s)
        wanted = problem.overheads.flats_s * len(owed)
        if seconds < wanted - SLACK_S or free_s + wanted > end_s + SLACK_S:
            found.append(f"flats of {wanted:.0f} s do not follow the last block")
    return found


Stands = tuple[int | None, bool, bool]
"""Task whose filter and camera angle the rig has, its side of the pier, whether it guides there."""


def _stands(problem: Problem) -> Stands | None:
    state = problem.state
    if state is None:
        return None
    on_field = state.task is not None
    return (state.task if on_field else state.bolted), state.after_meridian, on_field


def _flats_owed(
    problem: Problem, blocks: tuple[Block, ...], events: tuple[Event, ...]
) -> set[tuple[str, int, str]]:
    """Kinds of flats (train, angle, filter) that blocks owe since flats were last shot."""
    done = max((event.end_s for event in events if event.kind == "flats"), default=-math.inf)
    owed = set()
    for block in blocks:
        pointing, task = problem.pointings[block.pointing], problem.tasks[block.task]
        if pointing.new_angle and problem.overheads.flats_s > 0.0 and block.start_s >= done:
            owed.add((task.train, round(pointing.position_angle_deg) % 180, task.filter))
    return owed


def _needed(
    problem: Problem, before: Stands | None, block: Block, owed: int
) -> tuple[dict[str, float], bool, list[str]]:
    """Seconds by kind that must precede a block, whether its pointing is reached anew, and
    changes that are forbidden."""
    rules = problem.overheads
    centring = rules.slew_centre_s + rules.settle_s
    new = problem.tasks[block.task]
    if before is None:
        return {}, True, []
    if before[0] is None:
        return {
            "slew_centre": centring,
            "filter_change": rules.filter_change_s,
            "focus": rules.focus_s,
        }, True, []  # fmt: skip
    old, side, on_field = problem.tasks[before[0]], before[1], before[2]
    swap = old.train != new.train
    turn = _turn_deg(problem, before[0], block.task)
    anew = old.pointing != new.pointing or swap or not on_field
    flip = rules.flips and side != block.after_meridian
    filters = old.filter != new.filter
    offsets = rules.use_filter_offsets and old.focus_offset_known and new.focus_offset_known
    leaves = swap or (turn > 0.0 and rules.turned_by_hand)
    need = {
        "slew_centre": centring if anew or flip else 0.0,
        "flip": rules.flip_s if flip else 0.0,
        "turn": rules.turn_s + rules.turn_s_per_deg * turn if turn > 0.0 else 0.0,
        "flats": rules.flats_s * owed if leaves else 0.0,
        "setup": (rules.train_change_s or 0.0) if swap else 0.0,
        "filter_change": rules.filter_change_s * filters
        + rules.offset_move_s * (filters and offsets),
        "focus": rules.focus_s
        if (filters and not offsets) or (flip and rules.focus_after_flip) or swap
        else 0.0,
    }
    complaints = []
    if swap and rules.train_change_s is None:
        complaints.append(FORBIDDEN)
    if flip and side and old.pointing == new.pointing and on_field:
        complaints.append("goes back over the meridian")
    return need, anew, complaints


def _turn_deg(problem: Problem, before: int, task: int) -> float:
    """How far the camera is turned; after a change of train its angle is anywhere, and half a
    turn more or less is the same framing."""
    old, new = problem.tasks[before], problem.tasks[task]
    one, two = problem.pointings[old.pointing], problem.pointings[new.pointing]
    if old.train != new.train:
        turn = 90.0
    elif one.target == two.target:
        return 0.0
    else:
        turn = abs((one.position_angle_deg - two.position_angle_deg + 90.0) % 180.0 - 90.0)
    return turn if turn > SAME_ANGLE_DEG else 0.0


def _focus(problem: Problem, schedule: Schedule, fresh: tuple[Block, ...]) -> list[str]:
    found = []
    every, download = problem.overheads.focus_every_s, problem.overheads.download_s
    begun = problem.last_focus_s
    runs = sorted(event.end_s for event in schedule.events if event.kind == "focus")
    for block in fresh:
        last = max([t for t in runs if t <= block.start_s + SLACK_S], default=-math.inf)
        last = max(last, begun)
        allowed = max(last + every, block.start_s + block.sub_s if last >= block.start_s else last)
        if block.end_s - download > allowed + SLACK_S:
            found.append(f"{_name(problem, block)} goes on too long after the last focus run")
    return found
