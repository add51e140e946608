"""Sub lengths: the formula's scaling laws, a worked table, and who decides."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.light.sub_length import (
    BOUNDS,
    ROUND_S,
    SubLimits,
    broken_bounds,
    choose_sub,
    extra_noise,
    lengths_within,
    overhead_floor_s,
    saturation_level_e,
    saturation_s,
    shortest_useful_s,
)

# Worked by hand from t = R^2 / (s ((1 + p)^2 - 1)): read noise, background, p, seconds.
WORKED = [
    (1.0, 1.0, 0.05, 9.756),
    (1.5, 0.5, 0.05, 43.90),
    (3.0, 1.0, 0.05, 87.80),
    (1.5, 0.01, 0.05, 2195.1),
    (1.5, 0.5, 0.10, 21.43),
    (1.5, 0.5, 0.02, 111.39),
]


@pytest.mark.parametrize(("read", "background", "share", "seconds"), WORKED)
def test_worked_table(read: float, background: float, share: float, seconds: float) -> None:
    assert float(shortest_useful_s(read, background, share)) == pytest.approx(seconds, rel=1e-3)


@given(
    read=st.floats(0.5, 20), background=st.floats(1e-4, 100), share=st.floats(0.01, 1.0),
    factor=st.floats(1.1, 5.0),
)  # fmt: skip
@settings(max_examples=100, deadline=None)
def test_scaling_and_inverse(read, background, share, factor) -> None:
    base = float(shortest_useful_s(read, background, share))
    assert float(shortest_useful_s(factor * read, background, share)) == pytest.approx(
        factor**2 * base
    )
    assert float(shortest_useful_s(read, factor * background, share)) == pytest.approx(
        base / factor
    )
    assert float(extra_noise(read, background, base)) == pytest.approx(share, rel=1e-6)


def _limits(**changes: float) -> SubLimits:
    values = {
        "read_noise_s": 40.0,
        "overhead_s": 20.0,
        "user_minimum_s": 10.0,
        "saturation_s": 400.0,
        "guiding_s": 600.0,
        "user_maximum_s": 500.0,
    }
    return SubLimits(**{**values, **changes})


@pytest.mark.parametrize(
    ("changes", "sub_s", "bound"),
    [
        ({}, 60.0, "read_noise"),
        ({"overhead_s": 93.0}, 120.0, "overhead"),
        ({"user_minimum_s": 61.0}, 120.0, "user_minimum"),
        ({"saturation_s": 31.0}, 30.0, "saturation"),
        ({"read_noise_s": 5000.0}, 300.0, "user_maximum"),
        ({"read_noise_s": 5000.0, "saturation_s": 200.0}, 180.0, "saturation"),
        ({"read_noise_s": 5000.0, "saturation_s": 1e9, "guiding_s": 100.0}, 60.0, "guiding"),
        # a floor below the ceiling whose round length lies above it comes down under the ceiling
        ({"read_noise_s": 61.0, "saturation_s": 119.0}, 60.0, "saturation"),
        ({"user_maximum_s": 600.0, "read_noise_s": 900.0, "saturation_s": 1e9}, 600.0,
         "user_maximum"),
        # below the round lengths shorter ones stand in
        ({"saturation_s": 17.0}, 15.0, "saturation"),
        # the user's own bounds hold whatever saturates
        ({"saturation_s": 0.4}, 10.0, "user_minimum"),
        ({"user_minimum_s": 40.0, "user_maximum_s": 50.0}, 50.0, "read_noise"),
    ],
)  # fmt: skip
def test_who_decides(changes: dict[str, float], sub_s: float, bound: str) -> None:
    choice = choose_sub(_limits(**changes))
    assert (choice.sub_s, choice.bound) == (sub_s, bound)


@given(
    values=st.lists(st.floats(0.1, 10_000), min_size=4, max_size=4),
    user=st.tuples(st.floats(0.1, 7200), st.floats(0.1, 7200)).map(sorted),
)
@settings(max_examples=200, deadline=None)
def test_the_users_bounds_always_hold_and_ceilings_where_they_can(
    values: list[float], user: list[float]
) -> None:
    read_noise, overhead, saturation, guiding = values
    limits = SubLimits(read_noise, overhead, user[0], saturation, guiding, user[1])
    choice = choose_sub(limits)
    assert user[0] * (1 - 1e-9) <= choice.sub_s <= user[1] * (1 + 1e-9)
    assert choice.bound in BOUNDS
    allowed = lengths_within(ROUND_S, *user)
    assert choice.sub_s in allowed
    ceiling = min(saturation, guiding, user[1]) * (1 + 1e-9)
    if allowed[0] <= ceiling:
        assert choice.sub_s <= ceiling
    if choice.bound in BOUNDS[:2]:
        assert choice.sub_s >= max(read_noise, overhead) * (1 - 1e-9)


def test_broken_bounds_are_named() -> None:
    assert broken_bounds(_limits(), 100.0) == ()
    assert broken_bounds(_limits(), 450.0) == ("saturation",)
    assert broken_bounds(_limits(), 700.0) == ("saturation", "guiding", "user_maximum")
    assert broken_bounds(_limits(user_minimum_s=31.0), 30.0) == ("read_noise", "user_minimum")


def test_overhead_share_comes_back() -> None:
    sub = overhead_floor_s(2.0, 25.0, 3, 0.1)
    between = 2.0 + 25.0 / 3.0
    assert between / (sub + between) == pytest.approx(0.1)


def test_saturation_by_converter_or_well() -> None:
    # 16 bits at 0.275 e/ADU clip at 18,022 e; a 50,000 e well at 1 e/ADU fills first.
    assert saturation_level_e(18_500.0, 0.275, 16) == pytest.approx(0.275 * 65535)
    assert saturation_level_e(50_000.0, 1.0, 16) == 50_000.0
    assert float(saturation_s(50_000.0, 499.0, 1.0)) == pytest.approx(100.0)
