"""The bound is above every schedule that can be carried out, whatever its times are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.planning.schedule.check import violations
from nightplan.planning.schedule.problem import Overheads, Problem
from nightplan.planning.schedule.schedule import Block, block_hours, count_changes, evaluate
from nightplan.planning.schedule.solving.batch import BatchPlacer
from nightplan.planning.schedule.solving.cells import build_cells
from nightplan.planning.schedule.solving.path_programme import PathProgramme, Prices
from nightplan.planning.schedule.solving.placement import PlacedRun, Placer, Run
from nightplan.planning.schedule.solving.resume import resume
from nightplan.planning.schedule.solving.utility_model import row_utility

RULES = [
    Overheads(stop_before_meridian_s=600.0),
    Overheads(track_past_meridian_s=1500.0, dither_every=2, focus_every_s=2400.0),
    Overheads(use_filter_offsets=True, download_s=6.0, focus_after_flip=False),
    Overheads(dither_s=0.0, focus_every_s=1e9, filter_change_s=30.0, slew_centre_s=300.0),
    Overheads(turn_s_per_deg=2.5, stop_before_meridian_s=300.0),
    Overheads(train_change_s=900.0, turn_s=240.0, turn_s_per_deg=0.3),
]
# Two targets in a train each, or both trains open to each of them.
TRAINS = [{}, {"trains": ("flattener", "reducer")}]
TRAINS.append({**TRAINS[1], "every_train": True})


def _random_runs(rng: np.random.Generator, placer: Placer) -> list[Run]:
    runs = []
    for _ in range(rng.integers(1, 8)):
        lane = int(rng.integers(0, len(placer.lanes)))
        wait = float(rng.uniform(0, placer.end_s)) if rng.random() < 0.4 else -np.inf
        runs.append(Run(lane, int(rng.integers(1, 30)), wait))
    return runs


def _change_cost(problem: Problem, blocks: tuple[Block, ...]) -> float:
    """What the changes among blocks cost, flats for new camera angles aside."""
    costs, changes = problem.change_costs, count_changes(problem, blocks)
    names = ("filter_change", "target_change", "train_change")
    return sum(changes[name] * getattr(costs, name) for name in names)


def _counted(
    problem: Problem, placer: Placer, placed: list[PlacedRun], goal_h: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Starts, blocks and squares of the runs' shares by row, arrays (row,)."""
    starts, blocks, squares = np.zeros((3, goal_h.size))
    before, last, previous = -1, 0, 0.0
    for run in placed:
        row, one = placer.row[run.lane], placer.schedule([run])
        starts[row] += row != before
        blocks[row] += len(run.pieces)
        fresh = one.blocks[len(problem.kept) :]
        share = sum(block_hours(problem, block) for block in fresh) / goal_h[row]
        # Across a flip two runs count as one.
        flips = row == before and placer.after[run.lane] and not placer.after[last]
        squares[row] += share**2 + (2.0 * share * previous if flips else 0.0)
        before, last, previous = row, run.lane, share
    return starts, blocks, squares


