"""Altitude, azimuth, hour angle and parallactic angle of targets x times.

Directions are turned as vectors, by matrix products of (target, 3) with (3, time); what is left
is one arctangent per value and angle. numpy's arctangent is vectorised where its arcsine and
arctan2 are not, so all three angles go by the half-angle, tan(a / 2) = y / (r + x). Targets go in
blocks whose working arrays fit the processor's cache.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats
from nightplan.sky.angles import unit_vector
from nightplan.sky.apparent import SiteFrame, cirs_to_horizon, local_rotation_rad

_BLOCK_VALUES = 16384


@dataclass(frozen=True)
class Horizontal:
    """Topocentric, airless places; each array has shape (target, time)."""

    altitude_deg: Floats
    azimuth_deg: Floats
    """North through east, 0 to 360."""
    hour_angle_deg: Floats
    """West of the upper meridian positive, -180 to 180, about the pole of date."""
    parallactic_angle_deg: Floats
    """Direction of the zenith at the target, from *ICRS* north through east, -180 to 180.

    Negative while the target is east of the meridian (for targets that culminate south of the
    zenith). Referred to the pole of date instead it would be off by precession: 0.15 degrees on
    the equator in 2027, more towards the pole, which a camera angle must not inherit.
    """


def horizontal(
    frame: SiteFrame, cirs_ra_rad: ArrayLike, cirs_dec_rad: ArrayLike, utc_mjd: ArrayLike
) -> Horizontal:
    """Horizontal coordinates of CIRS places (target,) at times (time,).

    Includes diurnal aberration and polar motion; agrees with astropy's ICRS -> AltAz at zero
    pressure to better than 0.0005 degrees within half a day of the frame's time.
    """
    target = np.atleast_2d(unit_vector(cirs_ra_rad, cirs_dec_rad))
    to_north, to_east, to_zenith = _axes(frame, utc_mjd)
    beta = frame.diurnal_aberration
    pole = frame.icrs_to_cirs[:, 2]
    pole_to_zenith = pole @ to_zenith
    pole_cross = np.cross(pole, target)
    along_pole = (target @ pole)[:, None]
    off_pole = np.linalg.norm(pole_cross, axis=1)[:, None]

    shape = (target.shape[0], to_zenith.shape[1])
    altitude, azimuth, parallactic = np.empty(shape), np.empty(shape), np.empty(shape)
    for block in _blocks(*shape):
        north, east = target[block] @ to_north, target[block] @ to_east
        up = target[block] @ to_zenith
        level = np.sqrt(north * north + east * east)
        # Zenith Z at the target r, pole P: atan2(Z.(P x r), Z.P - (Z.r)(P.r)).
        towards_east = pole_cross[block] @ to_zenith
        towards_north = pole_to_zenith - along_pole[block] * up
        _arctan2_deg(towards_east, towards_north, off_pole[block] * level, parallactic[block])
        # The observer runs east at beta c; a direction s is seen at s + beta * east.
        length = 1.0 + beta * east
        east += beta
        level = np.sqrt(north * north + east * east)
        _half_angle_deg(up, length + level, altitude[block])
        _arctan2_deg(east, north, level, azimuth[block])
        azimuth[block] += 360.0 * (east < 0.0)
    return Horizontal(altitude, azimuth, hour_angle_deg(frame, cirs_ra_rad, utc_mjd), parallactic)


def altitude_deg(
    frame: SiteFrame, cirs_ra_rad: ArrayLike, cirs_dec_rad: ArrayLike, utc_mjd: ArrayLike
) -> Floats:
    """Topocentric airless altitude (target, time) alone, a quarter of the work."""
    target = np.atleast_2d(unit_vector(cirs_ra_rad, cirs_dec_rad))
    to_north, to_east, to_zenith = _axes(frame, utc_mjd)
    beta = frame.diurnal_aberration
    altitude = np.empty((target.shape[0], to_zenith.shape[1]))
    for block in _blocks(*altitude.shape):
        north, east = target[block] @ to_north, target[block] @ to_east
        length = 1.0 + beta * east
        east += beta
        level = np.sqrt(north * north + east * east)
        _half_angle_deg(target[block] @ to_zenith, length + level, altitude[block])
    return altitude


def hour_angle_deg(frame: SiteFrame, cirs_ra_rad: ArrayLike, utc_mjd: ArrayLike) -> Floats:
    """Local hour angle (target, time), -180 to 180, about the pole of date."""
    rotation = np.degrees(np.atleast_1d(local_rotation_rad(frame, utc_mjd))) % 360.0
    ra = np.degrees(np.atleast_1d(np.asarray(cirs_ra_rad, dtype=np.float64))) % 360.0
    angle = rotation[None, :] - ra[:, None]
    for block in _blocks(*angle.shape):
        part = angle[block]
        part -= 360.0 * np.rint(part * (1.0 / 360.0))
    return angle


def _axes(frame: SiteFrame, utc_mjd: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """North, east and zenith at each time on CIRS axes, each (3, time)."""
    matrix = cirs_to_horizon(frame, utc_mjd)
    north, east, zenith = (np.ascontiguousarray(matrix[:, row, :].T) for row in range(3))
    return north, east, zenith


def _blocks(targets: int, times: int) -> list[slice]:
    size = max(1, _BLOCK_VALUES // max(times, 1))
    return [slice(first, first + size) for first in range(0, targets, size)]


def _half_angle_deg(y: Floats, radius_plus_x: Floats, out: Floats) -> None:
    radius_plus_x += 1e-300  # so that no direction at all, 0 / 0, comes out as 0
    np.divide(y, radius_plus_x, out=out)
    np.arctan(out, out=out)
    out *= 360.0 / np.pi


def _arctan2_deg(y: Floats, x: Floats, radius: Floats, out: Floats) -> None:
    """Angle of (x, y), -180 to 180, on the side where radius + |x| does not cancel."""
    _half_angle_deg(y, radius + np.abs(x), out)
    out[...] = np.where(x < 0.0, np.copysign(180.0, y) - out, out)
