"""The whole sky per filter: its parts, its factorisation, its chunks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.light import background
from nightplan.light.background import SkyGeometry, sky_rate, v_brightness
from nightplan.light.dark_sky import DarkSky, site_dark_sky
from nightplan.light.extinction import site_extinction
from nightplan.light.passband import filter_passband, top_hat
from tests.light.whole_band import band_moonlight_rate

BANDS = [top_hat(400, 700), top_hat(400, 500), filter_passband(500.9, 3.0, 0.9, None, 5.0)]
NO_SKY = DarkSky(1e-12, 0.0, 0.0)


def _geometry(targets: int = 40, times: int = 30, seed: int = 3) -> SkyGeometry:
    rng = np.random.default_rng(seed)
    return SkyGeometry(
        rng.uniform(20, 90, (targets, times)),
        rng.uniform(5, 170, (targets, times)),
        rng.uniform(30, 170, (targets, times)),
        np.linspace(-10, 70, times),
        np.full(times, 370_000.0),
        np.full(times, 15.0),
        np.linspace(-9, -40, times),
    )


def test_factorised_moonlight_is_the_whole_integral() -> None:
    air = site_extinction(300)
    geometry = _geometry()
    geometry = SkyGeometry(*(*list(vars(geometry).values())[:-1], np.full(30, -40.0)))
    fast = sky_rate(BANDS, geometry, NO_SKY, air)
    worst = 0.0
    for target in range(0, 40, 5):
        for time in range(8, 30, 4):
            for index, band in enumerate(BANDS):
                full = band_moonlight_rate(
                    band,
                    air,
                    15.0,
                    float(geometry.moon_altitude_deg[time]),
                    370_000.0,
                    float(geometry.altitude_deg[target, time]),
                    float(geometry.moon_separation_deg[target, time]),
                )
                worst = max(worst, abs(2.5 * np.log10(fast[target, index, time] / full)))
    assert worst < 0.025


def test_v_band_rate_follows_the_nanolamberts() -> None:
    """Through the V passband itself the photon sky is the V sky, within 0.06 mag."""
    from nightplan.light.passband import Passband
    from nightplan.light.photometry import nl_from_v_mag
    from nightplan.light.spectra import _table, v_zero_rate

    fine = np.arange(470.0, 700.5, 0.5)
    table = _table("passband_v.csv")
    v_band = Passband(fine, np.interp(fine, table["wavelength_nm"], table["response"]))
    geometry, air, dark = _geometry(), site_extinction(300), site_dark_sky(21.0)
    rate = sky_rate([v_band], geometry, dark, air)[:, 0]
    expected = v_brightness(geometry, dark, air).total_nl * v_zero_rate() / nl_from_v_mag(0.0)
    assert np.abs(2.5 * np.log10(rate / expected)).max() < 0.06


def test_total_is_the_sum_in_nanolamberts() -> None:
    sky = v_brightness(_geometry(), site_dark_sky(21.0), site_extinction(300))
    total = sky.dark_nl + sky.moonlight_used_nl + sky.twilight_nl
    assert np.array_equal(sky.total_nl, total)
    assert np.all(sky.twilight_nl[:, 12:] == 0.0)


def test_chunks_do_not_change_the_answer(monkeypatch) -> None:
    arguments = (BANDS, _geometry(), site_dark_sky(20.0, "led"), site_extinction(1000))
    whole = sky_rate(*arguments)
    monkeypatch.setattr(background, "CHUNK_CELLS", 70)
    assert np.array_equal(sky_rate(*arguments), whole)
    out = np.empty_like(whole)
    assert sky_rate(*arguments, out=out) is out


def test_no_targets_and_a_moonless_night() -> None:
    geometry = _geometry()
    empty = SkyGeometry(
        *(value[:0] if value.ndim == 2 else value for value in vars(geometry).values())
    )
    assert sky_rate(BANDS, empty, site_dark_sky(21.0), site_extinction(0)).shape == (0, 3, 30)
    values = dict(vars(geometry))
    values["moon_altitude_deg"] = np.full(30, -9.0)
    values["sun_altitude_deg"] = np.full(30, -30.0)
    dark = site_dark_sky(21.0)
    values["altitude_deg"] = np.full((40, 30), 90.0)
    rate = sky_rate(BANDS, SkyGeometry(**values), dark, site_extinction(0))
    expected = [dark.zenith_rate(band) for band in BANDS]
    assert rate[0, :, 0] == pytest.approx(expected, rel=1e-3)
    assert np.ptp(rate, axis=(0, 2)) == pytest.approx(np.zeros(3), abs=1e-18)


@given(phase=st.floats(0, 100), less=st.floats(0, 60), seed=st.integers(0, 5))
@settings(max_examples=40, deadline=None)
def test_a_brighter_moon_never_helps(phase: float, less: float, seed: int) -> None:
    values = vars(_geometry(6, 10, seed))
    air, dark = site_extinction(300), site_dark_sky(21.0)
    full = {**values, "moon_phase_angle_deg": np.full(10, max(0.0, phase - less))}
    thin = {**values, "moon_phase_angle_deg": np.full(10, phase)}
    bright = sky_rate(BANDS, SkyGeometry(**full), dark, air)
    faint = sky_rate(BANDS, SkyGeometry(**thin), dark, air)
    assert np.all(bright >= faint * (1 - 1e-12))
