"""The search for crossings against functions whose roots are known in closed form."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.sky.crossings import find_crossings


def sine(t):
    return np.sin(2.0 * np.pi * t)


def test_known_roots_of_a_sine():
    (found,) = find_crossings(sine, 0.1, 2.0, 0.05, [0.5])
    np.testing.assert_allclose(found.times, [5.0 / 12.0, 13.0 / 12.0, 17.0 / 12.0], atol=1e-9)
    np.testing.assert_array_equal(found.rising, [False, True, False])
    assert found.starts_above


def test_levels_share_one_search_and_keep_their_order():
    levels = [0.9, -0.9, 0.0, 2.0]
    found = find_crossings(sine, 0.0, 1.0, 0.05, levels)
    assert [f.times.size for f in found] == [2, 2, 1, 0]
    for level, crossings in zip(levels, found, strict=True):
        np.testing.assert_allclose(sine(crossings.times), level, atol=1e-7)
    assert not found[3].starts_above


@given(
    phase=st.floats(0.0, 1.0),
    depth=st.floats(1e-9, 0.5),
    upwards=st.booleans(),
)
@settings(max_examples=100, deadline=None)
def test_grazing_pairs_inside_one_step_are_found(phase, depth, upwards):
    # A sine of period 1 dips past the level for as little as 14 millionths of a period, sampled
    # on a twentieth: both roots are known from the arccosine.
    sign = 1.0 if upwards else -1.0
    level = sign * (1.0 - depth)

    def function(t):
        return sign * np.cos(2.0 * np.pi * (t - phase))

    (found,) = find_crossings(function, phase - 0.5, phase + 0.5, 0.05, [level])
    half = np.arccos(1.0 - depth) / (2.0 * np.pi)
    np.testing.assert_allclose(found.times, [phase - half, phase + half], atol=3e-7)
    assert found.rising[0] == upwards
    assert found.rising[1] != upwards


@given(offset=st.floats(0.0005, 0.049), depth=st.floats(1e-6, 1e-4))
@settings(max_examples=50, deadline=None)
def test_grazing_pairs_beside_the_ends_are_found(offset, depth):
    half = np.arccos(1.0 - depth) / (2.0 * np.pi)
    for start, end in ((-offset, 0.6), (-0.6, offset)):
        (found,) = find_crossings(
            lambda t: np.cos(2.0 * np.pi * t), start, end, 0.05, [1.0 - depth]
        )
        expected = [t for t in (-half, half) if start <= t <= end]
        np.testing.assert_allclose(found.times, expected, atol=3e-7)


def test_intervals_cover_the_span():
    (found,) = find_crossings(sine, 0.1, 2.1, 0.05, [0.0])
    above = found.intervals(0.1, 2.1, above=True)
    below = found.intervals(0.1, 2.1, above=False)
    np.testing.assert_allclose(above, [(0.1, 0.5), (1.0, 1.5), (2.0, 2.1)], atol=1e-9)
    np.testing.assert_allclose(below, [(0.5, 1.0), (1.5, 2.0)], atol=1e-9)
    (never,) = find_crossings(sine, 0.0, 1.0, 0.05, [3.0])
    assert never.intervals(0.0, 1.0, above=True) == []
    assert never.intervals(0.0, 1.0, above=False) == [(0.0, 1.0)]


def test_steep_and_flat_roots_converge():
    # x^9 is as flat as a root can be at 0; atan(1000 x) as steep.
    for function in (lambda t: (t - 0.3) ** 9, lambda t: np.arctan(1000.0 * (t - 0.3))):
        (found,) = find_crossings(function, 0.0, 1.0, 0.1, [0.0])
        np.testing.assert_allclose(found.times, [0.3], atol=1e-7)


@pytest.mark.parametrize(
    ("start", "end", "step"), [(1.0, 1.0, 0.1), (1.0, 0.0, 0.1), (0.0, 1.0, 0.0)]
)
def test_senseless_spans_are_refused(start, end, step):
    with pytest.raises(ValueError, match="start < end"):
        find_crossings(sine, start, end, step, [0.0])
