"""Everything about one site that stays fixed through one night, and the apparent place.

The chain is the IAU 2006/2000A CIO-based one of ERFA: ICRS -> CIRS once a night per target
(precession, nutation, annual aberration, light deflection by the sun), then CIRS -> horizon by
one rotation per time. Holding the CIRS frame for a night costs at most 0.0001 degrees
(annual aberration moves by 0.35 arcsec a day, precession and nutation by 0.2 arcsec).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import erfa
import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats
from nightplan.sky.times import MJD_ZERO, TT_MINUS_TAI_DAYS, quiet_far_years, tai_mjd

WGS84 = 1
# Capitaine et al. 2000, A&A 355, 398: ERA gains this many turns per UT1 day (ERFA era00).
TURNS_PER_UT1_DAY = 1.00273781191135448
EARTH_SPIN_RAD_S = 2.0 * np.pi * TURNS_PER_UT1_DAY / 86400.0
LIGHT_KM_S = 299792.458


@dataclass(frozen=True)
class SiteFrame:
    """One site on one night: constants for apparent places and for the turn to the horizon.

    Good within about a day of `utc_mjd`. Vectors on the horizon count (north, east, up).
    """

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    utc_mjd: float
    tai_mjd: float
    local_rotation_rad: float
    """Earth rotation angle plus east longitude at `utc_mjd`."""
    equation_of_origins_rad: float
    terrestrial_to_horizon: Floats = field(repr=False, compare=False)
    """(3, 3): terrestrial intermediate axes turned by the longitude -> (north, east, up)."""
    icrs_to_cirs: Floats = field(repr=False, compare=False)
    """(3, 3): bias, precession and nutation, without aberration."""
    observer_km: Floats = field(repr=False, compare=False)
    """(3,): geocentre to observer, on the horizon axes."""
    astrometry: Any = field(repr=False, compare=False)
    """ERFA's star-independent parameters for the geocentre (apci13)."""

    @property
    def diurnal_aberration(self) -> float:
        """Eastward speed of the observer in units of the speed of light."""
        return _eastward_km_s(self.latitude_deg, self.elevation_m) / LIGHT_KM_S


def _eastward_km_s(latitude_deg: float, elevation_m: float) -> float:
    place = erfa.gd2gc(WGS84, 0.0, np.radians(latitude_deg), elevation_m)
    return float(np.hypot(place[0], place[1])) * 1e-3 * EARTH_SPIN_RAD_S


def site_frame(
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    utc_mjd: float,
    dut1_s: float = 0.0,
    polar_x_arcsec: float = 0.0,
    polar_y_arcsec: float = 0.0,
) -> SiteFrame:
    """Frame of a site (geodetic WGS84, east longitude positive) about one time.

    `dut1_s` is UT1 - UTC at `utc_mjd`; UT1 then runs evenly with TAI, so that a leap second
    during the night does no harm. `polar_*_arcsec` are the coordinates of the pole (IERS).
    """
    latitude, longitude = np.radians(latitude_deg), np.radians(longitude_deg)
    x_pole, y_pole = np.radians(polar_x_arcsec / 3600.0), np.radians(polar_y_arcsec / 3600.0)
    tai = float(tai_mjd(utc_mjd))
    tt = tai + TT_MINUS_TAI_DAYS
    with quiet_far_years():
        ut1, ut1_rest = erfa.utcut1(MJD_ZERO, utc_mjd, dut1_s)
        astrometry, equation_of_origins = erfa.apci13(MJD_ZERO, tt)
        icrs_to_cirs = erfa.c2i06a(MJD_ZERO, tt)
        locator = erfa.sp00(MJD_ZERO, tt)
    rotation = float(erfa.era00(ut1, ut1_rest))

    # Terrestrial intermediate -> ITRS -> (north, east, up); the longitude's turn about the pole
    # is taken out on the right so that it can ride with the Earth rotation angle.
    sin_lat, cos_lat = np.sin(latitude), np.cos(latitude)
    sin_lon, cos_lon = np.sin(longitude), np.cos(longitude)
    itrs_to_horizon = np.array(
        [
            [-sin_lat * cos_lon, -sin_lat * sin_lon, cos_lat],
            [-sin_lon, cos_lon, 0.0],
            [cos_lat * cos_lon, cos_lat * sin_lon, sin_lat],
        ]
    )
    unturn = np.array([[cos_lon, -sin_lon, 0.0], [sin_lon, cos_lon, 0.0], [0.0, 0.0, 1.0]])
    polar_motion = erfa.pom00(x_pole, y_pole, locator)
    observer_itrs_km = erfa.gd2gc(WGS84, longitude, latitude, elevation_m) * 1e-3

    return SiteFrame(
        latitude_deg=float(latitude_deg),
        longitude_deg=float(longitude_deg),
        elevation_m=float(elevation_m),
        utc_mjd=float(utc_mjd),
        tai_mjd=tai,
        local_rotation_rad=rotation + float(longitude),
        equation_of_origins_rad=float(equation_of_origins),
        terrestrial_to_horizon=itrs_to_horizon @ polar_motion @ unturn,
        icrs_to_cirs=np.asarray(icrs_to_cirs),
        observer_km=itrs_to_horizon @ observer_itrs_km,
        astrometry=astrometry,
    )


def apparent_place(
    frame: SiteFrame, ra_deg: ArrayLike, dec_deg: ArrayLike
) -> tuple[Floats, Floats]:
    """CIRS right ascension and declination in radians, shape (target,), of ICRS places.

    Geocentric: the observer's own speed is added with the turn to the horizon. ERFA atciqz: no
    proper motion, no parallax.
    """
    ra = np.radians(np.atleast_1d(np.asarray(ra_deg, dtype=np.float64)))
    dec = np.radians(np.atleast_1d(np.asarray(dec_deg, dtype=np.float64)))
    cirs_ra, cirs_dec = erfa.atciqz(ra, dec, frame.astrometry)
    return np.asarray(cirs_ra), np.asarray(cirs_dec)


def local_rotation_rad(frame: SiteFrame, utc_mjd: ArrayLike) -> Floats:
    """Earth rotation angle plus east longitude, not wrapped, shape of `utc_mjd`.

    Minus a CIRS right ascension, this is the local hour angle.
    """
    elapsed = tai_mjd(utc_mjd) - frame.tai_mjd
    return frame.local_rotation_rad + 2.0 * np.pi * TURNS_PER_UT1_DAY * elapsed


def local_sidereal_time_deg(frame: SiteFrame, utc_mjd: ArrayLike) -> Floats:
    """Local apparent sidereal time, 0 to 360: Earth rotation angle less equation of the origins."""
    angle = local_rotation_rad(frame, utc_mjd) - frame.equation_of_origins_rad
    return np.degrees(np.mod(angle, 2.0 * np.pi))


def cirs_to_horizon(frame: SiteFrame, utc_mjd: ArrayLike) -> Floats:
    """Rotation matrices (time, 3, 3) from CIRS axes to (north, east, up)."""
    angle = np.atleast_1d(local_rotation_rad(frame, utc_mjd))
    cosine, sine = np.cos(angle)[:, None], np.sin(angle)[:, None]
    x, y, z = frame.terrestrial_to_horizon.T
    matrix = np.empty((angle.size, 3, 3))
    matrix[:, :, 0] = x * cosine - y * sine
    matrix[:, :, 1] = x * sine + y * cosine
    matrix[:, :, 2] = z
    return matrix
