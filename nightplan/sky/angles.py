"""Angles: wrapping, great-circle separation, position angle.

All functions broadcast over numpy arrays and take and return degrees.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats


def _wrap(angle_deg: ArrayLike, start: float, turn: float) -> Floats:
    angle = np.asarray(angle_deg, dtype=np.float64)
    wrapped = angle - turn * np.floor((angle - start) / turn)
    # A hair below `start` rounds up to the excluded end of the range, or stays where it is.
    return np.where((wrapped >= start + turn) | (wrapped < start), start, wrapped)


def wrap_360_deg(angle_deg: ArrayLike) -> Floats:
    """Wrap into 0 <= angle < 360."""
    return _wrap(angle_deg, 0.0, 360.0)


def wrap_180_deg(angle_deg: ArrayLike) -> Floats:
    """Wrap into -180 <= angle < 180."""
    return _wrap(angle_deg, -180.0, 360.0)


def wrap_axis_deg(angle_deg: ArrayLike) -> Floats:
    """Wrap the direction of a line, which has no head or tail, into 0 <= angle < 180."""
    return _wrap(angle_deg, 0.0, 180.0)


def axis_turn_deg(from_deg: ArrayLike, to_deg: ArrayLike) -> Floats:
    """Shorter signed turn that lays one line on another, -90 <= turn < 90."""
    difference = np.asarray(to_deg, dtype=np.float64) - np.asarray(from_deg, dtype=np.float64)
    return _wrap(difference, -90.0, 180.0)


def unit_vector(longitude_rad: ArrayLike, latitude_rad: ArrayLike) -> Floats:
    """Unit vectors, shape (..., 3), of spherical directions in radians."""
    longitude, latitude = np.broadcast_arrays(
        np.asarray(longitude_rad, dtype=np.float64), np.asarray(latitude_rad, dtype=np.float64)
    )
    cos_latitude = np.cos(latitude)
    return np.stack(
        (
            cos_latitude * np.cos(longitude),
            cos_latitude * np.sin(longitude),
            np.sin(latitude),
        ),
        axis=-1,
    )


def separation_deg(
    ra1_deg: ArrayLike, dec1_deg: ArrayLike, ra2_deg: ArrayLike, dec2_deg: ArrayLike
) -> Floats:
    """Great-circle separation, 0 to 180, well-conditioned at every distance.

    The spherical case of Vincenty 1975, Survey Review 23, 88, as an arctangent of the cross and
    dot products; the cosine formula (Meeus, *Astronomical Algorithms*, 17.1) loses small angles.
    """
    delta_ra = np.radians(np.subtract(ra2_deg, ra1_deg))
    dec1, dec2 = np.radians(dec1_deg), np.radians(dec2_deg)
    sin1, cos1, sin2, cos2 = np.sin(dec1), np.cos(dec1), np.sin(dec2), np.cos(dec2)
    across = np.hypot(cos2 * np.sin(delta_ra), cos1 * sin2 - sin1 * cos2 * np.cos(delta_ra))
    along = sin1 * sin2 + cos1 * cos2 * np.cos(delta_ra)
    return np.degrees(np.arctan2(across, along))


def position_angle_deg(
    ra1_deg: ArrayLike, dec1_deg: ArrayLike, ra2_deg: ArrayLike, dec2_deg: ArrayLike
) -> Floats:
    """Direction of place 2 as seen from place 1, north through east, 0 <= angle < 360.

    Meeus, *Astronomical Algorithms*, chapter 17, position angle, in the arctangent form.
    """
    delta_ra = np.radians(np.subtract(ra2_deg, ra1_deg))
    dec1, dec2 = np.radians(dec1_deg), np.radians(dec2_deg)
    east = np.cos(dec2) * np.sin(delta_ra)
    north = np.cos(dec1) * np.sin(dec2) - np.sin(dec1) * np.cos(dec2) * np.cos(delta_ra)
    return wrap_360_deg(np.degrees(np.arctan2(east, north)))
