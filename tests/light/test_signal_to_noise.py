"""The CCD equation in its limits, its scaling laws, and what it may never do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.light.signal_to_noise import (
    hours_to_snr,
    snr2_per_second_px,
    snr_per_arcsec2,
    worth,
)

RATES = st.floats(1e-4, 100.0)


def test_worked_example_of_the_ccd_equation() -> None:
    # Howell 2006, sec. 4.4, worked example (figures from memory): a star of 24,013 electrons on
    # 7 pixels, sky 620, dark 1.8 electrons a pixel, read noise 5, one exposure of 300 s. By hand:
    # 24013 / sqrt(24013 + 7 (620 + 1.8 + 25)) = 142.14. Spread evenly, each of the 7 pixels holds a
    # seventh of the star, and the squares of their S/N add up.
    pixel = snr2_per_second_px(24013.0 / 7 / 300, 620 / 300, 1.8 / 300, 5.0, 300.0)
    assert float(np.sqrt(7 * 300 * pixel)) == pytest.approx(142.14, abs=0.01)


def test_limits() -> None:
    # source limited: S/N^2 = S t; sky limited: S^2 t / B; read-noise limited: S^2 t_sub / R^2
    assert float(snr2_per_second_px(50.0, 0.0, 0.0, 0.0, 60.0)) == pytest.approx(50.0)
    assert float(snr2_per_second_px(0.01, 10.0, 0.0, 1.0, 600.0)) == pytest.approx(
        0.01**2 / 10.0, rel=2e-3
    )
    assert float(snr2_per_second_px(1e-4, 1e-6, 0.0, 5.0, 100.0)) == pytest.approx(
        1e-8 * 100.0 / 25.0, rel=1e-3
    )
    # Dark current is noise as the sky's light is.
    assert float(snr2_per_second_px(0.5, 1.0, 2.0, 0.0, 60.0)) == pytest.approx(0.25 / 3.5)


def test_one_hour_on_one_square_arcsecond_by_hand() -> None:
    # (S/N)^2 of 0.25 a second in a pixel, an hour: sqrt(0.25 * 3600) = 30 on a pixel of 1 arcsec,
    # on four pixels of 0.5 arcsec twice that; a colour that a quarter of the pixels see, half.
    assert float(snr_per_arcsec2(0.25, 1.0)) == pytest.approx(30.0)
    assert float(snr_per_arcsec2(0.25, 0.5)) == pytest.approx(60.0)
    assert float(snr_per_arcsec2(0.25, 0.5, 0.25)) == pytest.approx(30.0)


def test_aperture_not_f_ratio_under_sky_noise() -> None:
    """A reducer: 1/r^2 the rates per pixel, 1/r the arcseconds; equal S/N per square arcsecond."""
    r = 0.75

    def hour(target: float, sky: float, read: float, scale: float) -> float:
        return float(snr_per_arcsec2(snr2_per_second_px(target, sky, 0.0, read, 60.0), scale))

    long = hour(0.05, 2.0, 0.0, 1.0)
    assert hour(0.05 / r**2, 2.0 / r**2, 0.0, 1.0 / r) == pytest.approx(long, rel=1e-12)
    # with read noise the reducer wins, by the smaller count of pixels
    gain = hour(0.05 / r**2, 0.01 / r**2, 3.0, 1.0 / r) / hour(0.05, 0.01, 3.0, 1.0)
    assert 1.0 < gain < 1.0 / r


@given(target=RATES, sky=RATES, read=st.floats(0, 10), sub=st.floats(1, 3600))
@settings(max_examples=100, deadline=None)
def test_scaling(target: float, sky: float, read: float, sub: float) -> None:
    one = float(snr2_per_second_px(target, sky, 0.01, read, sub))
    hour = float(snr_per_arcsec2(one, 1.2))
    # four times the signal's share of the hour is the same as four hours: S/N grows as its root
    assert float(snr_per_arcsec2(4.0 * one, 1.2)) == pytest.approx(2.0 * hour)
    assert float(hours_to_snr(2.0 * hour, hour)) == pytest.approx(4.0)
    # twice the aperture's area is worth at least twice the time in every regime
    double = float(snr2_per_second_px(2 * target, 2 * sky, 0.01, read, sub))
    assert double >= 2.0 * one * (1 - 1e-9)


@given(target=RATES, sky=RATES, more=st.floats(0, 100), read=st.floats(0, 10))
@settings(max_examples=100, deadline=None)
def test_a_brighter_sky_never_helps(target: float, sky: float, more: float, read: float) -> None:
    dark = snr2_per_second_px(target, sky, 0.0, read, 60.0)
    bright = snr2_per_second_px(target, sky + more, 0.0, read, 60.0)
    assert float(bright) <= float(dark)
    # An hour under the brighter sky is worth the share of the dark one that the noise leaves it.
    noise2 = target + sky + read**2 / 60.0
    assert float(worth(bright, dark)) == pytest.approx(noise2 / (noise2 + more), rel=1e-9)


@given(target=RATES, sky=RATES, k=st.floats(0.02, 1.0), low=st.floats(1, 10), high=st.floats(1, 10))
@settings(max_examples=100, deadline=None)
def test_less_airmass_never_hurts(
    target: float, sky: float, k: float, low: float, high: float
) -> None:
    low, high = sorted((low, high))
    near = snr2_per_second_px(target * 10 ** (-0.4 * k * low), sky, 0.0, 2.0, 60.0)
    far = snr2_per_second_px(target * 10 ** (-0.4 * k * high), sky, 0.0, 2.0, 60.0)
    assert float(near) >= float(far)


def test_worth_by_row_and_no_signal() -> None:
    assert np.isinf(float(hours_to_snr(30.0, 0.0)))
    # Half, as much and twice the moonless zenith; what it cannot see at all is worth nothing.
    found = worth(np.array([0.1, 0.2, 0.4, 0.0]), np.array([0.2, 0.2, 0.2, 0.0]))
    assert found == pytest.approx([0.5, 1.0, 2.0, 0.0])
