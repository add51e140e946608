"""Light of a low moon: single scattering along the target's path through a spherical atmosphere.

The paper of Krisciunas & Schaefer 1991 dims moonlight by what the direct ray loses on its way to
the observer. But what is seen was scattered overhead, where the ray has crossed less air, and
after moonset the air above the Earth's shadow is still lit. So below `JOIN_DEG` the light falls as
the integral

    ∫ Σ τc nc exp(−Σ τc Mc − Σ τc Bc) ds

along the line of sight: c runs over air molecules and aerosol, which scatter, and ozone, which
only takes light away; τc is the vertical depth above the site, nc the density at a point over the
vertical column, Mc the path from there to the moon and Bc the way back to the observer, both over
the vertical column. The scattering angle is the same all along. Rays are straight. The integral is
tabled once a site: against wavelength for a target 37° high, at right angles to the moon
(`moon_air_path`), and against the target's direction at 550 nm (`low_moon_factor`).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from nightplan.light.air_path import scattering_air_path
from nightplan.light.extinction import REFERENCE_NM, Extinction
from nightplan.light.photometry import Floats

EARTH_RADIUS_KM = 6371.0
MOON_LIT_DEG = -8.0
"""Moon's altitude below which the air overhead is in the Earth's shadow up to 60 km."""
JOIN_DEG = 30.0
"""From here up the moon's path is the paper's."""

_TO_DEPTH = 0.4 * np.log(10.0)
_FINE_DEG = np.arange(MOON_LIT_DEG, JOIN_DEG + 0.25, 0.5)
_COARSE_DEG = np.arange(MOON_LIT_DEG, JOIN_DEG + 0.5, 1.0)
_NODES_NM = np.arange(330.0, 1051.0, 30.0)
_TOP_KM = 100.0
_SCALE_KM = {"molecules": 8.0, "aerosol": 1.5}  # as `extinction` has them with the site's height
_OZONE_KM = (15.0, 18.5, 22.0, 25.5, 29.0)
_MIDDLE_PATH = 1.6
_NODES_PATH = np.linspace(1.0, 4.5, 5)
"""Targets from the zenith down to 5.6°; lower ones are taken to be there."""
_NODES_TOWARD = (-1.0, 0.0, 1.0)
_NO_LIGHT = 1e-8  # of some 0.2 with the moon at 30°: nothing, and its logarithm is no outlier


def moon_air_path(
    moon_altitude_deg: npt.ArrayLike, wavelength_nm: npt.ArrayLike, air: Extinction
) -> Floats:
    """Air path of moonlight on its way to the air that scatters it, airmasses; shapes broadcast.

    Airless altitude in degrees, wavelength in nm. From 30° up it is eq. 3 of Krisciunas &
    Schaefer 1991. Below, 10^(−0.4 k path) is the integral over its value at 30°, times the
    paper's value at 30°. Held below `MOON_LIT_DEG`.
    """
    altitude = np.asarray(moon_altitude_deg, dtype=float)
    table = _paths(air)
    i, down = _place(altitude, _FINE_DEG)
    j, along = _place(np.asarray(wavelength_nm, dtype=float), _NODES_NM)
    low = (1.0 - down) * ((1.0 - along) * table[i, j] + along * table[i, j + 1]) + down * (
        (1.0 - along) * table[i + 1, j] + along * table[i + 1, j + 1]
    )
    return np.where(altitude >= JOIN_DEG, scattering_air_path(altitude), low)


def low_moon_factor(
    moon_altitude_deg: npt.ArrayLike,
    target_path: npt.ArrayLike,
    separation_deg: npt.ArrayLike,
    air: Extinction,
) -> Floats:
    """Light of a low moon in the target's direction over that behind `moon_air_path`.

    A line of sight toward the moon runs into air where the moon stands higher, one away from it
    into the Earth's shadow; a low one crosses more air on the way back. 1 from `JOIN_DEG` up.
    Shapes broadcast; `target_path` is eq. 3 of Krisciunas & Schaefer 1991, which tells the
    target's altitude, and `separation_deg` that of target and moon.
    """
    moon = np.asarray(moon_altitude_deg, dtype=float)
    path = np.asarray(target_path, dtype=float)
    sine = np.sqrt(np.clip((path**-2.0 - 0.04) / 0.96, 0.0, 1.0))
    along = np.cos(np.radians(moon)) * np.sqrt(1.0 - sine * sine)
    apart = np.cos(np.radians(separation_deg)) - np.sin(np.radians(moon)) * sine
    toward = np.clip(apart / np.maximum(along, 1e-6), -1.0, 1.0)
    table = _directions(air)
    i, down = _place(moon, _COARSE_DEG)
    j, further = _place(path, _NODES_PATH)
    logarithm = np.zeros(np.broadcast_shapes(moon.shape, path.shape, toward.shape))
    for power, part in enumerate(table):
        here = part[i, j] + further * (part[i, j + 1] - part[i, j])
        next_up = part[i + 1, j] + further * (part[i + 1, j + 1] - part[i + 1, j])
        logarithm += (here + down * (next_up - here)) * toward**power
    return np.where(moon >= JOIN_DEG, 1.0, np.exp(logarithm))


def _place(value: Floats, nodes: Floats) -> tuple[npt.NDArray[np.intp], Floats]:
    """Which of evenly spaced nodes lies below a value, and how far it is to the next, 0 to 1."""
    position = np.clip((value - nodes[0]) / (nodes[1] - nodes[0]), 0.0, nodes.size - 1.0)
    below = np.minimum(position.astype(np.intp), nodes.size - 2)
    return below, position - below


@lru_cache(maxsize=16)
def _paths(air: Extinction) -> Floats:
    """`moon_air_path` on its grid: altitudes of the moon, wavelengths."""
    light = np.log(_scattered(_FINE_DEG, _MIDDLE_PATH, 0.0, _NODES_NM, air))
    k = air.total(_NODES_NM)
    return np.asarray(scattering_air_path(JOIN_DEG) - (light - light[-1]) / (_TO_DEPTH * k))


@lru_cache(maxsize=16)
def _directions(air: Extinction) -> Floats:
    """ln `low_moon_factor` on its grid: powers 0 to 2 of the cosine of the difference in azimuth,
    altitudes of the moon, target paths."""
    nm = np.array([REFERENCE_NM])
    middle = np.log(_scattered(_COARSE_DEG, _MIDDLE_PATH, 0.0, nm, air)[:, 0])
    table = np.empty((3, _COARSE_DEG.size, _NODES_PATH.size))
    for column, path in enumerate(_NODES_PATH):
        logs = []
        for toward in _NODES_TOWARD:
            light = np.log(_scattered(_COARSE_DEG, float(path), toward, nm, air)[:, 0])
            logs.append((light - light[-1]) - (middle - middle[-1]))
        away, across, near = logs
        table[0, :, column] = across
        table[1, :, column] = 0.5 * (near - away)
        table[2, :, column] = 0.5 * (near + away) - across
    return table


def _scattered(
    moon_altitude_deg: Floats,
    target_path: float,
    toward: float,
    wavelength_nm: Floats,
    air: Extinction,
) -> Floats:
    """The integral per unit of f(ρ), shape (altitude of the moon, wavelength).

    `target_path` is eq. 3 of the paper, `toward` the cosine of the difference in azimuth between
    target and moon.
    """
    nodes, weights = np.polynomial.legendre.leggauss(80)
    share = 0.5 * (nodes + 1.0)
    height = _TOP_KM * share**3  # most nodes where aerosol is
    step = 0.5 * weights * _TOP_KM * 3.0 * share**2
    altitude = float(np.arcsin(np.sqrt(max(0.0, (target_path**-2.0 - 0.04) / 0.96))))
    climb = np.arccos(np.cos(altitude) * EARTH_RADIUS_KM / (EARTH_RADIUS_KM + height))
    around = climb - altitude  # angle at the Earth's centre
    moon = np.radians(moon_altitude_deg)[:, None]
    there = np.sin(moon) * np.cos(around) + np.cos(moon) * np.sin(around) * toward
    moon_deg, climb_deg = np.degrees(np.arcsin(there)), np.degrees(climb)
    depth = {
        "molecules": _TO_DEPTH * air.rayleigh(wavelength_nm),
        "aerosol": _TO_DEPTH * air.aerosol(wavelength_nm),
    }
    ozone = _TO_DEPTH * air.total(wavelength_nm) - depth["molecules"] - depth["aerosol"]
    taken = _ozone_path(height, moon_deg)[:, :, None] * ozone
    source = np.zeros((height.size, wavelength_nm.size))
    for part, scale_km in _SCALE_KM.items():
        layer = np.exp(-height / scale_km)
        ground = chapman_path(np.zeros(1), np.degrees([altitude]), scale_km)
        back = ground - layer * chapman_path(height, climb_deg, scale_km)
        path = layer * chapman_path(height, moon_deg, scale_km) + back
        # Never nothing: an infinite path through no aerosol would be no number.
        taken = taken + path[:, :, None] * np.maximum(depth[part], 1e-12)
        source += (layer / scale_km * step / np.sin(climb))[:, None] * depth[part]
    return np.asarray(np.sum(source * np.exp(-taken), axis=1) + _NO_LIGHT)


def chapman_path(height_km: Floats, altitude_deg: Floats, scale_km: float) -> Floats:
    """Path through an exponential atmosphere over its vertical column above the start.

    Chapman's function of x = (R + z)/H and the zenith distance Z, √(πx/2) e^(y²) erfc(y) with
    y = √(x/2) cos Z (Fitzmaurice 1964, Appl. Opt. 3, 640; from memory; within 0.5 % here); below
    the horizon twice the grazing half path less the part behind. Shapes broadcast; infinite where
    the Earth is in the way.
    """
    from scipy.special import erfcx

    x = (EARTH_RADIUS_KM + height_km) / scale_km
    sine, cosine = np.sin(np.radians(altitude_deg)), np.cos(np.radians(altitude_deg))
    upward = np.sqrt(0.5 * np.pi * x) * erfcx(np.sqrt(0.5 * x) * np.abs(sine))
    deepest_km = (EARTH_RADIUS_KM + height_km) * cosine - EARTH_RADIUS_KM
    blocked = (sine < 0.0) & (deepest_km < 0.0)
    rise = np.minimum(x * (1.0 - cosine), 700.0)  # e^700 is the largest that a float holds
    through = np.sqrt(2.0 * np.pi * x * cosine) * np.exp(rise) - upward
    return np.where(blocked, np.inf, np.where(sine < 0.0, through, upward))


def _ozone_path(height_km: Floats, altitude_deg: Floats) -> Floats:
    """Path through ozone over its vertical column, as five thin shells; shapes broadcast."""
    deepest_km = (EARTH_RADIUS_KM + height_km) * np.cos(np.radians(altitude_deg))
    path = np.zeros(deepest_km.shape)
    for shell_km in _OZONE_KM:
        deepest = deepest_km / (EARTH_RADIUS_KM + shell_km)
        # the real layer is 10 km thick: no path through it is longer than about 25 times that
        slant = 1.0 / np.sqrt(np.maximum(1.0 - deepest * deepest, 1.0 / 25.0**2))
        crossings = np.where(altitude_deg < 0.0, 2.0 * (deepest < 1.0), 0.0)
        path += slant * np.where(height_km < shell_km, 1.0, crossings) / len(_OZONE_KM)
    return path
