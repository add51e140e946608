"""Moonlight against Krisciunas & Schaefer 1991 and the colours of the ESO sky model."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.light.air_path import scattering_air_path
from nightplan.light.extinction import site_extinction
from nightplan.light.low_moon import chapman_path, moon_air_path
from nightplan.light.moonlight import (
    moon_illuminance,
    moon_illuminance_used,
    moonlight_used_v_nl,
    moonlight_v_nl,
    opposition_surge,
)
from nightplan.light.passband import top_hat
from nightplan.light.photometry import nl_from_v_mag, v_mag_from_nl
from nightplan.sky.airmass import kasten_young
from tests.light.whole_band import band_moonlight_rate

AIR = site_extinction(300)


def test_printed_equations(reference_rows) -> None:
    for row in reference_rows("ks91_sample"):
        value = {key: float(text) for key, text in row.items()}
        ours = float(
            moonlight_v_nl(
                value["alpha_deg"],
                90.0 - value["Zmoon_deg"],
                90.0 - value["Z_deg"],
                value["rho_deg"],
                value["k"],
            )
        )
        assert ours == pytest.approx(value["Bmoon_nL"], abs=0.006)
        assert float(v_mag_from_nl(ours)) == pytest.approx(value["V_moonlight"], abs=0.001)
        path = float(scattering_air_path(90.0 - value["Z_deg"]))
        dark = 79.0 * 10 ** (-0.4 * value["k"] * (path - 1)) * path
        change = float(v_mag_from_nl(dark + ours) - v_mag_from_nl(dark))
        assert change == pytest.approx(value["dV_dark21.587"], abs=0.002)


def test_near_moon_term_and_below_horizon() -> None:
    # Eq. 19: within 10 degrees 6.2e7 / rho^2; with the Rayleigh part of eq. 17.
    scattered = 6.2e7 / 25.0 + 10**5.36 * (1.06 + np.cos(np.radians(5.0)) ** 2)
    expected = scattered * 10 ** (-0.4 * 3.84) * 10 ** (-0.4 * 0.2) * (1 - 10 ** (-0.4 * 0.2))
    assert float(moonlight_v_nl(0.0, 90.0, 90.0, 5.0, 0.2)) == pytest.approx(expected)
    assert float(moonlight_v_nl(0.0, -0.1, 50.0, 60.0, 0.2)) == 0.0


def test_illuminance_in_magnitudes() -> None:
    # Eq. 20 by hand at 90 degrees: 3.84 + 2.34 + 0.2624.
    assert -2.5 * np.log10(float(moon_illuminance(90.0))) == pytest.approx(6.4424, abs=1e-4)


def test_used_moon_distance_and_surge() -> None:
    # Perigee 356,500 km against apogee 406,700 km: inverse squares.
    near = float(moon_illuminance_used(30.0, 60.0, 356_500.0))
    far = float(moon_illuminance_used(30.0, 60.0, 406_700.0))
    assert near / far == pytest.approx((406_700 / 356_500) ** 2)
    # K&S 1991 sec. 2, after Whitaker 1969: full moon 35 % above eq. 20, nothing at 7 degrees.
    assert float(opposition_surge(0.0)) == pytest.approx(1.35)
    assert float(opposition_surge(-7.0)) == 1.0


def test_low_moon_path_joins_the_paper_at_thirty_degrees() -> None:
    air = site_extinction(400)
    altitude = np.linspace(-8.0, 90.0, 2000)
    path = moon_air_path(altitude, 550.0, air)
    assert np.all(np.diff(path) <= 1e-9)
    assert np.abs(np.diff(path)).max() < 0.6
    assert float(moon_air_path(45.0, 550.0, air)) == float(scattering_air_path(45.0))
    assert float(moon_air_path(29.999, 550.0, air)) == pytest.approx(
        float(scattering_air_path(30.0)), abs=1e-3
    )


def test_chapman_path_against_the_airmass_of_the_real_air() -> None:
    """Kasten & Young 1989 hold for air with refraction: 1 % at 10 degrees, 10 % on the horizon."""
    ground = np.zeros(1)
    for altitude, within in ((60.0, 0.005), (10.0, 0.01), (3.0, 0.05), (0.0, 0.1)):
        ours = float(chapman_path(ground, np.array([altitude]), 8.0)[0])
        assert ours == pytest.approx(float(kasten_young(altitude)), rel=within)
    assert chapman_path(ground, np.array([-0.1]), 8.0)[0] == np.inf


@pytest.mark.parametrize("elevation", [0, 2635, 4200])
def test_no_step_at_moonrise_in_any_filter(elevation: int) -> None:
    """A rise of 0.22 degrees a minute, latitude 24 degrees or more; limit 0.1 mag a minute.

    In full darkness no moon on the horizon is fuller than 18 degrees of phase angle, for the sun
    is 18 degrees below it on the other side.
    """
    from nightplan.light.background import SkyGeometry, sky_rate, v_brightness
    from nightplan.light.dark_sky import site_dark_sky

    altitude = np.arange(-10.0, 32.0, 0.22)
    times = altitude.size
    every = np.full((3, times), 60.0)
    every[1], every[2] = 30.0, 85.0
    geometry = SkyGeometry(
        every,
        np.full((3, times), 70.0),
        np.full((3, times), 150.0),
        altitude,
        np.full(times, 370_000.0),
        np.full(times, 18.0),
        np.full(times, -40.0),
    )
    air = site_extinction(elevation)
    bands = [top_hat(400, 500), top_hat(590, 700), top_hat(499, 502), top_hat(670, 673)]
    rate = sky_rate(bands, geometry, site_dark_sky(22.0, "natural"), air)
    step = np.abs(np.diff(-2.5 * np.log10(rate), axis=2))
    assert step.max() < 0.1
    # V keeps the limit on the equator too, where the moon climbs 0.242 degrees a minute
    v_step = np.abs(
        np.diff(v_brightness(geometry, site_dark_sky(22.0, "natural"), air).total_v_mag)
    )
    assert v_step.max() * 0.242 / 0.22 < 0.1
    below = altitude <= -8.0
    assert np.ptp(rate[:, :, below], axis=2).max() == 0.0


def test_colours_of_the_eso_sky_model(reference_rows) -> None:
    """Full moon at 45 degrees, target at 45, 45 apart, Cerro Paranal; 0.1 mag is the bar.

    The table does not say where moon and target stood; 45 degrees is its own name for the case,
    and 30 degrees either way moves no colour by 0.04.
    """
    bands = {
        "L": (400, 700),
        "B": (400, 500),
        "G": (495, 575),
        "R": (590, 700),
        "OIII_5": (498.2, 503.2),
        "Ha_5": (653.8, 658.8),
        "SII_5": (669.9, 674.9),
    }
    air = site_extinction(2635)
    v_mag = float(v_mag_from_nl(moonlight_used_v_nl(0.0, 45.0, 384_400.0, 45.0, 45.0, air)))
    worst = 0.0
    for row in reference_rows("moon_colour_check"):
        band = top_hat(*bands[row["filter"]])
        rate = band_moonlight_rate(band, air, 0.0, 45.0, 384_400.0, 45.0, 45.0)
        colour = float(band.ab_mag(rate)) - v_mag
        worst = max(worst, abs(colour - float(row["SkyCalc_AB-V"])))
    assert worst < 0.08


def test_oxygen_suffers_more_than_hydrogen() -> None:
    air = site_extinction(300)
    oxygen, hydrogen = (
        band_moonlight_rate(top_hat(nm - 1.5, nm + 1.5), air, 0.0, 40.0, 384_400.0, 55.0, 60.0)
        for nm in (500.7, 656.3)
    )
    assert oxygen > 1.3 * hydrogen


@given(
    phase=st.floats(0, 120),
    brighter=st.floats(0, 60),
    moon=st.floats(-5, 90),
    altitude=st.floats(10, 90),
    separation=st.floats(1, 180),
)
@settings(max_examples=100, deadline=None)
def test_a_fuller_moon_is_never_fainter(phase, brighter, moon, altitude, separation) -> None:
    fuller = max(0.0, phase - brighter)
    full = moonlight_used_v_nl(fuller, moon, 384_400.0, altitude, separation, AIR)
    less = moonlight_used_v_nl(phase, moon, 384_400.0, altitude, separation, AIR)
    assert float(full) >= float(less) * (1 - 1e-12)


def test_used_and_printed_agree_for_a_high_moon_at_mean_distance() -> None:
    used = moonlight_used_v_nl(40.0, 50.0, 384_400.0, 60.0, 70.0, AIR)
    printed = moonlight_v_nl(40.0, 50.0, 60.0, 70.0, AIR.v_mag_airmass)
    assert float(used) == pytest.approx(float(printed), rel=1e-12)
    assert float(nl_from_v_mag(22.0)) < float(printed)
