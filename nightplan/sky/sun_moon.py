"""Sun and moon from a site: where they stand, how far, how large, how much of the moon is lit.

Sun: ERFA epv00 (Bretagnon's VSOP2000 fitted to DE405; a few km). Moon: ERFA moon98 (Meeus,
*Astronomical Algorithms* 2nd ed., chapter 47; about 3 arcsec rms against a full theory, 15 at
worst). Geometric geocentric vectors are set back by the light-time, which to first order holds
both light-time and aberration for a geocentric observer (Explanatory Supplement, planetary
aberration), turned to CIRS, and seen from the site by subtracting its own vector, set back alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import erfa
import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats
from nightplan.sky.apparent import (
    LIGHT_KM_S,
    SiteFrame,
    cirs_to_horizon,
)
from nightplan.sky.times import MJD_ZERO, quiet_far_years, tt_mjd

AU_KM = 149597870.7
# IAU 2015 Resolution B3, nominal solar radius; Archinal et al. 2018 (IAU WGCCRE), mean lunar one.
SUN_RADIUS_KM = 695700.0
MOON_RADIUS_KM = 1737.4
_SUN_NODE_DAYS = 0.5


@dataclass(frozen=True)
class BodyPlace:
    """Topocentric airless place of a body; arrays have shape (time,)."""

    altitude_deg: Floats
    azimuth_deg: Floats
    distance_km: Floats
    semidiameter_deg: Floats
    cirs_direction: Floats
    """Unit vectors (time, 3) on CIRS axes, to be set against targets' CIRS places."""


@dataclass(frozen=True)
class MoonPhase:
    """Geocentric phase of the moon; arrays have shape (time,)."""

    elongation_deg: Floats
    phase_angle_deg: Floats
    illuminated_fraction: Floats


def sun(frame: SiteFrame, utc_mjd: ArrayLike) -> BodyPlace:
    """Sun's centre as seen from the frame's site at times (time,)."""
    return _from_site(frame, utc_mjd, sun_cirs_km(utc_mjd), SUN_RADIUS_KM)


def moon(frame: SiteFrame, utc_mjd: ArrayLike) -> BodyPlace:
    """Moon's centre as seen from the frame's site at times (time,)."""
    return _from_site(frame, utc_mjd, moon_cirs_km(utc_mjd), MOON_RADIUS_KM)


def sun_cirs_km(utc_mjd: ArrayLike) -> Floats:
    """Apparent geocentric vectors of the sun, (time, 3), CIRS axes, km."""
    tt = np.atleast_1d(tt_mjd(utc_mjd))
    place, velocity = _sun_gcrs_au(tt)
    return _apparent_cirs(tt, place * AU_KM, velocity * AU_KM)


def moon_cirs_km(utc_mjd: ArrayLike) -> Floats:
    """Apparent geocentric vectors of the moon, (time, 3), CIRS axes, km."""
    tt = np.atleast_1d(tt_mjd(utc_mjd))
    place_velocity = erfa.moon98(MJD_ZERO, tt)
    return _apparent_cirs(tt, place_velocity["p"] * AU_KM, place_velocity["v"] * AU_KM)


def moon_phase(utc_mjd: ArrayLike) -> MoonPhase:
    """Phase as from the Earth's centre at times (time,)."""
    sun_km, moon_km = sun_cirs_km(utc_mjd), moon_cirs_km(utc_mjd)
    across = np.linalg.norm(np.cross(sun_km, moon_km), axis=-1)
    elongation = np.degrees(np.arctan2(across, np.sum(sun_km * moon_km, axis=-1)))
    return phase_from_elongation(
        elongation, np.linalg.norm(sun_km, axis=-1), np.linalg.norm(moon_km, axis=-1)
    )


def phase_from_elongation(
    elongation_deg: ArrayLike, sun_distance_km: ArrayLike, moon_distance_km: ArrayLike
) -> MoonPhase:
    """Phase angle and lit fraction: Meeus, *Astronomical Algorithms*, eqs. 48.3 and 48.1."""
    elongation = np.asarray(elongation_deg, dtype=np.float64)
    to_sun = np.asarray(sun_distance_km, dtype=np.float64)
    to_moon = np.asarray(moon_distance_km, dtype=np.float64)
    psi = np.radians(elongation)
    phase_angle = np.arctan2(to_sun * np.sin(psi), to_moon - to_sun * np.cos(psi))
    return MoonPhase(elongation, np.degrees(phase_angle), (1.0 + np.cos(phase_angle)) / 2.0)


