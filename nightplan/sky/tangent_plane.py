"""The gnomonic projection: sky to tangent plane and back, and a camera's corners on the sky.

FITS WCS "TAN": Calabretta & Greisen 2002, A&A 395, 1077, eqs. 54 and 55, worked in unit vectors
so that the poles and right ascension 0 need no care. Standard coordinates are given as tangents
(radians in the limit of small angles): xi grows to the east, eta to the north.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats
from nightplan.sky.angles import unit_vector, wrap_360_deg


def tangent_basis(ra_deg: ArrayLike, dec_deg: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Unit vectors, each of shape (..., 3): outward, east and north at places on the sky.

    At a pole, east and north are those of the given right ascension.
    """
    ra, dec = np.broadcast_arrays(np.radians(ra_deg), np.radians(dec_deg))
    sin_ra, cos_ra, sin_dec, cos_dec = np.sin(ra), np.cos(ra), np.sin(dec), np.cos(dec)
    east = np.stack((-sin_ra, cos_ra, np.zeros_like(ra)), axis=-1)
    north = np.stack((-sin_dec * cos_ra, -sin_dec * sin_ra, cos_dec), axis=-1)
    return unit_vector(ra, dec), east, north


def project(
    ra_deg: ArrayLike, dec_deg: ArrayLike, ra0_deg: ArrayLike, dec0_deg: ArrayLike
) -> tuple[Floats, Floats]:
    """Standard coordinates (xi, eta), tangents, of places seen from a tangent point.

    Parameters
    ----------
    ra_deg, dec_deg : array_like
        Places on the sky, degrees.
    ra0_deg, dec0_deg : array_like
        Tangent point; all four broadcast together.

    Returns
    -------
    xi_rad, eta_rad : ndarray
        East and north; NaN for places 90° or more from the tangent point.
    """
    ra, dec = np.broadcast_arrays(np.radians(ra_deg), np.radians(dec_deg))
    outward, east, north = tangent_basis(ra0_deg, dec0_deg)
    place = unit_vector(ra, dec)
    depth = np.sum(place * outward, axis=-1)
    depth = np.where(depth > 1e-12, depth, np.nan)
    return np.sum(place * east, axis=-1) / depth, np.sum(place * north, axis=-1) / depth


def deproject(
    xi_rad: ArrayLike, eta_rad: ArrayLike, ra0_deg: ArrayLike, dec0_deg: ArrayLike
) -> tuple[Floats, Floats]:
    """Places (ra, dec), degrees, 0 <= ra < 360, of standard coordinates; inverse of `project`."""
    xi, eta = np.broadcast_arrays(np.asarray(xi_rad, float), np.asarray(eta_rad, float))
    outward, east, north = tangent_basis(ra0_deg, dec0_deg)
    place = outward + xi[..., None] * east + eta[..., None] * north
    ra = np.degrees(np.arctan2(place[..., 1], place[..., 0]))
    dec = np.degrees(np.arctan2(place[..., 2], np.hypot(place[..., 0], place[..., 1])))
    return wrap_360_deg(ra), dec


def direction_angle_deg(
    xi_rad: ArrayLike,
    eta_rad: ArrayLike,
    angle_deg: ArrayLike,
    ra0_deg: ArrayLike,
    dec0_deg: ArrayLike,
) -> Floats:
    """Position angle, at a place off the tangent point, of a straight line in the plane.

    A straight line of the plane is a great circle, whose direction turns from place to place;
    near a pole by many degrees within one mosaic.

    Parameters
    ----------
    xi_rad, eta_rad : array_like
        Where in the plane.
    angle_deg : array_like
        The line's direction in the plane, from the eta axis (north) through xi (east).
    ra0_deg, dec0_deg : array_like
        Tangent point.

    Returns
    -------
    ndarray
        Position angle at that place, north through east there, 0 <= angle < 360.
    """
    _, east, north = tangent_basis(ra0_deg, dec0_deg)
    angle = np.radians(angle_deg)
    along = np.sin(angle)[..., None] * east + np.cos(angle)[..., None] * north
    ra, dec = deproject(xi_rad, eta_rad, ra0_deg, dec0_deg)
    _, east_there, north_there = tangent_basis(ra, dec)
    return wrap_360_deg(
        np.degrees(
            np.arctan2(np.sum(along * east_there, axis=-1), np.sum(along * north_there, axis=-1))
        )
    )


def axes_directions(
    image_up_angle_deg: ArrayLike, mirrored: bool = False
) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """Plane directions (xi, eta) of rising FITS axis 1 and of rising FITS axis 2.

    Unmirrored, axis 1 points west where axis 2 points north; a mirrored train has it east.
    """
    up = np.radians(image_up_angle_deg)
    sign = 1.0 if mirrored else -1.0
    return (sign * np.cos(up), -sign * np.sin(up)), (np.sin(up), np.cos(up))


def field_corners(
    ra_deg: ArrayLike,
    dec_deg: ArrayLike,
    image_up_angle_deg: ArrayLike,
    width_deg: float,
    height_deg: float,
    mirrored: bool = False,
) -> tuple[Floats, Floats]:
    """Corners of a field on the sky.

    Parameters
    ----------
    ra_deg, dec_deg : array_like
        Centre of the field.
    image_up_angle_deg : array_like
        Direction of rising FITS axis 2 at the centre, north through east.
    width_deg, height_deg : float
        Full exact angles along FITS axis 1 and axis 2, each 2 atan(size / (2 x focal length)).
    mirrored : bool
        Whether the train reverses the picture.

    Returns
    -------
    ra_deg, dec_deg : ndarray
        Shape (..., 4): the corners low-low, high-low, high-high, low-high along (axis 1, axis 2).
    """
    half_width = np.tan(np.radians(width_deg) / 2.0)
    half_height = np.tan(np.radians(height_deg) / 2.0)
    (x1, y1), (x2, y2) = axes_directions(np.asarray(image_up_angle_deg, float)[..., None], mirrored)
    first = half_width * np.array([-1.0, 1.0, 1.0, -1.0])
    second = half_height * np.array([-1.0, -1.0, 1.0, 1.0])
    return deproject(
        first * x1 + second * x2,
        first * y1 + second * y2,
        np.asarray(ra_deg, float)[..., None],
        np.asarray(dec_deg, float)[..., None],
    )
