"""Atmospheric refraction near the horizon, from airless to seen altitude and back.

Meeus, *Astronomical Algorithms* 2nd ed., chapter 16: eq. 16.4 (Saemundsson 1986, Sky & Telescope
72, 70) from the airless altitude, eq. 16.3 (Bennett 1982, J. Navigation 35, 255) from the seen
one, with Meeus's small terms that make them vanish at the zenith, and his scaling by pressure
and temperature. Consistent with each other to 0.1 arcmin above the horizon; real refraction at
the horizon differs from any formula by several arcmin from night to night.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats

STANDARD_PRESSURE_HPA = 1010.0
STANDARD_TEMPERATURE_C = 10.0
_LOWEST_AIRLESS_DEG = -1.0
_LOWEST_SEEN_DEG = -0.3


def pressure_hpa(elevation_m: ArrayLike) -> Floats:
    """Standard pressure at an elevation up to 11 km: ICAO Standard Atmosphere, Doc 7488."""
    elevation = np.asarray(elevation_m, dtype=np.float64)
    return 1013.25 * np.power(np.maximum(1.0 - 2.25577e-5 * elevation, 0.0), 5.25588)


def _scale(pressure: ArrayLike, temperature_c: ArrayLike) -> Floats:
    temperature_k = 273.0 + np.asarray(temperature_c, dtype=np.float64)
    return np.asarray(pressure, dtype=np.float64) / 1010.0 * 283.0 / temperature_k


def refraction_deg(
    altitude_deg: ArrayLike,
    pressure_hpa: ArrayLike = STANDARD_PRESSURE_HPA,
    temperature_c: ArrayLike = STANDARD_TEMPERATURE_C,
) -> Floats:
    """Lift to add to an airless altitude (Meeus eq. 16.4); held at its -1 degree value below."""
    altitude = np.maximum(np.asarray(altitude_deg, dtype=np.float64), _LOWEST_AIRLESS_DEG)
    bend = np.radians(altitude + 10.3 / (altitude + 5.11))
    arcmin = 1.02 / np.tan(bend) + 0.0019279
    return arcmin * (_scale(pressure_hpa, temperature_c) / 60.0)


def seen_altitude_deg(
    altitude_deg: ArrayLike,
    pressure_hpa: ArrayLike = STANDARD_PRESSURE_HPA,
    temperature_c: ArrayLike = STANDARD_TEMPERATURE_C,
) -> Floats:
    """Refracted altitude of an airless one: what a horizon profile is compared with."""
    lift = refraction_deg(altitude_deg, pressure_hpa, temperature_c)
    return np.asarray(altitude_deg, dtype=np.float64) + lift


def airless_altitude_deg(
    seen_altitude_deg: ArrayLike,
    pressure_hpa: ArrayLike = STANDARD_PRESSURE_HPA,
    temperature_c: ArrayLike = STANDARD_TEMPERATURE_C,
) -> Floats:
    """Airless altitude of a seen one (Meeus eq. 16.3); its lift is held below -0.3 degrees."""
    seen = np.asarray(seen_altitude_deg, dtype=np.float64)
    held = np.maximum(seen, _LOWEST_SEEN_DEG)
    arcmin = 1.0 / np.tan(np.radians(held + 7.31 / (held + 4.4))) + 0.0013515
    return seen - arcmin * (_scale(pressure_hpa, temperature_c) / 60.0)
