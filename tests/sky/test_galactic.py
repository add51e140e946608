"""Galactic latitude, against astropy."""

from __future__ import annotations

import numpy as np
from astropy import units as u
from astropy.coordinates import SkyCoord

from nightplan.sky.galactic import sin_galactic_latitude


def test_galactic_latitude_against_astropy() -> None:
    ra, dec = np.meshgrid(np.arange(5.0, 360.0, 30.0), [-70.0, -40.0, -10.0, 15.0, 45.0, 75.0])
    expected = np.abs(np.sin(SkyCoord(ra * u.deg, dec * u.deg).galactic.b.rad))
    assert np.abs(sin_galactic_latitude(ra, dec) - expected).max() < 1e-5
