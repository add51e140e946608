"""Sharing out hours over sampled futures, against linear programmes of scipy (HiGHS)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from nightplan.planning.ahead.futures import (
    LASTING_NIGHTS,
    Futures,
    clear_patterns,
    known_futures,
    lasting_nights,
    sampled_futures,
)
from nightplan.planning.ahead.response import foresight_bound, respond
from nightplan.planning.ahead.rows import Rows
from nightplan.planning.value.progress_value import value_of_share

PIECES = 40


def rows_of(rng: np.random.Generator, targets: int, filters: int, trains: int = 1) -> Rows:
    count = targets * filters
    return Rows(
        target=np.repeat(np.arange(targets), filters),
        channel=np.tile(np.arange(filters), targets),
        filter=np.tile(np.arange(filters), targets),
        train=np.repeat(np.arange(targets) % trains, filters),
        goal_h=rng.uniform(1.0, 8.0, count),
        gathered_h=rng.uniform(0.0, 2.0, count),
        priority=np.repeat(rng.uniform(0.5, 2.0, targets), filters),
        panels=np.ones(count, dtype=np.intp),
        shutter=np.ones(count),
        dear=rng.uniform(0.0, 1.0, count),
        broad=np.zeros(count, dtype=bool),
        fall=0.4,
    )


def by_linear_programme(
    rows: Rows, weight: np.ndarray, tonight: np.ndarray, futures: Futures
) -> float:
    """Best mean value with the value's chords, which lie below it by under 1e-4 of a goal."""
    size, count = rows.goal_h.size, futures.count
    slots = [(-1, one) for one in tonight]
    slots += [(k, one) for k in range(count) for one in futures.offered_h[k].reshape(-1, size)]
    share = np.linspace(0.0, 12.0, 12 * PIECES + 1)
    x_count = len(slots) * size
    columns = x_count + count * size
    limits = [np.zeros(columns) for _ in slots]
    for number, line in enumerate(limits):
        line[number * size : (number + 1) * size] = 1.0
    right = [1.0] * len(slots)
    for k in range(count):
        for row in range(size):
            hours = np.zeros(columns)
            for number, (future, one) in enumerate(slots):
                if future in (-1, k):
                    hours[number * size + row] = one[row]
            at_h = share * rows.goal_h[row]
            value = weight[row] * rows.goal_h[row] * value_of_share(share, 0.4, rows.dear[row])
            for i, slope in enumerate(np.diff(value) / np.diff(at_h)):
                line = -slope * hours
                line[x_count + k * size + row] = 1.0
                limits.append(line)
                right.append(value[i] + slope * (rows.gathered_h[row] - at_h[i]))
    cost = np.zeros(columns)
    cost[x_count:] = -1.0 / count
    bounds = [(0.0, 1.0)] * x_count + [(None, None)] * (count * size)
    answer = linprog(cost, np.array(limits), right, bounds=bounds)
    return float(-answer.fun - rows.value(rows.gathered_h, weight))


@pytest.mark.parametrize("seed", range(6))
def test_the_shared_hours_are_near_the_best_by_linear_programming(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows = rows_of(rng, 2, 2)
    futures = Futures(rng.uniform(0.0, 1.0, (3, 2, 2, 4)) * rng.integers(0, 2, (3, 2, 2, 4)))
    tonight = rng.uniform(0.0, 1.0, (4, 4))
    weight = rows.weight(rows.gathered_h)
    best = by_linear_programme(rows, weight, tonight, futures)
    found = respond(rows, rows.gathered_h[None], weight[None], tonight[None], futures, 400)
    reached = rows.gathered_h + found.tonight_h[:, None] + found.later_h
    added = rows.value(reached, weight[None, None]) - rows.value(rows.gathered_h, weight)
    slack = 1e-4 * float(weight @ rows.goal_h)
    assert 0.96 * best <= float(added.mean()) <= best + slack
    bound = foresight_bound(
        rows,
        rows.gathered_h,
        weight,
        Futures(np.concatenate([np.broadcast_to(tonight, (3, 1, 4, 4))[:, :, :2],
                                np.broadcast_to(tonight, (3, 1, 4, 4))[:, :, 2:],
                                futures.offered_h], axis=1)),
    )  # fmt: skip
    assert bound >= best


@given(st.integers(0, 10_000), st.integers(1, 3), st.integers(1, 2))
@settings(max_examples=40, deadline=None)
def test_the_bound_is_above_every_way_of_sharing(seed: int, targets: int, trains: int) -> None:
    rng = np.random.default_rng(seed)
    rows = rows_of(rng, targets, 2, trains)
    futures = Futures(rng.uniform(0.0, 1.0, (3, 3, 2, 2 * targets)))
    weight = rows.weight(rows.gathered_h)
    bound = foresight_bound(rows, rows.gathered_h, weight, futures, steps=int(rng.integers(1, 40)))
    values = []
    for _ in range(60):
        # Any legal way: each night one train, each slot one row of it.
        total = []
        for future in futures.offered_h:
            had = rows.gathered_h.copy()
            for night in future:
                own = np.flatnonzero(rows.train == rng.choice(np.unique(rows.train)))
                for slot in night:
                    row = rng.choice(own)
                    had[row] += slot[row]
            total.append(rows.value(had, weight) - rows.value(rows.gathered_h, weight))
        values.append(np.mean(total))
    assert max(values) <= bound


def test_one_train_a_night() -> None:
    rng = np.random.default_rng(3)
    rows = rows_of(rng, 2, 2, trains=2)
    futures = Futures(np.zeros((1, 0, 1, 4)))
    weight = rows.weight(rows.gathered_h)
    tonight = np.zeros((2, 4))
    tonight[0, 0] = tonight[1, 2] = 1.0  # the two slots suit targets of different trains
    found = respond(rows, rows.gathered_h[None], weight[None], tonight[None], futures, 300)
    # A mix of the two nights at most: together no more than one of them.
    assert found.tonight_h.sum() == pytest.approx(1.0, abs=1e-6)


def test_futures_hold_the_chance_and_last_as_long_as_said() -> None:
    clear = clear_patterns(400, 0.3, 16)
    assert clear.mean() == pytest.approx(0.3, abs=0.01)
    assert np.array_equal(clear_patterns(20, 0.3, 16), clear[:20])
    # Mean of the exponential distribution; quantiles at the middle of 1000 equal shares.
    assert lasting_nights(1000).mean() == pytest.approx(LASTING_NIGHTS, rel=0.01)
    offered = np.ones((30, 2, 3))
    offered[:, :, 1] = 0.0
    found = sampled_futures(offered, 1.0, 16)
    nights = found.offered_h.any(axis=(2, 3)).sum(axis=1)
    assert np.array_equal(nights, np.minimum(30, np.floor(lasting_nights(16))))
    known = known_futures(np.arange(1.0, 4.0)[:, None, None], np.array([[True, False, True]]))
    assert known.offered_h[0, :, 0, 0].tolist() == [1.0, 3.0]
