"""How nights are given out and replayed: exact cases, a bound, and properties on invented skies."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from nightplan.planning.campaign.policy import DONE, Rows, night_work, utility
from nightplan.planning.campaign.skies import clear_nights, median_share, replay, typical_rates


def rows_of(
    filters: list[int],
    goal_h: float | list[float] = 3.0,
    trains: list[int] | None = None,
    gathered_h: float = 0.0,
    change_h: float = 0.0,
    priority: list[float] | None = None,
) -> Rows:
    """Rows of targets with so many filters each."""
    target = np.repeat(np.arange(len(filters)), filters)
    size = target.size
    ranks = np.array(priority or [1.0] * len(filters))[target]
    change = np.full((size + 2, size), change_h)
    change[np.arange(size), np.arange(size)] = 0.0
    change[-2] = 0.0
    return Rows(
        target=target,
        filter=np.concatenate([np.arange(count) for count in filters]),
        train=np.array(trains or [0] * len(filters))[target],
        goal_h=np.broadcast_to(np.asarray(goal_h, dtype=float), (size,)).copy(),
        gathered_h=np.full(size, gathered_h),
        weight=ranks / np.array(filters)[target],
        priority=ranks,
        change_h=change,
    )


def even_nights(nights: int, slots: int, rate: list[float]) -> tuple[np.ndarray, ...]:
    """Nights that are all alike: rate (night, slot, row), slot length, slots."""
    table = np.broadcast_to(np.array(rate), (nights, slots, len(rate))).copy()
    return table, np.full(nights, 0.5), np.full(nights, slots)


def run(rows, rate, slot_h, slots, chance, nights=None, **options):
    typical = typical_rates(rate, slot_h, slots)
    nights = rate.shape[0] if nights is None else nights
    balance = options.pop("balance", "diminishing")
    return replay(
        rows, rate[:nights], typical[:nights], slot_h[:nights], slots[:nights], chance, balance,
        **options,
    )  # fmt: skip


@pytest.mark.parametrize("chance", [0.2, 0.5, 0.75])
def test_the_chance_is_the_binomial_tail(chance: float) -> None:
    # One filter, every clear night brings 2 of 5 hours: done after 3 clear nights.
    from scipy.stats import binom

    rows = rows_of([1], goal_h=5.0)
    rate, slot_h, slots = even_nights(20, 8, [0.5])
    found = run(rows, rate, slot_h, slots, chance)
    exact = binom.sf(2, np.arange(1, 21), chance)
    # sampling error of 4096 free draws is at most 0.0078; three of them
    assert found.finished[:, 0] == pytest.approx(exact, abs=0.02)
    assert np.abs(found.finished[:, 0] - exact).mean() < 0.006
    # NIST/SEMATECH handbook, 1.3.6.6.18: the median is where the distribution passes one half
    assert np.argmax(found.finished[:, 0] >= 0.5) == np.argmax(exact >= 0.5)


def test_the_chance_is_the_exact_sum_over_unequal_nights() -> None:
    # Every sky of 9 unequal nights enumerated; a single filter gains whatever its nights offer.
    nightly = np.array([0.5, 2.0, 1.0, 0.25, 1.5, 0.75, 2.0, 1.0, 0.5])
    chance, goal = 0.4, 3.1
    exact = 0.0
    for sky in itertools.product((0, 1), repeat=nightly.size):
        clear = np.array(sky)
        if clear @ nightly >= goal:
            exact += chance ** clear.sum() * (1.0 - chance) ** (1 - clear).sum()
    rate = np.repeat((nightly / 2.0)[:, None, None], 4, axis=1)
    found = run(rows_of([1], goal), rate, np.full(9, 0.5), np.full(9, 4), chance)
    assert found.finished[-1, 0] == pytest.approx(exact, abs=0.015)


@st.composite
def campaigns(draw):
    seed = draw(st.integers(0, 10_000))
    rng = np.random.default_rng(seed)
    filters = draw(st.lists(st.integers(1, 3), min_size=1, max_size=3))
    trains = [int(rng.integers(0, 2)) for _ in filters]
    rows = rows_of(
        filters,
        goal_h=[float(rng.uniform(0.5, 6.0)) for _ in range(sum(filters))],
        trains=trains,
        gathered_h=draw(st.sampled_from([0.0, 0.4])),
        change_h=draw(st.sampled_from([0.0, 0.1])),
        priority=[float(rng.choice([1.0, 2.0])) for _ in filters],
    )
    nights = draw(st.integers(2, 12))
    slots = rng.integers(0, 7, nights)
    rate = rng.uniform(0.0, 1.0, (nights, 6, sum(filters)))
    rate *= rng.uniform(0.0, 1.0, (nights, 1, sum(filters))) > 0.3
    rate[np.arange(6)[None, :] >= slots[:, None]] = 0.0
    slot_h = np.where(slots > 0, rng.uniform(0.4, 0.6, nights), 0.0)
    return rows, rate, slot_h, slots


balances = st.sampled_from(["diminishing", "even", "plain"])


@settings(max_examples=60, deadline=None)
@given(campaigns(), balances, st.sampled_from([0.0, 0.3, 1.0]))
def test_a_night_is_never_overfull_nor_a_goal(case, balance, chance) -> None:
    rows, rate, slot_h, slots = case
    found = run(rows, rate, slot_h, slots, chance, histories=64, balance=balance)
    assert (found.clock_h.sum(axis=1) <= slots * slot_h + 1e-9).all()
    assert (found.clock_h >= 0.0).all()
    assert (found.equivalent_h <= found.clock_h * rate.max() + 1e-9).all()
    assert ((found.mean_share >= rows.share - 1e-12) & (found.mean_share <= 1.0)).all()
    assert (np.diff(found.finished, axis=0) >= 0.0).all()
    for night in range(rate.shape[0]):
        used = np.unique(rows.train[found.clock_h[night] > 0.0])
        assert used.size <= 1
        assert found.train[night] == (used[0] if used.size else -1)
    if chance == 0.0:
        assert found.mean_share == pytest.approx(rows.share)


@settings(max_examples=40, deadline=None)
@given(campaigns(), balances)
def test_with_clear_skies_the_nights_are_the_plan_one_after_the_other(case, balance) -> None:
    rows, rate, slot_h, slots = case
    found = run(rows, rate, slot_h, slots, 1.0, balance=balance)
    typical = typical_rates(rate, slot_h, slots)
    share = rows.share[None, :]
    for night in range(rate.shape[0]):
        if not slots[night]:
            continue
        work = night_work(
            rows, share, rate[night, : slots[night]], typical[night], slot_h[night], balance
        )
        assert found.clock_h[night] == pytest.approx(work.clock_h[0])
        assert found.equivalent_h[night] == pytest.approx((work.share - share)[0] * rows.goal_h)
        done = rows.target[None, :] == np.flatnonzero(
            [(share[0, rows.target == t] >= DONE).all() for t in range(rows.target.max() + 1)]
        )[:, None]  # fmt: skip
        assert not found.clock_h[night][done.any(axis=0)].any()  # nothing for what is finished
        share = work.share
    assert found.mean_share == pytest.approx(share[0])
    assert set(found.finished.ravel()) <= {0.0, 1.0}


@settings(max_examples=40, deadline=None)
@given(campaigns(), st.floats(0.05, 0.95))
def test_more_nights_never_lower_a_chance(case, chance) -> None:
    rows, rate, slot_h, slots = case
    # all look as far ahead: the typical rates come with the nights, as `make_campaign` has it
    whole = run(rows, rate, slot_h, slots, chance, histories=128)
    part = run(rows, rate, slot_h, slots, chance, nights=rate.shape[0] // 2 or 1, histories=128)
    count = part.finished.shape[0]
    assert np.array_equal(whole.finished[:count], part.finished)
    assert np.array_equal(whole.clock_h[:count], part.clock_h)
    assert (whole.finished[-1] >= part.finished[-1]).all()
    assert whole.mean_utility >= part.mean_utility - 1e-12


def best_possible(rows, rate, slot_h, slots, chance) -> float:
    """No policy has a greater mean utility: scipy's HiGHS on expected hours, tangents above p(2-p).

    The utility is concave, so its mean is at most that of the mean shares; those are a point of
    this linear programme, in which trains may mix and changes cost nothing.
    """
    from scipy.optimize import linprog

    size = rows.goal_h.size
    cells = [(n, k) for n in range(rate.shape[0]) for k in range(slots[n])]
    count = len(cells) * size
    # columns: hours of each cell and row, then the utility of each row
    cost = np.concatenate([np.zeros(count), -rows.weight])
    lines, limits = [], []
    for i, (night, _) in enumerate(cells):
        line = np.zeros(count + size)
        line[i * size : (i + 1) * size] = 1.0
        lines.append(line)
        limits.append(slot_h[night])
    for row in range(size):
        gain = np.zeros(count + size)
        for i, (night, slot) in enumerate(cells):
            gain[i * size + row] = chance * rate[night, slot, row] / rows.goal_h[row]
        for at in np.linspace(0.0, 1.0, 41):
            # u <= at (2 - at) + 2 (1 - at)(p - at)
            line = -2.0 * (1.0 - at) * gain
            line[count + row] = 1.0
            lines.append(line)
            limits.append(at * (2.0 - at) + 2.0 * (1.0 - at) * (rows.share[row] - at))
    solved = linprog(cost, A_ub=np.array(lines), b_ub=limits, bounds=(0.0, None), method="highs")
    assert solved.status == 0
    return -float(solved.fun)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("chance", [0.5, 1.0])
def test_the_policy_is_near_a_bound_that_holds_for_any_policy(seed, chance) -> None:
    rng = np.random.default_rng(seed)
    rows = rows_of([2, 3], goal_h=list(rng.uniform(3.0, 8.0, 5)))
    nights = 8
    moon = np.abs(np.cos(np.pi * np.arange(nights) / nights))[:, None, None]
    broad = np.array([1.0, 0.3, 1.0, 1.0, 0.3])[None, None, :]
    rate = rng.uniform(0.5, 1.0, (nights, 6, 5)) * (1.0 - 0.9 * moon * broad)
    slot_h, slots = np.full(nights, 0.5), np.full(nights, 6)
    found = run(rows, rate, slot_h, slots, chance, histories=512)
    bound = best_possible(rows, rate, slot_h, slots, chance)
    assert found.mean_utility <= bound + 1e-9
    gained = found.mean_utility - utility(rows, rows.share[None, :])[0]
    assert gained >= 0.9 * bound


def test_dark_hours_go_to_what_the_moon_spoils_and_moonlit_ones_to_the_rest() -> None:
    rows = rows_of([1, 1], goal_h=6.0)
    dark, bright = np.array([0.9, 0.9]), np.array([0.1, 0.6])
    rate = np.where((np.arange(10) % 2 == 0)[:, None, None], dark, bright) * np.ones((10, 6, 1))
    found = run(rows, rate, np.full(10, 0.5), np.full(10, 6), 1.0)
    first = found.clock_h[:4]
    assert (first[::2, 0] > first[::2, 1]).all()  # dark nights: broadband
    assert (first[1::2, 1] > first[1::2, 0]).all()  # moonlit nights: narrowband


def test_a_target_that_leaves_the_sky_soon_goes_first() -> None:
    rows = rows_of([1, 1], goal_h=5.0)
    rate = np.full((30, 6, 2), 0.8)
    rate[5:, :, 0] = 0.0
    found = run(rows, rate, np.full(30, 0.5), np.full(30, 6), 1.0)
    assert found.clock_h[0, 0] > found.clock_h[0, 1]
    assert found.mean_share[0] == pytest.approx(1.0)


def test_changes_cost_their_minutes() -> None:
    free, dear = rows_of([2], goal_h=4.0), rows_of([2], goal_h=4.0, change_h=0.2)
    rate, slot_h, slots = even_nights(1, 8, [1.0, 1.0])
    easy, hard = run(free, rate, slot_h, slots, 1.0), run(dear, rate, slot_h, slots, 1.0)
    assert easy.equivalent_h.sum() == pytest.approx(4.0)
    changes = (4.0 - hard.equivalent_h.sum()) / 0.2
    assert changes == pytest.approx(round(changes))
    assert 1 <= round(changes) <= 3  # a filter is kept for a while rather than swapped each slot
    assert hard.clock_h.sum() == pytest.approx(4.0)


def test_priority_and_balance_steer() -> None:
    rate, slot_h, slots = even_nights(1, 6, [1.0, 1.0])
    first = run(rows_of([1, 1], 9.0, priority=[1.0, 5.0]), rate, slot_h, slots, 1.0)
    assert first.clock_h[0].tolist() == [0.0, 3.0]
    uneven = Rows(**{**vars(rows_of([2], 4.0)), "gathered_h": np.array([2.0, 0.0])})
    even = run(uneven, rate, slot_h, slots, 1.0, balance="even")
    assert even.mean_share[0] == pytest.approx(even.mean_share[1], abs=0.15)
    better = np.broadcast_to(np.array([1.0, 0.5]), rate.shape)
    plain = run(rows_of([2], 4.0), better, slot_h, slots, 1.0, balance="plain")
    assert plain.clock_h[0].tolist() == [3.0, 0.0]


def test_skies_are_nested_fixed_and_exact_in_every_night() -> None:
    long, short = clear_nights(12, 0.3, 1000), clear_nights(5, 0.3, 1000)
    assert np.array_equal(long[:5], short)
    assert (long.sum(axis=1) == 300).all()
    assert np.array_equal(long, clear_nights(12, 0.3, 1000))
    # nights are independent: the share of skies clear on two of them is 0.09
    pairs = [(long[a] & long[b]).mean() for a, b in itertools.combinations(range(12), 2)]
    assert np.mean(pairs) == pytest.approx(0.09, abs=0.005)


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 41), st.integers(0, 1000))
def test_the_middle_history_is_done_when_half_are(histories, seed) -> None:
    rng = np.random.default_rng(seed)
    rows = rows_of([2])
    share = rng.uniform(0.0, 1.0, (histories, 2))
    share[rng.random(histories) < 0.5] = 1.0
    done = (share >= DONE).all(axis=1).mean()
    middle = median_share(rows, share, rows.of_target(1))
    assert (middle >= DONE).all() == (done >= 0.5)
    assert any(np.array_equal(middle, one) for one in share)


def test_typical_rates_look_one_lunation_ahead() -> None:
    rate = np.zeros((70, 2, 1))
    rate[:, 0, 0] = np.arange(70.0)
    slots = np.full(70, 2)
    found = typical_rates(rate, np.full(70, 0.5), slots)
    # one of two slots is worth n: the mean of n/2 over nights 0..29, and 10..39
    assert found[0, 0] == pytest.approx(14.5 / 2.0)
    assert found[10, 0] == pytest.approx(24.5 / 2.0)
