"""Airmass against printed values and against an integration through the standard atmosphere."""

import numpy as np
import pytest
from scipy.integrate import quad

from nightplan.sky.airmass import kasten_young, young
from nightplan.sky.refraction import airless_altitude_deg

EARTH_RADIUS_M = 6371000.0
SEA_LEVEL_REFRACTIVITY = 2.78e-4


def standard_density(height_m):
    """Density over sea-level density: ICAO Standard Atmosphere to 32 km, isothermal above."""
    bases = [
        (0.0, 288.15, -0.0065),
        (11000.0, 216.65, 0.0),
        (20000.0, 216.65, 0.001),
        (32000.0, 228.65, 0.0),
    ]
    g_over_r = 9.80665 / 287.053
    pressure, density = 1.0, 1.0
    for i, (base, temperature, lapse) in enumerate(bases):
        top = bases[i + 1][0] if i + 1 < len(bases) else np.inf
        rise = min(height_m, top) - base
        here = temperature + lapse * rise
        if lapse:
            pressure *= (here / temperature) ** (-g_over_r / lapse)
        else:
            pressure *= np.exp(-g_over_r * rise / temperature)
        density = pressure * 288.15 / here
        if height_m <= top:
            break
    return density


def integrated_airmass(seen_altitude_deg):
    """Column along the refracted ray over the column at the zenith (Bouguer's spherical law)."""
    r0, n0 = EARTH_RADIUS_M, 1.0 + SEA_LEVEL_REFRACTIVITY
    invariant = n0 * r0 * np.cos(np.radians(seen_altitude_deg))

    def slant(root_height):
        # h = u^2 takes the square-root singularity off the horizon.
        height = root_height**2
        density = standard_density(height)
        n, r = 1.0 + SEA_LEVEL_REFRACTIVITY * density, r0 + height
        return density * 2.0 * root_height / np.sqrt(max(1.0 - (invariant / (n * r)) ** 2, 1e-15))

    def straight(root_height):
        return standard_density(root_height**2) * 2.0 * root_height

    breaks = np.sqrt([11000.0, 20000.0, 32000.0])
    top = np.sqrt(90000.0)
    slanted = quad(slant, 0.0, top, points=breaks, limit=400)[0]
    return slanted / quad(straight, 0.0, top, points=breaks, limit=400)[0]


@pytest.mark.parametrize("altitude", [1.0, 3.0, 6.0, 10.0, 20.0, 30.0, 45.0, 70.0, 90.0])
def test_formulas_against_the_standard_atmosphere(altitude):
    # An integration of our own through the ICAO Standard Atmosphere, which is what the papers
    # fitted; it also shows which formula takes which altitude, as the other one misses by 20 %
    # at 1 degree.
    integral = integrated_airmass(altitude)
    assert float(kasten_young(altitude)) == pytest.approx(integral, rel=0.01)
    assert float(young(airless_altitude_deg(altitude, 1013.25, 15.0))) == pytest.approx(
        integral, rel=0.012
    )


def test_values_at_the_horizon_and_zenith():
    # Kasten & Young 1989, Applied Optics 28, 4735, table: 37.92 at 0 degrees; Young 1994, Applied
    # Optics 33, 1108: 31.7. From memory.
    assert float(kasten_young(0.0)) == pytest.approx(37.92, abs=0.01)
    assert float(young(0.0)) == pytest.approx(31.73, abs=0.02)
    for formula in (kasten_young, young):
        assert float(formula(90.0)) == pytest.approx(1.0, abs=5e-4)


def test_below_the_horizon_is_infinite_and_nan_stays():
    for formula in (kasten_young, young):
        assert np.all(np.isinf(formula([-90.0, -5.0, -1e-9])))
        assert np.isnan(formula(np.nan))


def test_falls_with_altitude():
    altitude = np.linspace(0.0, 90.0, 2000)
    for formula in (kasten_young, young):
        assert np.all(np.diff(formula(altitude)) < 1e-6)
