"""The value of progress and its curves: what any imager would ask of them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from nightplan.planning.value.curve import ValueCurve
from nightplan.planning.value.night_value import night_value
from nightplan.planning.value.progress_value import (
    FALL,
    row_curve,
    slope_of_share,
    target_weight,
    value_of_share,
)

HOURS = st.floats(0.1, 60.0)


@pytest.mark.parametrize("fall", FALL.values())
@pytest.mark.parametrize("dear", [0.0, 0.4, 1.0])
def test_the_value_is_the_integral_of_the_slope(fall: float, dear: float) -> None:
    for share in (0.3, 1.0, 1.4, 2.0, 3.7):
        by_quadrature, _ = quad(lambda p: float(slope_of_share(p, fall, dear)), 0.0, share,
                                points=[1.0, 2.0], limit=200)  # fmt: skip
        assert float(value_of_share(np.array(share), fall, dear)) == pytest.approx(by_quadrature)


def test_an_hour_is_an_hour_whatever_the_goal() -> None:
    for goal in (0.5, 4.0, 30.0):
        curve = row_curve(goal, 0.4 * goal, 1.0, np.zeros(1), 0.01, 0.4)
        assert curve.slopes[0] == pytest.approx(slope_of_share(0.4, 0.4), rel=0.01)


@given(HOURS, st.floats(0.0, 80.0), st.lists(st.floats(0.0, 30.0), min_size=1, max_size=8))
@settings(max_examples=100, deadline=None)
def test_curves_rise_fall_off_and_never_stop(goal: float, had: float, later: list[float]) -> None:
    curve = row_curve(goal, had, 1.3, np.array(later), 12.0, 0.4)
    assert curve.gathered_h == had
    assert curve.gain(0.0) == 0.0
    # An hour always adds something, so that no rig idles under a usable target.
    assert (curve.slopes > 0.0).all()
    assert (np.diff(curve.slopes) <= 1e-9).all()


@given(HOURS, st.floats(1.0, 4.0), st.floats(0.0, 20.0))
@settings(max_examples=100, deadline=None)
def test_a_longer_goal_makes_no_hour_worth_less(goal: float, times: float, had: float) -> None:
    short = row_curve(goal, had, 1.0, np.zeros(1), 10.0, 0.4)
    long = row_curve(goal * times, had, 1.0, np.zeros(1), 10.0, 0.4)
    hours = np.linspace(0.0, 10.0, 16)
    assert (long.gain(hours) >= short.gain(hours) - 1e-9).all()


def test_what_later_nights_bring_lowers_tonights_price() -> None:
    alone = row_curve(6.0, 0.0, 1.0, np.zeros(4), 8.0, 0.4)
    some = row_curve(6.0, 0.0, 1.0, np.array([0.0, 0.0, 8.0, 8.0]), 8.0, 0.4)
    assert (some.slopes < alone.slopes + 1e-12).all()
    assert some.slopes[0] < 0.6 * alone.slopes[0]


def test_a_begun_target_leads_all_the_way_to_its_goal() -> None:
    share = np.linspace(0.05, 0.99, 50)
    price = target_weight(1.0, share) * slope_of_share(share, FALL["diminishing"])
    assert (price > 1.0).all()


@given(st.integers(0, 1000))
@settings(max_examples=30, deadline=None)
def test_a_night_for_one_target_beats_random_sharing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    offered = rng.uniform(0.0, 0.5, (1, 12, 3))
    goal, had = rng.uniform(0.5, 4.0, (1, 3)), rng.uniform(0.0, 1.0, (1, 3))
    best = float(night_value(offered, goal, had, 0.4)[0])
    for _ in range(100):
        rows = rng.integers(0, 3, 12)
        hours = np.array([offered[0, rows == f, f].sum() for f in range(3)])
        gain = goal[0] * (
            value_of_share((had[0] + hours) / goal[0], 0.4) - value_of_share(had[0] / goal[0], 0.4)
        )
        assert gain.sum() <= 1.03 * best


@pytest.mark.parametrize(
    ("hours", "value"),
    [((0.0, 1.0), (0.0, -1.0)), ((0.0, 1.0, 2.0), (0.0, 1.0, 3.0)), ((1.0, 1.0), (0.0, 1.0)),
     ((0.0,), (0.0,)), ((0.0, 1.0), (0.5, 1.0)), ((0.0, float("nan")), (0.0, 1.0))],
)  # fmt: skip
def test_what_is_no_value_curve_is_rejected(hours, value) -> None:
    with pytest.raises(ValueError, match="value curve"):
        ValueCurve(hours, value)
