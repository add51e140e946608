"""What was really shot, laid out in time: the counts told hold, nothing overlaps, no time is lost.

The expectations are the published meaning of `--done` (what was really shot before) and sums done
here by hand; the independent `violations` judges the whole night.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.errors import InputError
from nightplan.planning.schedule.blocks import Block, Event, Schedule
from nightplan.planning.schedule.check import violations
from nightplan.planning.schedule.night_problem import row_curves
from nightplan.planning.schedule.problem import Problem
from nightplan.planning.schedule.schedule import evaluate, ledger_min
from nightplan.planning.schedule.solver import solve
from nightplan.planning.schedule.solving.resume import resume
from nightplan.planning.schedule.solving.search import Effort

QUICK = Effort(tries=5_000, seeds=1, steps_s=(60.0,), paths=(10,), classes=1)
SUB_S = 300.0


@pytest.fixture(scope="module")
def night(invented_night) -> Problem:
    """Two targets x three filters that are always usable, worth 1, far from the meridian."""
    problem = invented_night(targets=2, filters=3, hours=6.0, seed=3, shortest_min=0.0)
    tasks = tuple(
        replace(task, worth=np.ones_like(task.worth), usable=np.ones_like(task.usable))
        for task in problem.tasks
    )
    pointings = tuple(
        replace(one, transit_s=1e9, new_angle=False, priority=1.0) for one in problem.pointings
    )
    return replace(problem, tasks=tasks, pointings=pointings)


def task_of(problem: Problem, target: str, name: str) -> int:
    return next(
        i
        for i, task in enumerate(problem.tasks)
        if task.filter == name and problem.pointings[task.pointing].target == target
    )


def plan_of(problem: Problem, *wanted: tuple[str, str, int]) -> Schedule:
    """Blocks in a row from the end of set-up, each led to by a focus run."""
    blocks: list[Block] = []
    events: list[Event] = [Event("setup", None, 0.0, problem.setup_s)]
    at = problem.setup_s
    for target, name, count in wanted:
        task = task_of(problem, target, name)
        pointing = problem.tasks[task].pointing
        if blocks:
            events.append(Event("focus", pointing, at, at + problem.overheads.focus_s))
            at += problem.overheads.focus_s
        end = at + problem.run_s(task, count)
        dithers = (count - 1) // problem.overheads.dither_every
        blocks.append(Block(task, pointing, at, end, count, SUB_S, dithers))
        at = end
    events.append(Event("idle", None, at, problem.window_s))
    return Schedule(tuple(blocks), tuple(events))


def shot(problem: Problem, target: str, name: str) -> int:
    task = task_of(problem, target, name)
    return sum(block.count for block in problem.kept if block.task == task)


def solved(rest: Problem) -> Schedule:
    schedule = solve(rest, effort=QUICK).schedule
    assert violations(rest, schedule) == []
    assert sum(ledger_min(rest, schedule).values()) == pytest.approx(rest.window_s / 60.0)
    return schedule


def hours_of(rest: Problem, schedule: Schedule, target: str, name: str) -> float:
    rows = evaluate(rest, schedule).progress
    return next(r.tonight_clock_h for r in rows if (r.target, r.filter) == (target, name))


def test_more_than_planned_lengthens_the_block_and_pushes_what_follows(night: Problem) -> None:
    plan = plan_of(night, ("T0", "L", 6), ("T0", "R", 6), ("T0", "G", 6))
    now = plan.blocks[2].start_s
    rest = resume(night, plan, now, {"L": 8, "R": 3})
    assert (shot(rest, "T0", "L"), shot(rest, "T0", "R")) == (8, 3)
    first, second = rest.kept
    assert first.start_s == plan.blocks[0].start_s
    # the focus run that led to R moved with it
    assert second.start_s == pytest.approx(first.end_s + night.overheads.focus_s)
    focus = [event for event in rest.kept_events if event.kind == "focus"]
    assert focus[0].start_s == pytest.approx(first.end_s)
    schedule = solved(rest)
    assert hours_of(rest, schedule, "T0", "L") >= 8 * SUB_S / 3600.0
    assert schedule.blocks[:2] == rest.kept


def test_a_filter_planned_later_is_counted_where_the_plan_was(night: Problem) -> None:
    plan = plan_of(night, ("T1", "L", 12), ("T0", "R", 6))
    now = plan.blocks[0].end_s
    rest = resume(night, plan, now, {"L": 4, "R": 6})
    # R was planned for T0 later; before now the plan was on T1, which wants R too
    assert (shot(rest, "T1", "R"), shot(rest, "T0", "R")) == (6, 0)
    assert shot(rest, "T1", "L") == 4
    assert rest.kept[1].start_s >= rest.kept[0].end_s
    assert rest.kept[1].end_s <= now + 1e-6
    assert hours_of(rest, solved(rest), "T1", "R") >= 6 * SUB_S / 3600.0


def test_a_filter_that_the_target_on_duty_does_not_want_goes_to_the_one_that_earns_most(
    night: Problem,
) -> None:
    tasks = list(night.tasks)
    del tasks[task_of(night, "T0", "G")]
    curves = row_curves(night.pointings, tasks)
    less = replace(night, tasks=tuple(tasks), curves=curves)
    plan = plan_of(less, ("T0", "L", 12), ("T0", "R", 6))
    rest = resume(less, plan, plan.blocks[0].end_s, {"L": 2, "G": 5})
    assert shot(rest, "T1", "G") == 5
    solved(rest)


def test_what_is_not_told_gives_way_and_what_is_told_does_not(night: Problem) -> None:
    plan = plan_of(night, ("T0", "L", 6), ("T0", "R", 6), ("T0", "G", 6))
    now = plan.blocks[2].start_s
    rest = resume(night, plan, now, {"G": 5})
    assert shot(rest, "T0", "G") == 5
    assert shot(rest, "T0", "L") == 6
    assert 0 < shot(rest, "T0", "R") < 6
    solved(rest)


@pytest.mark.parametrize("name", ["L", "R", "G"])
def test_the_most_that_is_accepted_is_all_of_the_time_and_not_one_more(
    night: Problem, name: str
) -> None:
    plan = plan_of(night, ("T0", "L", 6), ("T0", "R", 6), ("T0", "G", 6))
    now = plan.blocks[1].start_s + 1000.0
    with pytest.raises(InputError) as caught:
        resume(night, plan, now, {name: 10_000})
    assert caught.value.key == "done"
    most = int(re.search(r"at most (\d+)", caught.value.accepted)[1])  # type: ignore[index]
    # by hand: set-up ends at 300 s, a sub and its download take 302 s
    assert most == int((now - 300.0) // 302.0)
    rest = resume(night, plan, now, {name: most})
    assert shot(rest, "T0", name) == most
    solved(rest)
    with pytest.raises(InputError, match=f"at most {most}"):
        resume(night, plan, now, {name: most + 1})


def test_a_filter_that_nobody_wants_is_refused(night: Problem) -> None:
    plan = plan_of(night, ("T0", "L", 6))
    with pytest.raises(InputError, match="L, R, G"):
        resume(night, plan, 4000.0, {"SII": 1})


def test_what_is_under_way_is_finished_and_counts(night: Problem) -> None:
    plan = plan_of(night, ("T0", "L", 6), ("T0", "R", 6))
    first, second = plan.blocks
    inside = night.sub_starts_s(first.task, first.start_s, 6)[2] + 100.0
    rest = resume(night, plan, inside)
    assert shot(rest, "T0", "L") == 3
    assert rest.now_s == pytest.approx(rest.kept[-1].end_s)
    assert rest.state is not None
    assert rest.state.task == first.task
    # a filter that is told is taken by its word: its open sub is not counted
    told = resume(night, plan, inside, {"L": 2})
    assert (shot(told, "T0", "L"), told.now_s) == (2, inside)
    assert told.state is not None
    assert told.state.task == first.task
    focusing = resume(night, plan, second.start_s - 100.0)
    assert focusing.now_s == second.start_s
    assert focusing.state is not None
    assert focusing.state.task == second.task
    assert focusing.kept_events[-1].end_s == second.start_s


def test_the_first_open_sub_of_a_block_needs_no_new_slew(night: Problem) -> None:
    plan = plan_of(night, ("T0", "L", 6), ("T0", "R", 6))
    second = plan.blocks[1]
    rest = resume(night, plan, second.start_s + 100.0, {"R": 0})
    assert rest.state is not None
    assert rest.state.task == second.task
    # but after a long pause the field is centred anew
    late = resume(night, plan, second.start_s + 1000.0, {"R": 0})
    assert late.state is not None
    assert late.state.task is None


def test_dithers_give_way_to_what_is_told_and_worth_is_taken_over_the_real_span(
    night: Problem,
) -> None:
    plan = plan_of(night, ("T0", "L", 18))
    now = 300.0 + 10 * 302.0 + 1.0
    rest = resume(night, plan, now, {"L": 10})
    (block,) = rest.kept
    assert (block.count, block.dithers) == (10, 0)
    assert block.end_s == pytest.approx(block.start_s + 10 * 302.0)
    ramp = tuple(replace(task, worth=night.grid_s / night.window_s) for task in rest.tasks)
    sloped = replace(rest, tasks=ramp)
    row = next(r for r in evaluate(sloped, Schedule(rest.kept)).progress if r.tonight_h > 0.0)
    middles = block.start_s + np.arange(10) * 302.0 + 150.0
    by_hand = float(np.sum(middles / night.window_s) * 300.0 / 3600.0)
    assert row.tonight_h == pytest.approx(by_hand, rel=1e-9)


def test_rounded_times_leave_no_slivers(night: Problem) -> None:
    """A document holds whole seconds; the night read back from it must close all the same."""
    plan = plan_of(night, ("T0", "L", 6), ("T0", "R", 6), ("T1", "L", 6))
    rng = np.random.default_rng(4)

    def rough(part, shift):
        length = part.end_s - part.start_s
        if isinstance(part, Block):
            return replace(part, start_s=part.start_s + shift, end_s=part.start_s + shift + length)
        return replace(
            part, start_s=part.start_s + shift, end_s=part.end_s + rng.uniform(-0.5, 0.5)
        )

    for _ in range(20):
        rounded = Schedule(
            tuple(rough(block, rng.uniform(-0.5, 0.5)) for block in plan.blocks),
            tuple(rough(event, rng.uniform(-0.5, 0.5)) for event in plan.events),
        )
        now = plan.blocks[2].end_s + 3.0
        rest = resume(night, rounded, now, rounding_s=1.0)
        assert [block.count for block in rest.kept] == [6, 6, 6]
        assert (
            max(abs(a.start_s - b.start_s) for a, b in zip(rest.kept, plan.blocks, strict=True))
            < 1.1
        )
        parts: list[Block | Event] = [*rest.kept, *rest.kept_events]
        parts.sort(key=lambda part: part.start_s)
        gaps = [b.start_s - a.end_s for a, b in itertools.pairwise(parts)]
        assert max(np.abs(gaps)) < 1e-6
        assert parts[0].start_s == 0.0


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 1000),
    now=st.floats(0.05, 1.0),
    counts=st.dictionaries(st.sampled_from("LRG"), st.integers(0, 12), min_size=1),
)
def test_counts_told_hold_whatever_the_night(invented_night, seed, now, counts):
    problem = invented_night(targets=2, filters=3, hours=5.0, seed=seed, shortest_min=0.0)
    plan = plan_of(problem, ("T0", "L", 5), ("T1", "R", 7), ("T0", "G", 9), ("T1", "L", 8))
    plan = Schedule(plan.blocks, tuple(e for e in plan.events if e.end_s > e.start_s))
    now_s = now * problem.window_s
    needed = sum(counts.values()) * 302.0
    # a sub that is open counts with its end, and so does what leads to a block
    if needed > now_s - problem.setup_s:
        with pytest.raises(InputError, match="at most"):
            resume(problem, plan, now_s - 700.0, counts)
        return
    rest = resume(problem, plan, now_s, counts)
    for name, count in counts.items():
        got = sum(b.count for b in rest.kept if problem.tasks[b.task].filter == name)
        assert got == count
    parts: list[Block | Event] = [*rest.kept, *rest.kept_events]
    parts.sort(key=lambda part: part.start_s)
    assert all(b.start_s >= a.end_s - 1e-6 for a, b in itertools.pairwise(parts))
    assert all(part.start_s >= 0.0 and part.end_s <= rest.start_s + 1e-6 for part in parts)
    schedule = Schedule(
        rest.kept,
        (
            *rest.kept_events,
            *(
                Event("idle", None, a, b)
                for a, b in zip(
                    [0.0, *(p.end_s for p in parts)],
                    [*(p.start_s for p in parts), problem.window_s],
                    strict=True,
                )
                if b > a
            ),
        ),
    )
    assert violations(rest, schedule) == []
