"""The Doppler factor against the relativistic formula by astropy and its limit for slow motion."""

from __future__ import annotations

import numpy as np
import pytest

from nightplan.light.doppler import SPEED_OF_LIGHT_KM_S, doppler_factor


def test_against_astropy() -> None:
    from astropy import units as u

    velocity = np.array([-3000.0, -300.0, 0.0, 1000.0, 20_000.0, 150_000.0])
    rest = 656.28 * u.nm
    seen = (velocity * u.km / u.s).to(u.nm, equivalencies=u.doppler_relativistic(rest))
    assert doppler_factor(velocity) == pytest.approx((seen / rest).value, rel=1e-12)


def test_slow_motion_shape_and_gaps() -> None:
    # by hand: 300 km/s are 1.00100 of light's; O III moves by 0.501 nm
    assert 500.68 * (float(doppler_factor(300.0)) - 1.0) == pytest.approx(0.501, abs=0.001)
    assert np.isnan(doppler_factor(np.array([np.nan, 0.0]))).tolist() == [True, False]
    assert np.isfinite(doppler_factor(SPEED_OF_LIGHT_KM_S))