def equinox_ra_dec_deg(frame: SiteFrame, cirs_direction: Floats) -> tuple[Floats, Floats]:
    """Right ascension and declination of date (true equator and equinox) of vectors (..., 3)."""
    x, y, z = np.moveaxis(cirs_direction, -1, 0)
    ra = np.arctan2(y, x) - frame.equation_of_origins_rad
    return np.degrees(np.mod(ra, 2.0 * np.pi)), np.degrees(np.arctan2(z, np.hypot(x, y)))


def icrs_ra_dec_deg(frame: SiteFrame, cirs_direction: Floats) -> tuple[Floats, Floats]:
    """The same direction on ICRS axes, for plotting among stars (aberration left in: 20 arcsec)."""
    x, y, z = np.moveaxis(cirs_direction @ frame.icrs_to_cirs, -1, 0)
    return (
        np.degrees(np.mod(np.arctan2(y, x), 2.0 * np.pi)),
        np.degrees(np.arctan2(z, np.hypot(x, y))),
    )


def _sun_gcrs_au(tt: Floats) -> tuple[Floats, Floats]:
    """Geometric geocentric sun and its velocity per day, by Hermite cubics over half days.

    epv00 is costly; between nodes half a day apart the cubic is off by 1e-11 (fourth derivative
    over 384). Nodes lie at fixed times, so the answer does not depend on the company it is in.
    """
    index = np.floor(tt / _SUN_NODE_DAYS)
    nodes, at = np.unique(np.concatenate((index, index + 1.0)), return_inverse=True)
    with quiet_far_years():
        heliocentric, _ = erfa.epv00(MJD_ZERO, nodes * _SUN_NODE_DAYS)
    p, v = -heliocentric["p"], -heliocentric["v"] * _SUN_NODE_DAYS
    left, right = at[: tt.size], at[tt.size :]
    s = (tt / _SUN_NODE_DAYS - index)[:, None]
    p0, p1, v0, v1 = p[left], p[right], v[left], v[right]
    place = (
        p0 * (1.0 + 2.0 * s) * (1.0 - s) ** 2
        + v0 * s * (1.0 - s) ** 2
        + p1 * s**2 * (3.0 - 2.0 * s)
        + v1 * s**2 * (s - 1.0)
    )
    velocity = (
        (p1 - p0) * 6.0 * s * (1.0 - s)
        + v0 * (1.0 - s) * (1.0 - 3.0 * s)
        + v1 * s * (3.0 * s - 2.0)
    ) / _SUN_NODE_DAYS
    return place, velocity


def _apparent_cirs(tt: Floats, place_km: Floats, velocity_km_day: Floats) -> Floats:
    light_days = np.linalg.norm(place_km, axis=-1, keepdims=True) / LIGHT_KM_S / 86400.0
    # Nutation 2000B differs from 2000A by a milliarcsecond and costs a tenth.
    matrix = erfa.c2i00b(MJD_ZERO, tt)
    return np.einsum("tij,tj->ti", matrix, place_km - velocity_km_day * light_days)


def _from_site(
    frame: SiteFrame, utc_mjd: ArrayLike, cirs_km: Floats, radius_km: float
) -> BodyPlace:
    turn = cirs_to_horizon(frame, utc_mjd)
    geocentric = np.einsum("tij,tj->ti", turn, cirs_km)
    light_s = np.linalg.norm(cirs_km, axis=-1) / LIGHT_KM_S
    ran_east_km = frame.diurnal_aberration * LIGHT_KM_S * light_s
    seen = geocentric - frame.observer_km
    seen[:, 1] += ran_east_km
    north, east, up = seen.T
    distance = np.linalg.norm(seen, axis=-1)
    direction = np.einsum("tji,tj->ti", turn, seen) / distance[:, None]
    return BodyPlace(
        altitude_deg=np.degrees(np.arctan2(up, np.hypot(north, east))),
        azimuth_deg=np.degrees(np.mod(np.arctan2(east, north), 2.0 * np.pi)),
        distance_km=distance,
        semidiameter_deg=np.degrees(np.arcsin(radius_km / distance)),
        cirs_direction=direction,
    )
