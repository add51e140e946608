"""Refraction against Meeus's example, skyfield, and its own inverse."""

import numpy as np
import pytest
from skyfield.earthlib import refraction as skyfield_refraction

from nightplan.sky.refraction import (
    airless_altitude_deg,
    pressure_hpa,
    refraction_deg,
    seen_altitude_deg,
)


def test_sun_at_the_horizon():
    # Meeus, Astronomical Algorithms 2nd ed., example 16.a, p. 107: the sun's lower limb is seen at
    # 30' and lies at 1.345' airless (lift 28.754', of eq. 16.3); its upper limb lies 32' higher
    # and is seen at 57.864' (lift 24.618', of eq. 16.4).
    lower = float(airless_altitude_deg(0.5)) * 60.0
    assert lower == pytest.approx(1.345, abs=0.15)
    upper = lower + 32.0
    assert float(seen_altitude_deg(upper / 60.0)) * 60.0 == pytest.approx(57.864, abs=0.15)


def test_zenith_has_none():
    assert float(refraction_deg(90.0)) == pytest.approx(0.0, abs=1e-6)
    assert float(airless_altitude_deg(90.0)) == pytest.approx(90.0, abs=1e-6)


def test_against_skyfield():
    # skyfield.earthlib.refraction: Bennett's formula of the seen altitude, with a scale of its own
    # (0.28 P / T is 0.07 % below Meeus's) and without the term that clears the zenith.
    seen = np.array([0.0, 1.0, 5.0, 15.0, 30.0, 60.0, 85.0])
    for pressure, temperature in ((1010.0, 10.0), (800.0, -5.0)):
        theirs = skyfield_refraction(seen, temperature, pressure)
        ours = seen - airless_altitude_deg(seen, pressure, temperature)
        np.testing.assert_allclose(ours, theirs, rtol=2e-3, atol=3e-5)


def test_both_ways_agree_to_a_tenth_of_an_arcminute():
    # Meeus, p. 106: the two formulas are consistent to 4 arcsec.
    airless = np.linspace(0.0, 90.0, 400)
    back = airless_altitude_deg(seen_altitude_deg(airless))
    assert np.abs(back - airless).max() * 60.0 < 0.1


def test_rises_monotonically_even_far_below_the_horizon():
    airless = np.linspace(-90.0, 90.0, 4000)
    seen = seen_altitude_deg(airless)
    assert np.all(np.diff(seen) > 0.0)
    assert np.all(np.isfinite(seen))
    assert np.all(np.diff(airless_altitude_deg(airless)) > 0.0)


@pytest.mark.parametrize(
    # ICAO Standard Atmosphere, Doc 7488: pressure at geopotential altitude, hPa.
    ("elevation_m", "pressure"),
    [(0.0, 1013.25), (1000.0, 898.75), (2000.0, 794.95), (3000.0, 701.09), (5000.0, 540.20)],
)
def test_pressure_of_the_standard_atmosphere(elevation_m, pressure):
    assert float(pressure_hpa(elevation_m)) == pytest.approx(pressure, rel=3e-4)
