"""An independent look at a schedule: every rule it breaks, as a sentence. No solver code here."""

from __future__ import annotations

import math

import numpy as np

from nightplan.planning.schedule import ledger_min
from nightplan.planning.schedule_blocks import Block, Event, Schedule
from nightplan.planning.schedule_problem import Problem

SLACK_S = 1e-4


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
    return f"{problem.pointings[block.pointing].target} {task.filter} at {block.start_s:.0f} s"


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
    if not block.after_meridian and block.end_s > stop + SLACK_S:
        found.append(f"{name} crosses the meridian stop")
    return found


def _runs(problem: Problem, blocks: tuple[Block, ...], events: tuple[Event, ...]) -> list[str]:
    """Shortest and longest run: blocks of one task parted by nothing but a focus run."""
    found = []
    runs: list[list[Block]] = []
    for block in blocks:
        last = runs[-1][-1] if runs else None
        between = [] if last is None else _events_between(events, last.end_s, block.start_s)
        if (
            last is not None
            and last.task == block.task
            and last.after_meridian == block.after_meridian
            and all(event.kind == "focus" for event in between)
        ):
            runs[-1].append(block)
        else:
            runs.append([block])
    for run in runs:
        length = run[-1].end_s - run[0].start_s
        if length < problem.shortest_block_s - SLACK_S:
            found.append(f"{_name(problem, run[0])} lasts {length:.0f} s, below the shortest")
        if length > problem.longest_block_s + SLACK_S:
            found.append(f"{_name(problem, run[0])} lasts {length:.0f} s, above the longest")
    return found


def _events_between(events: tuple[Event, ...], low_s: float, high_s: float) -> list[Event]:
    return [e for e in events if e.start_s >= low_s - SLACK_S and e.end_s <= high_s + SLACK_S]


def _between(problem: Problem, schedule: Schedule, fresh: tuple[Block, ...]) -> list[str]:
    """Every change is paid for in minutes, between the blocks that it parts."""
    found = []
    rules = problem.overheads
    state = problem.state
    before: tuple[int, bool] | None = None
    resumed = True
    free_s = max(problem.setup_s, problem.now_s)
    if state is not None and state.task is not None:
        before = (state.task, state.after_meridian)
    for block in fresh:
        spent: dict[str, float] = {}
        for event in _events_between(schedule.events, free_s, block.start_s):
            spent[event.kind] = spent.get(event.kind, 0.0) + event.end_s - event.start_s
        need: dict[str, float] = {}
        centring = rules.slew_centre_s + rules.settle_s
        new = problem.tasks[block.task]
        if before is None:
            if state is not None:
                need = {"slew_centre": centring, "focus": rules.focus_s}
            moved = True
        elif before == (block.task, block.after_meridian):
            moved = False
            if "idle" in spent and not resumed:
                need = {"slew_centre": centring, "focus": rules.focus_s}
        else:
            old = problem.tasks[before[0]]
            moved = old.pointing != new.pointing or old.train != new.train
            flip = not moved and before[1] != block.after_meridian
            if moved or flip:
                need["slew_centre"] = centring
            if flip:
                need["flip"] = rules.flip_s
            if old.train != new.train:
                if rules.train_change_s is None:
                    found.append(f"{_name(problem, block)} changes the train, which is forbidden")
                need["setup"] = rules.train_change_s or 0.0
            if old.filter != new.filter:
                need["filter_change"] = rules.filter_change_s
            by_offset = (
                rules.use_filter_offsets and old.focus_offset_known and new.focus_offset_known
            )
            if old.filter != new.filter and by_offset:
                need["filter_change"] += rules.offset_move_s
            refocus = old.filter != new.filter and not by_offset
            if refocus or (flip and rules.focus_after_flip) or old.train != new.train:
                need["focus"] = rules.focus_s
            if flip and before[1]:
                found.append(f"{_name(problem, block)} goes back over the meridian")
        transit = problem.pointings[block.pointing].transit_s
        if moved and not block.after_meridian and block.start_s >= transit + SLACK_S:
            found.append(f"{_name(problem, block)} is reached after the transit on the near side")
        for kind, seconds in need.items():
            if spent.get(kind, 0.0) < seconds - SLACK_S:
                found.append(f"{_name(problem, block)} lacks {kind} of {seconds:.0f} s before it")
        before, free_s = (block.task, block.after_meridian), block.end_s
        resumed = False
    return found


def _focus(problem: Problem, schedule: Schedule, fresh: tuple[Block, ...]) -> list[str]:
    found = []
    every, download = problem.overheads.focus_every_s, problem.overheads.download_s
    start = max(problem.setup_s, problem.now_s, 0.0)
    begun = start if problem.state is None else problem.state.last_focus_s
    runs = sorted(event.end_s for event in schedule.events if event.kind == "focus")
    for block in fresh:
        last = max([t for t in runs if t <= block.start_s + SLACK_S], default=-math.inf)
        last = max(last, begun)
        allowed = max(last + every, block.start_s + block.sub_s if last >= block.start_s else last)
        if block.end_s - download > allowed + SLACK_S:
            found.append(f"{_name(problem, block)} goes on too long after the last focus run")
    return found
