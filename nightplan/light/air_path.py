"""How much air light crosses: the paths that the sky-brightness formulas use."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from nightplan.light.photometry import Floats
from nightplan.sky.airmass import kasten_young
from nightplan.sky.refraction import seen_altitude_deg

BLEND_TOP_DEG = 15.0
BLEND_BOTTOM_DEG = 5.0
TANGENT_DEG = 9.0
_TANGENT_AIRMASS = float(kasten_young(TANGENT_DEG))
_TANGENT_SLOPE = float(kasten_young(TANGENT_DEG + 0.01) - kasten_young(TANGENT_DEG - 0.01)) / 0.02


def scattering_air_path(altitude_deg: npt.ArrayLike) -> Floats:
    """X = (1 − 0.96 sin²Z)^−½ (Krisciunas & Schaefer 1991, eq. 3); altitude airless, deg.

    For the light of the sky itself, which comes from a layer and not from beyond the air: 5 on
    the horizon. Altitudes below the horizon get the horizon's value.
    """
    sin_altitude = np.sin(np.radians(np.maximum(np.asarray(altitude_deg, dtype=float), 0.0)))
    return np.asarray(1.0 / np.sqrt(0.04 + 0.96 * sin_altitude**2))


def smooth_step(value: npt.ArrayLike, low: float, high: float) -> Floats:
    """0 up to `low`, 1 from `high` on, 3t² − 2t³ between."""
    t = np.clip((np.asarray(value, dtype=float) - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))


def moon_air_path(moon_altitude_deg: npt.ArrayLike) -> Floats:
    """Air path of moonlight on its way down; airless altitude, deg.

    Eq. 3 of Krisciunas & Schaefer 1991 above 15°, Kasten & Young 1989 (eq. 3, seen altitude)
    below, blended between 15° and 5° (ours), since eq. 3 gives a rising moon 5 airmasses where it
    crosses many more. Below 9° Kasten & Young goes on along its tangent (ours), to 14 and not 38
    on the horizon: light scattered overhead comes down above the densest air. For an exponential
    layer the mean way down is (1 − e^(−τX))/(τX) and not e^(−τX), which at the horizon lets
    through as much as 10 airmasses would. Below the horizon the horizon's value holds.
    """
    altitude = np.asarray(moon_altitude_deg, dtype=float)
    seen = np.maximum(seen_altitude_deg(altitude), 0.0)
    tangent = _TANGENT_AIRMASS + _TANGENT_SLOPE * (seen - TANGENT_DEG)
    low = np.where(seen >= TANGENT_DEG, kasten_young(seen), tangent)
    low_share = 1.0 - smooth_step(altitude, BLEND_BOTTOM_DEG, BLEND_TOP_DEG)
    high = scattering_air_path(altitude)
    return np.asarray(high + low_share * (low - high))
