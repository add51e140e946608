"""Twilight against illuminance tables, between its two sources, and for steps."""

from __future__ import annotations

import numpy as np
import pytest

from nightplan.light.passband import top_hat
from nightplan.light.photometry import v_mag_from_nl
from nightplan.light.twilight import (
    direction_factor,
    patat_zenith_mag,
    schaefer_zenith_mag,
    twilight_rate_per_nl,
    twilight_v_nl,
    zenith_v_mag,
    zenith_v_nl,
)


@pytest.mark.parametrize(("sun", "lux"), [(0.0, 600.0), (-6.0, 3.4), (-12.0, 0.008)])
def test_illuminance_of_the_almanacs(sun: float, lux: float) -> None:
    # Horizontal illuminance, Explanatory Supplement (Seidelmann 1992) and common tables, from
    # memory. The zenith is darker than the mean sky, by a factor of 1 to 3.5.
    zenith_lux = np.pi * float(zenith_v_nl(sun)) * 1e-5 / np.pi  # 1 lambert = 1e4/pi cd/m2
    assert lux / 3.5 < zenith_lux < lux * 1.2


def test_two_sources_agree() -> None:
    sun = np.linspace(-12.0, -5.0, 15)
    difference = patat_zenith_mag("V", sun) - schaefer_zenith_mag(sun)
    assert np.abs(difference).max() < 0.8


def test_falls_without_steps_into_the_night() -> None:
    sun = np.arange(-20.0, 10.0, 0.05)
    assert np.all(np.diff(zenith_v_mag(sun)) <= 0.0)
    dark = 54.0  # nL of V = 22.0
    step = np.abs(np.diff(v_mag_from_nl(zenith_v_nl(sun[sun < -14]) + dark)))
    # the sun moves at most 0.25 degrees a minute, five of these steps
    assert step.max() * 5 < 0.25
    assert float(zenith_v_nl(-18.0)) == 0.0
    assert float(zenith_v_nl(-16.9)) > 0.0


def test_glow_is_on_the_suns_side() -> None:
    assert float(direction_factor(90.0, 102.0, -12.0, 0.2)) == pytest.approx(1.0)
    toward = float(direction_factor(30.0, 42.0, -12.0, 0.2))
    away = float(direction_factor(30.0, 162.0, -12.0, 0.2))
    assert toward > 2.0 * away > 2.0
    assert float(twilight_v_nl(-12.0, 30.0, 42.0, 0.2)) > float(zenith_v_nl(-12.0))


def test_twilight_is_bluer_than_the_night() -> None:
    # Patat et al. 2006: at 10 degrees B - V is -0.1, that of their night 1.0.
    blue, red = top_hat(400, 500), top_hat(590, 700)
    sun = np.array([-10.0])
    ratio = twilight_rate_per_nl(sun, blue) / twilight_rate_per_nl(sun, red)
    from nightplan.light.spectra import natural_sky_spectrum

    night = natural_sky_spectrum()
    assert float(ratio[0]) > 1.5 * blue.rate(night) / red.rate(night)
