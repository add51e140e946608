"""Angles against Meeus's examples, astropy, and their own algebra."""

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.sky.angles import (
    axis_turn_deg,
    position_angle_deg,
    separation_deg,
    unit_vector,
    wrap_180_deg,
    wrap_360_deg,
    wrap_axis_deg,
)

angles = st.floats(-1e6, 1e6)
ra = st.floats(0.0, 360.0)
dec = st.floats(-90.0, 90.0)


@pytest.mark.parametrize(
    ("wrap", "start", "turn"),
    [(wrap_360_deg, 0.0, 360.0), (wrap_180_deg, -180.0, 360.0), (wrap_axis_deg, 0.0, 180.0)],
)
@given(angle=angles)
@settings(max_examples=100, deadline=None)
def test_wraps_stay_in_range_and_keep_the_direction(wrap, start, turn, angle):
    wrapped = float(wrap(angle))
    assert start <= wrapped < start + turn
    turns = (angle - wrapped) / turn
    assert turns == pytest.approx(round(turns), abs=1e-8)
    assert float(wrap(wrapped)) == wrapped


@pytest.mark.parametrize("hair", [-1e-17, -5e-324, -1e-14])
def test_a_hair_below_the_range_does_not_reach_its_excluded_end(hair):
    assert 0.0 <= float(wrap_360_deg(hair)) < 360.0
    assert 0.0 <= float(wrap_axis_deg(hair)) < 180.0
    assert -180.0 <= float(wrap_180_deg(-180.0 + hair)) < 180.0


@given(start=angles, end=angles)
@settings(max_examples=100, deadline=None)
def test_axis_turn_is_the_shorter_way(start, end):
    turn = float(axis_turn_deg(start, end))
    assert -90.0 <= turn < 90.0
    left_over = (start + turn - end) / 180.0
    assert left_over == pytest.approx(round(left_over), abs=1e-8)


def test_arcturus_to_spica():
    # Meeus, Astronomical Algorithms 2nd ed., example 17.a, p. 110: 32.7930 degrees.
    assert separation_deg(213.9154, 19.1825, 201.2983, -11.1614) == pytest.approx(32.7930, abs=5e-5)


@given(ra1=ra, dec1=dec, ra2=ra, dec2=dec)
@settings(max_examples=100, deadline=None)
def test_separation_and_position_angle_against_astropy(ra1, dec1, ra2, dec2):
    # astropy.coordinates SkyCoord.separation and .position_angle.
    one, two = SkyCoord(ra1 * u.deg, dec1 * u.deg), SkyCoord(ra2 * u.deg, dec2 * u.deg)
    apart = float(separation_deg(ra1, dec1, ra2, dec2))
    assert apart == pytest.approx(one.separation(two).deg, abs=1e-9)
    if 1e-6 < apart < 180.0 - 1e-6 and abs(dec1) < 89.999999:
        difference = position_angle_deg(ra1, dec1, ra2, dec2) - one.position_angle(two).deg
        assert float(wrap_180_deg(difference)) * np.sin(np.radians(apart)) == pytest.approx(
            0.0, abs=1e-9
        )


def test_small_separations_keep_their_digits():
    # One milliarcsecond, where the cosine formula has no digits left.
    step = 1e-3 / 3600.0
    assert separation_deg(10.0, 60.0, 10.0, 60.0 + step) == pytest.approx(step, rel=1e-7)
    assert separation_deg(0.0, 0.0, 180.0, step) == pytest.approx(180.0 - step, abs=1e-13)


def test_unit_vectors_have_unit_length_and_the_last_axis():
    vectors = unit_vector(np.linspace(0.0, 6.0, 12).reshape(3, 4), 0.3)
    assert vectors.shape == (3, 4, 3)
    np.testing.assert_allclose(np.linalg.norm(vectors, axis=-1), 1.0, rtol=1e-15)
