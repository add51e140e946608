"""What was really shot before now: the plan's order, counts as told, times as near as they can be.

A plan in force says when its subs were taken. Where counts are told that differ from it, times are
not known any more. What is assumed then is this, and only this:

- subs fewer than planned are the first of those planned;
- subs more than planned lengthen the last block of that filter that had begun;
- subs of a filter that the plan did not hold yet belong to the target that the plan was on while
  least of what it held was shot, or, if no target that it was on wants the filter, to the one that
  earned most through it; they lie where that time is free;
- the order of the plan stays, and a block moves no more than it must to make room;
- where the subs told leave no time for all that was planned besides, the last of that was not shot.

What limits the subs told is the time that has passed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from nightplan.dates import DAY_S
from nightplan.errors import InputError
from nightplan.planning.schedule.blocks import Block, Event, Schedule
from nightplan.planning.schedule.done import Done, DoneKey, done_key, done_words
from nightplan.planning.schedule.problem import Problem
from nightplan.sky.times import utc_iso

SAME_S = 1e-6


@dataclass(frozen=True)
class Stretch:
    """Subs of one task in a row: how many, from when if nothing hinders, and what led to them.

    `planned` is the block of the plan in force that they are of, None where it had none.
    """

    task: int
    count: int
    wanted_s: float
    lead_s: float = 0.0
    planned: Block | None = None


def ended_subs(problem: Problem, block: Block, now_s: float, rounding_s: float) -> int:
    """How many subs of a planned block, downloads included, are over by `now_s`."""
    if block.end_s <= now_s + rounding_s:
        return block.count
    starts = problem.sub_starts_s(block.task, block.start_s, block.count)
    length = block.sub_s + problem.overheads.download_s
    return int((starts + length <= now_s + rounding_s).sum())


def shot_before(
    problem: Problem,
    in_force: Schedule,
    now_s: float,
    done: Done,
    rounding_s: float,
) -> tuple[list[Block], list[Event]]:
    """Blocks and events before now, none overlapping another.

    Parameters
    ----------
    problem, in_force
        The night as it was planned, and its plan.
    now_s, rounding_s : float
        Now, and how far times of the plan may be off, seconds.
    done : mapping of filter, or of target and filter, to count
        Subs really shot; what is not named was shot as planned.

    Raises
    ------
    InputError
        No target wants a filter of `done`, or its subs do not fit into the time that has passed.
    """
    stretches = _stretches(problem, in_force, now_s, done, rounding_s)
    first_s = min([problem.setup_s, *(block.start_s for block in in_force.blocks[:1])])
    low_s = max(0.0, first_s)
    blocks = _laid_out(problem, stretches, low_s, now_s, rounding_s)
    while blocks is None:
        untold = [i for i, one in enumerate(stretches) if done_key(problem, one.task, done) is None]
        if not untold:
            break
        last = stretches.pop(untold[-1])
        if last.count > 1:
            stretches.insert(untold[-1], replace(last, count=last.count - 1))
        blocks = _laid_out(problem, stretches, low_s, now_s, rounding_s)
    # What is told is true: rather no slew and no dither is believed.
    for leads, dithers in ((False, True), (False, False)):
        if blocks is None:
            blocks = _laid_out(problem, stretches, low_s, now_s, rounding_s, leads, dithers)
    if blocks is None:
        raise _too_many(problem, stretches, low_s, now_s, done)
    events = _events(problem, in_force, stretches, blocks, now_s, rounding_s)
    return _closed(blocks, events, rounding_s)


def _stretches(
    problem: Problem,
    in_force: Schedule,
    now_s: float,
    done: Done,
    rounding_s: float,
) -> list[Stretch]:
    begun = [block for block in in_force.blocks if block.start_s < now_s]
    names = [done_key(problem, block.task, done) for block in begun]
    counts = [ended_subs(problem, block, now_s, rounding_s) for block in begun]
    left = dict(done)
    for i, name in enumerate(names):
        if name is not None:
            counts[i] = min(counts[i], left[name])
            left[name] -= counts[i]
    joined: list[list[Stretch]] = [[] for _ in begun]
    last: list[Stretch] = []
    for name, more in left.items():
        if more > 0 and name in names:
            counts[len(names) - 1 - names[::-1].index(name)] += more
        elif more > 0:
            task, host = _whose(problem, begun, counts, name, now_s)
            if host is None:
                last.append(Stretch(task, more, np.inf))
            else:
                block = begun[host]
                taken_s = problem.run_s(block.task, counts[host]) if counts[host] else 0.0
                joined[host].append(Stretch(task, more, block.start_s + taken_s))
    found: list[Stretch] = []
    ended_s = 0.0
    for block, count, others in zip(begun, counts, joined, strict=True):
        lead_s = sum(
            event.end_s - event.start_s
            for event in in_force.events
            if event.kind != "idle" and ended_s - SAME_S <= event.start_s < block.start_s
        )
        lead_s = max(0.0, min(lead_s, block.start_s - ended_s))
        if count:
            found.append(Stretch(block.task, count, block.start_s, lead_s, block))
        found += others
        ended_s = block.end_s
    return found + last


def _whose(
    problem: Problem, begun: Sequence[Block], counts: Sequence[int], key: DoneKey, now_s: float
) -> tuple[int, int | None]:
    """The task that subs through a filter that the plan did not hold yet belong to, and the begun
    block in whose time they lie."""
    tasks = [i for i in range(len(problem.tasks)) if done_key(problem, i, (key,)) == key]
    if not tasks:
        raise InputError("library", "done", done_words(key), _wanted(problem, key))
    free_s = [
        max(0.0, min(block.end_s, now_s) - block.start_s - problem.run_s(block.task, count))
        if count
        else min(block.end_s, now_s) - block.start_s
        for block, count in zip(begun, counts, strict=True)
    ]
    own = {problem.tasks[i].pointing: i for i in reversed(tasks)}
    spare_s = dict.fromkeys((b.pointing for b in reversed(begun) if b.pointing in own), 0.0)
    for block, seconds in zip(begun, free_s, strict=True):
        if block.pointing in own:
            spare_s[block.pointing] += seconds
    if spare_s:
        pointing = max(spare_s, key=lambda one: spare_s[one])
        hosts = [i for i, block in enumerate(begun) if block.pointing == pointing]
        return own[pointing], max(hosts, key=lambda i: (free_s[i], i))
    earned = [_earned(problem, i, now_s) for i in tasks]
    host = max(range(len(begun)), key=lambda i: (free_s[i], i)) if begun else None
    return tasks[int(np.argmax(earned))], host


def _wanted(problem: Problem, key: DoneKey) -> str:
    if isinstance(key, str):
        names = dict.fromkeys(task.set_name for task in problem.tasks)
        return f"a filter that tonight's targets want: {', '.join(names)}"
    pairs = dict.fromkeys(
        f"{problem.pointings[task.pointing].target}:{task.set_name}" for task in problem.tasks
    )
    return f"a target of the plan with a filter that it wants: {', '.join(pairs)}"


def _earned(problem: Problem, task: int, now_s: float) -> float:
    """Equivalent seconds that a task could have earned since setting up, inside its limits."""
    total = 0.0
    for low, high in problem.usable_intervals(task):
        span = np.clip([low, high], problem.setup_s, max(now_s, problem.setup_s))
        total += float(np.diff(problem.worth_until(task, span)).sum())
    return total


def _laid_out(
    problem: Problem,
    stretches: Sequence[Stretch],
    low_s: float,
    high_s: float,
    rounding_s: float,
    leads: bool = True,
    dithers: bool = True,
) -> list[Block] | None:
    """The stretches in time, pushed later and then pulled back only as far as need be; None if
    they do not fit. With or without what led to them, and with or without dithers."""
    pauses = [_dithers(problem, one) if dithers else 0 for one in stretches]
    lengths = [
        one.count * (problem.tasks[one.task].sub_s + problem.overheads.download_s)
        + pause * problem.overheads.dither_s
        for one, pause in zip(stretches, pauses, strict=True)
    ]
    lead_s = [one.lead_s if leads else 0.0 for one in stretches]
    starts: list[float] = []
    at = low_s
    for one, length, lead in zip(stretches, lengths, lead_s, strict=True):
        earliest = at + (lead if starts else 0.0)
        late = np.isinf(one.wanted_s)
        starts.append(earliest if late or one.wanted_s < earliest - SAME_S else one.wanted_s)
        at = starts[-1] + length
    # Those without a time of their own lie as late as they can.
    limit = high_s + rounding_s
    for i in reversed(range(len(starts))):
        late = np.isinf(stretches[i].wanted_s)
        latest = (min(limit, high_s) if late else limit) - lengths[i]
        if late or starts[i] > latest + SAME_S:
            starts[i] = latest
        limit = starts[i] - lead_s[i]
    if starts and starts[0] < low_s - rounding_s - SAME_S:
        return None
    return [
        _block(problem, one, start, length, pause)
        for one, start, length, pause in zip(stretches, starts, lengths, pauses, strict=True)
    ]


def _dithers(problem: Problem, stretch: Stretch) -> int:
    planned = stretch.planned
    if planned is not None and planned.count == stretch.count:
        return planned.dithers
    return (stretch.count - 1) // problem.overheads.dither_every


def _block(
    problem: Problem, stretch: Stretch, start_s: float, length_s: float, dithers: int
) -> Block:
    task, planned = problem.tasks[stretch.task], stretch.planned
    if planned is not None:
        after = planned.after_meridian
    else:
        after = start_s >= problem.pointings[task.pointing].transit_s
    return Block(
        task=stretch.task,
        pointing=task.pointing,
        start_s=start_s,
        end_s=start_s + length_s,
        count=stretch.count,
        sub_s=task.sub_s,
        dithers=dithers,
        after_meridian=after,
    )


def _too_many(
    problem: Problem,
    stretches: Sequence[Stretch],
    low_s: float,
    high_s: float,
    done: Done,
) -> InputError:
    download_s = problem.overheads.download_s
    taken_s = dict.fromkeys(done, 0.0)
    cycle_s = dict.fromkeys(done, 0.0)
    for one in stretches:
        key, cycle = done_key(problem, one.task, done), problem.tasks[one.task].sub_s + download_s
        if key is not None:
            taken_s[key] += one.count * cycle
            cycle_s[key] = max(cycle_s[key], cycle)
    most_key = max(taken_s, key=lambda one: taken_s[one])
    rest_s = sum(taken_s.values()) - taken_s[most_key]
    most = max(0, int((high_s - low_s - rest_s) // cycle_s[most_key]))
    began = utc_iso(problem.epoch_utc_mjd + low_s / DAY_S)
    accepted = f"at most {most}, for that is what fits between {began} and --from"
    others = [f"{done_words(o)}={done[o]}" for o in done if o != most_key and done[o]]
    if others:
        accepted += f" beside {', '.join(others)}"
    told = f"{done_words(most_key)}={done[most_key]}"
    return InputError("library", "done", told, accepted)


def _events(
    problem: Problem,
    in_force: Schedule,
    stretches: Sequence[Stretch],
    blocks: Sequence[Block],
    now_s: float,
    rounding_s: float,
) -> list[Event]:
    """Events before now; what led to a block that moved moves with it, and all give way."""
    moved_s = {
        one.planned.start_s: block.start_s - one.planned.start_s
        for one, block in zip(stretches, blocks, strict=True)
        if one.planned is not None
    }
    events: list[Event] = []
    if problem.setup_s > 0.0:
        events.append(Event("setup", None, 0.0, min(problem.setup_s, problem.window_s)))
    for event in in_force.events:
        if event.kind == "idle" or event.start_s >= now_s:
            continue
        if event.kind == "setup" and event.start_s <= rounding_s:
            continue
        led_to = next(
            (b for b in in_force.blocks if b.start_s >= event.end_s - rounding_s - SAME_S), None
        )
        shift_s = 0.0 if led_to is None else moved_s.get(led_to.start_s, 0.0)
        if abs(shift_s) <= rounding_s:
            shift_s = 0.0
        end_s = min(event.end_s + shift_s, now_s)
        events.append(replace(event, start_s=event.start_s + shift_s, end_s=end_s))
    clear: list[Event] = []
    for event in sorted(events, key=lambda one: one.start_s):
        start, end = event.start_s, event.end_s
        if clear:
            start = max(start, clear[-1].end_s)
        for block in blocks:
            if start < block.end_s and end > block.start_s:
                if start < block.start_s:
                    end = min(end, block.start_s)
                else:
                    start = max(start, block.end_s)
        if end > start:
            clear.append(replace(event, start_s=start, end_s=end))
    return clear


def _closed(
    blocks: Sequence[Block], events: Sequence[Event], rounding_s: float
) -> tuple[list[Block], list[Event]]:
    """The same with gaps and overlaps of rounding closed, so that no idle sliver is left."""
    items: list[Block | Event] = sorted([*blocks, *events], key=lambda item: item.start_s)
    done: list[Block | Event] = []
    at = 0.0
    for item in items:
        gap = item.start_s - at
        if gap < -SAME_S or SAME_S < gap <= rounding_s:
            before = done[-1] if done else None
            if isinstance(item, Event):
                item = replace(item, start_s=at, end_s=max(at, item.end_s))  # noqa: PLW2901
            elif gap > 0.0 and isinstance(before, Event):
                done[-1] = replace(before, end_s=item.start_s)
            else:
                item = replace(item, start_s=at, end_s=item.end_s - gap)  # noqa: PLW2901
        if item.end_s > item.start_s:
            done.append(item)
            at = item.end_s
    return (
        [item for item in done if isinstance(item, Block)],
        [item for item in done if isinstance(item, Event)],
    )