@settings(max_examples=90, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    rules=st.sampled_from(RULES),
    step=st.sampled_from([97.0, 180.0, 300.0]),
    shortest=st.sampled_from([10.0, 20.0, 30.0]),
    trains=st.sampled_from(TRAINS),
    begun=st.booleans(),
)
def test_a_path_through_the_cells_is_above_every_schedule(
    invented_night, seed, rules, step, shortest, trains, begun
):
    rng = np.random.default_rng(seed)
    problem = invented_night(
        targets=2,
        filters=2,
        hours=float(rng.uniform(2.0, 6.0)),
        seed=seed,
        sub_s=float(rng.choice([120.0, 300.0])),
        shortest_min=shortest,
        overheads=rules,
        **(trains if rules.train_change_s is not None else {}),
    )
    placer = Placer(problem)
    if begun and placer.lanes:
        # The rest of a night, taken over in the midst of some run or lead.
        in_force = placer.schedule(placer.place(_random_runs(rng, placer)))
        problem = resume(problem, in_force, float(rng.uniform(0.0, problem.window_s)))
        placer = Placer(problem)
    if not placer.lanes:
        return
    utility = row_utility(problem)
    rows = utility.goal_h.size
    programme = PathProgramme(placer, build_cells(placer, step), utility.goal_h)
    batch = BatchPlacer(placer, utility)
    price, bonus, curve = (rng.uniform(0.0, most, rows) for most in (1.0, 0.2, 1.0))
    bonus *= rng.random() < 0.5
    curve *= utility.weight * (rng.random() < 0.7)
    block = rng.uniform(-0.02, 0.0, rows) * (rng.random() < 0.3)
    path = programme.best(Prices(price, bonus, block, curve))
    for _ in range(12):
        order = _random_runs(rng, placer)
        if placer.resumed is not None and rng.random() < 0.7:
            order.insert(0, Run(placer.resumed, int(rng.integers(1, 4))))
        placed = placer.place(order)
        schedule = placer.schedule(placed)
        assert violations(problem, schedule) == []
        rows_done = evaluate(problem, schedule)
        hours = np.array([row.tonight_h + row.gathered_h for row in rows_done.progress])
        hours -= utility.had_h
        starts, blocks, squares = _counted(problem, placer, placed, utility.goal_h)
        parts = rows_done.change_cost_parts
        cost = rows_done.change_cost - parts["new_angle"] - _change_cost(problem, problem.kept)
        worth = hours @ price + starts @ bonus + blocks @ block - squares @ curve - cost
        assert worth <= path.value + 1e-9
        free = np.full(rows, np.nan)
        lagrangian = path.value + utility.conjugate(price, bonus, curve, free)
        if not block.any():
            assert rows_done.value <= utility.constant() + lagrangian + 1e-9
    assert path.value == pytest.approx(
        path.hours @ price
        + path.starts @ bonus
        + path.blocks @ block
        - path.squares @ curve
        - path.cost,
        abs=1e-9,
    )
    # The fast placer is held to the exact one.
    runs = [_random_runs(rng, placer) for _ in range(8)]
    longest = max(len(order) for order in runs)
    lanes = np.full((8, longest), -1)
    counts = np.zeros((8, longest), dtype=int)
    waits = np.full((8, longest), -np.inf)
    for number, order in enumerate(runs):
        for place, run in enumerate(order):
            lanes[number, place], counts[number, place], waits[number, place] = run
    values = batch.values(lanes, counts, waits)
    for number, order in enumerate(runs):
        placed = placer.place(order)
        got = [
            (int(lane), int(count))
            for lane, count in zip(values.lanes[number], values.counts[number], strict=True)
            if count
        ]
        assert got == [(run.lane, sum(count for _, count in run.pieces)) for run in placed]
        exact = evaluate(problem, placer.schedule(placed)).value
        assert values.objective[number] == pytest.approx(exact, abs=2e-3)


@pytest.mark.parametrize("shot_s", [1400.0, 1900.0, 2400.0])
def test_the_run_that_the_rig_goes_on_with_may_be_shorter_than_a_cell(invented_night, shot_s):
    night = invented_night(
        targets=1,
        filters=2,
        hours=3.0,
        sub_s=100.0,
        overheads=Overheads(download_s=0.0, dither_s=0.0, focus_every_s=1e9),
    )
    always = {"worth": np.ones(night.grid_s.size), "usable": np.ones(night.grid_s.size, dtype=bool)}
    night = replace(
        night,
        tasks=tuple(replace(task, **always) for task in night.tasks),
        pointings=(replace(night.pointings[0], transit_s=np.inf),),
    )
    before = Placer(night)
    in_force = before.schedule(before.place([Run(0, 60)]))
    problem = resume(night, in_force, in_force.blocks[0].start_s + shot_s)
    placer, utility = Placer(problem), row_utility(problem)
    assert placer.resumed == 0
    # A little of the rig's own filter, then the other one till the end.
    schedule = placer.schedule(placer.place([Run(0, 1), Run(1, 500)]))
    assert violations(problem, schedule) == []
    tonight = block_hours(problem, schedule.blocks[-1])
    cost = _change_cost(problem, schedule.blocks)
    hour, bonus, none = np.array([0.0, 1.0]), np.array([0.1, 0.0]), np.zeros(2)
    programme = PathProgramme(placer, build_cells(placer, 600.0), utility.goal_h)
    path = programme.best(Prices(hour, bonus, none, none))
    assert path.value == pytest.approx(tonight + 0.1 - cost, abs=0.05)
    assert path.value >= tonight + 0.1 - cost - 1e-9
