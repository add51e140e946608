"""How much air light crosses: the paths that the sky-brightness formulas use."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from nightplan.light.extinction import Extinction
from nightplan.light.photometry import Floats

EARTH_RADIUS_KM = 6371.0
MOON_LIT_DEG = -8.0
"""Moon's altitude below which the air overhead is in the Earth's shadow up to 60 km."""
JOIN_DEG = 30.0
"""From here up the moon's path is the paper's."""

_STEP_DEG = 0.5
_NODES_NM = np.arange(330.0, 1051.0, 30.0)
_TOP_KM = 100.0
_SCALE_KM = {"molecules": 8.0, "aerosol": 1.5}  # as `extinction` has them with the site's height
_OZONE_KM = (15.0, 18.5, 22.0, 25.5, 29.0)
_TARGET_PATH = 1.6
_NO_LIGHT = 1e-30  # keeps the logarithm finite


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


def moon_air_path(
    moon_altitude_deg: npt.ArrayLike, wavelength_nm: npt.ArrayLike, air: Extinction
) -> Floats:
    """Air path of moonlight on its way to the air that scatters it, airmasses; shapes broadcast.

    Airless altitude in degrees, wavelength in nm. From 30° up it is eq. 3 of Krisciunas &
    Schaefer 1991. Below, the light that arrives falls as the single-scattering integral over the
    column above the site through a spherical atmosphere (`_way_down`): light scattered overhead
    crosses less air than the direct ray, and after moonset the air above the Earth's shadow is
    still lit. 10^(−0.4 k path) is then that light over its value at 30°, times the paper's value
    at 30°. Held below `MOON_LIT_DEG`.
    """
    altitude = np.asarray(moon_altitude_deg, dtype=float)
    nm = np.asarray(wavelength_nm, dtype=float)
    table = _low_moon_paths(air)
    row = np.clip((altitude - MOON_LIT_DEG) / _STEP_DEG, 0.0, table.shape[0] - 1.0)
    column = np.clip((nm - _NODES_NM[0]) / (_NODES_NM[1] - _NODES_NM[0]), 0.0, _NODES_NM.size - 1.0)
    i = np.minimum(row.astype(int), table.shape[0] - 2)
    j = np.minimum(column.astype(int), table.shape[1] - 2)
    down, along = row - i, column - j
    low = (1.0 - down) * ((1.0 - along) * table[i, j] + along * table[i, j + 1]) + down * (
        (1.0 - along) * table[i + 1, j] + along * table[i + 1, j + 1]
    )
    return np.where(altitude >= JOIN_DEG, scattering_air_path(altitude), low)


@lru_cache(maxsize=16)
def _low_moon_paths(air: Extinction) -> Floats:
    """`moon_air_path` on a grid: rows from `MOON_LIT_DEG` to `JOIN_DEG`, columns `_NODES_NM`."""
    altitude = np.arange(MOON_LIT_DEG, JOIN_DEG + 0.5 * _STEP_DEG, _STEP_DEG)
    light = np.log(_way_down(altitude, _NODES_NM, air))
    k = air.total(_NODES_NM)
    return np.asarray(
        scattering_air_path(JOIN_DEG) - (light - light[-1]) / (0.4 * np.log(10.0) * k)
    )


def _way_down(altitude_deg: Floats, wavelength_nm: Floats, air: Extinction) -> Floats:
    """Light scattered once toward the ground, per unit of f(ρ); shape (altitude, wavelength).

    ∫ Σ τc nc(z) exp(−Σ τc (Mc(z, h) + X (1 − e^(−z/Hc)))) dz over height z: c runs over air
    molecules and aerosol, which scatter, and ozone, which only takes light away; τc is the
    vertical depth above the site, nc the share per km, Mc the path from height z to the moon over
    the vertical column, and X = 1.6 the way from there to the eye, that of a target 38° high
    (others, 20° to 90°, differ by 0.15 mag at most while the moon is up). Rays are straight.
    """
    u, weight = np.polynomial.legendre.leggauss(128)
    share = 0.5 * (u + 1.0)
    height = _TOP_KM * share**3  # most nodes where aerosol is
    step = 0.5 * weight * _TOP_KM * 3.0 * share**2
    depth = {
        "molecules": air.rayleigh(wavelength_nm),
        "aerosol": air.aerosol(wavelength_nm),
    }
    ozone = air.total(wavelength_nm) - depth["molecules"] - depth["aerosol"]
    to_depth = 0.4 * np.log(10.0)
    taken = _ozone_path(height, altitude_deg)[:, :, None] * (to_depth * ozone)
    source = np.zeros((height.size, wavelength_nm.size))
    for part, scale_km in _SCALE_KM.items():
        layer = np.exp(-height / scale_km)
        path = layer * chapman_path(height, altitude_deg, scale_km) + _TARGET_PATH * (1.0 - layer)
        taken = taken + path[:, :, None] * (to_depth * depth[part])
        source += (layer / scale_km * step)[:, None] * (to_depth * depth[part])
    return np.asarray(np.sum(source * np.exp(-taken), axis=1) + _NO_LIGHT)


def chapman_path(height_km: Floats, altitude_deg: Floats, scale_km: float) -> Floats:
    """Path through an exponential atmosphere over its vertical column above the start.

    Chapman's function of x = (R + z)/H and the zenith distance Z, √(πx/2) e^(y²) erfc(y) with
    y = √(x/2) cos Z (Fitzmaurice 1964, Appl. Opt. 3, 640; from memory; within 0.5 % here); below
    the horizon twice the grazing half path less the part behind. Shape (altitude, height);
    infinite where the Earth is in the way.
    """
    from scipy.special import erfcx

    x = (EARTH_RADIUS_KM + height_km) / scale_km
    sine = np.sin(np.radians(altitude_deg))[:, None]
    cosine = np.cos(np.radians(altitude_deg))[:, None]
    upward = np.sqrt(0.5 * np.pi * x) * erfcx(np.sqrt(0.5 * x) * np.abs(sine))
    deepest_km = (EARTH_RADIUS_KM + height_km) * cosine - EARTH_RADIUS_KM
    blocked = (sine < 0.0) & (deepest_km < 0.0)
    rise = np.minimum(x * (1.0 - cosine), 700.0)  # e^700 is the largest that a float holds
    through = np.sqrt(2.0 * np.pi * x * cosine) * np.exp(rise) - upward
    return np.where(blocked, np.inf, np.where(sine < 0.0, through, upward))


def _ozone_path(height_km: Floats, altitude_deg: Floats) -> Floats:
    """Path through ozone over its vertical column, as five thin shells; (altitude, height)."""
    start_km = EARTH_RADIUS_KM + height_km
    deepest_km = start_km * np.cos(np.radians(altitude_deg))[:, None]
    path = np.zeros(deepest_km.shape)
    for shell_km in _OZONE_KM:
        deepest = deepest_km / (EARTH_RADIUS_KM + shell_km)
        # the real layer is 10 km thick: no path through it is longer than about 25 times that
        slant = 1.0 / np.sqrt(np.maximum(1.0 - deepest * deepest, 1.0 / 25.0**2))
        crossings = np.where(altitude_deg[:, None] < 0.0, 2.0 * (deepest < 1.0), 0.0)
        path += slant * np.where(height_km < shell_km, 1.0, crossings) / len(_OZONE_KM)
    return path
