"""The bound is above every schedule that can be carried out, whatever its times are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.planning.schedule.check import violations
from nightplan.planning.schedule.problem import Overheads
from nightplan.planning.schedule.schedule import block_hours, evaluate
from nightplan.planning.schedule.solving.batch import BatchPlacer
from nightplan.planning.schedule.solving.cells import build_cells
from nightplan.planning.schedule.solving.path_programme import PathProgramme, Prices
from nightplan.planning.schedule.solving.placement import Placer, Run
from nightplan.planning.schedule.solving.utility_model import row_utility

RULES = [
    Overheads(stop_before_meridian_s=600.0),
    Overheads(track_past_meridian_s=1500.0, dither_every=2, focus_every_s=2400.0),
    Overheads(use_filter_offsets=True, download_s=6.0, focus_after_flip=False),
    Overheads(dither_s=0.0, focus_every_s=1e9, filter_change_s=30.0, slew_centre_s=300.0),
]


def _random_runs(rng: np.random.Generator, placer: Placer) -> list[Run]:
    runs = []
    for _ in range(rng.integers(1, 8)):
        lane = int(rng.integers(0, len(placer.lanes)))
        wait = float(rng.uniform(0, placer.end_s)) if rng.random() < 0.4 else -np.inf
        runs.append(Run(lane, int(rng.integers(1, 30)), wait))
    return runs


@settings(max_examples=50, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    rules=st.sampled_from(RULES),
    step=st.sampled_from([97.0, 180.0, 300.0]),
    shortest=st.sampled_from([10.0, 20.0, 30.0]),
)
def test_a_path_through_the_cells_is_above_every_schedule(
    invented_night, seed, rules, step, shortest
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
    )
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
        placed = placer.place(_random_runs(rng, placer))
        schedule = placer.schedule(placed)
        assert violations(problem, schedule) == []
        rows_done = evaluate(problem, schedule)
        hours = np.array([row.tonight_h for row in rows_done.progress])
        starts, blocks, squares = np.zeros(rows), np.zeros(rows), np.zeros(rows)
        before, last, previous = -1, 0, 0.0
        for run in placed:
            row, one = placer.row[run.lane], placer.schedule([run])
            starts[row] += row != before
            blocks[row] += len(run.pieces)
            hours_here = sum(block_hours(problem, b) for b in one.blocks)
            share = hours_here / utility.goal_h[row]
            # Across a flip two runs count as one.
            flips = row == before and placer.after[run.lane] and not placer.after[last]
            squares[row] += share**2 + (2.0 * share * previous if flips else 0.0)
            before, last, previous = row, run.lane, share
        cost = rows_done.change_cost - rows_done.change_cost_parts["new_angle"]
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
