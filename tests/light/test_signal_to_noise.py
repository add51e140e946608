"""The CCD equation in its limits, its scaling laws, and what it may never do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.light.signal_to_noise import (
    clock_hours,
    hours_to_snr,
    snr2_per_second_px,
    snr_extended,
    snr_star,
    worth,
)

RATES = st.floats(1e-4, 100.0)


def test_worked_example_of_the_ccd_equation() -> None:
    # Howell 2006, sec. 4.4, worked example: N* = 24013, 1 pixel radius 3 -> n = 1 pixel... the
    # figures there (sky 620, dark 1.8, read 5, 7 pixels) from memory; S/N by hand arithmetic:
    # 24013 / sqrt(24013 + 7 (620 + 1.8 + 25)) = 142.2.
    ours = float(snr_star(24013.0 / 300, 620 / 300, 1.8 / 300, 5.0, 300.0, 7.0, 300.0))
    by_hand = 24013 / (24013 + 7 * (620 + 1.8 + 25)) ** 0.5
    assert ours == pytest.approx(by_hand, rel=1e-12)
    assert ours == pytest.approx(142.2, abs=0.1)


def test_limits() -> None:
    # source limited: S/N^2 = S t; sky limited: S^2 t / B; read-noise limited: S^2 t_sub / R^2
    assert float(snr2_per_second_px(50.0, 0.0, 0.0, 0.0, 60.0)) == pytest.approx(50.0)
    assert float(snr2_per_second_px(0.01, 10.0, 0.0, 1.0, 600.0)) == pytest.approx(
        0.01**2 / 10.0, rel=2e-3
    )
    assert float(snr2_per_second_px(1e-4, 1e-6, 0.0, 5.0, 100.0)) == pytest.approx(
        1e-8 * 100.0 / 25.0, rel=1e-3
    )


def test_aperture_not_f_ratio_under_sky_noise() -> None:
    """A reducer: 1/r^2 the rates per pixel, 1/r the arcseconds; equal S/N per square arcsecond."""
    r = 0.75
    long = snr_extended(0.05, 2.0, 0.0, 0.0, 60.0, 1.0)
    short = snr_extended(0.05 / r**2, 2.0 / r**2, 0.0, 0.0, 60.0, 1.0 / r)
    assert float(short) == pytest.approx(float(long), rel=1e-12)
    # with read noise the reducer wins, by the smaller count of pixels
    long_read = float(snr_extended(0.05, 0.01, 0.0, 3.0, 60.0, 1.0))
    short_read = float(snr_extended(0.05 / r**2, 0.01 / r**2, 0.0, 3.0, 60.0, 1.0 / r))
    assert 1.0 < short_read / long_read < 1.0 / r


@given(target=RATES, sky=RATES, read=st.floats(0, 10), sub=st.floats(1, 3600))
@settings(max_examples=100, deadline=None)
def test_scaling(target: float, sky: float, read: float, sub: float) -> None:
    one = float(snr_extended(target, sky, 0.01, read, sub, 1.2, 3600.0))
    four = float(snr_extended(target, sky, 0.01, read, sub, 1.2, 4 * 3600.0))
    assert four == pytest.approx(2.0 * one)
    assert float(hours_to_snr(2.0 * one, one)) == pytest.approx(4.0)
    # twice the aperture's area is worth at least twice the time in every regime
    double = float(snr_extended(2 * target, 2 * sky, 0.01, read, sub, 1.2, 3600.0))
    assert double**2 >= 2.0 * one**2 * (1 - 1e-9)


@given(target=RATES, sky=RATES, more=st.floats(0, 100), read=st.floats(0, 10))
@settings(max_examples=100, deadline=None)
def test_a_brighter_sky_never_helps(target: float, sky: float, more: float, read: float) -> None:
    dark = snr2_per_second_px(target, sky, 0.0, read, 60.0)
    bright = snr2_per_second_px(target, sky + more, 0.0, read, 60.0)
    assert float(bright) <= float(dark)
    assert 0.0 <= float(worth(bright, dark)) <= 1.0


@given(target=RATES, sky=RATES, k=st.floats(0.02, 1.0), low=st.floats(1, 10), high=st.floats(1, 10))
@settings(max_examples=100, deadline=None)
def test_less_airmass_never_hurts(target, sky, k: float, low: float, high: float) -> None:
    low, high = sorted((low, high))
    near = snr2_per_second_px(target * 10 ** (-0.4 * k * low), sky, 0.0, 2.0, 60.0)
    far = snr2_per_second_px(target * 10 ** (-0.4 * k * high), sky, 0.0, 2.0, 60.0)
    assert float(near) >= float(far)


def test_no_signal() -> None:
    assert np.isinf(float(hours_to_snr(30.0, 0.0)))
    assert float(worth(0.0, 0.0)) == 0.0
    assert float(clock_hours(2.0, 60.0, 15.0)) == pytest.approx(2.5)
