"""How many stars to expect past a catalogue's limit, from those it has around the place.

The share of fainter stars follows the slope of star counts, d log10 N / dm. It falls with
magnitude and with galactic latitude (Allen, *Astrophysical Quantities*, the tables of star
numbers; Bahcall & Soneira 1980, ApJS 44, 73; both from memory). The numbers here are our own
least-squares fit to the counts of the bundled Gaia catalogue in half magnitudes from G 7 to 10
and twenty belts of equal area (scatter of one count 0.014 in the slope)::

    slope(m, b) = 0.473 - 0.134 |sin b| - (m - 10) (0.0106 + 0.0241 |sin b|)

Carried on to G 12 and 13 over the whole sky it gives 3.2 and 7.8 million stars. Past G 14 the
slope is held, for a parabola bends too far. Dark clouds smaller than the circle in which the
stars are counted, and clusters, are not seen: the figure is good to a factor of about 1.5.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nightplan.model.star_catalog import Floats, StarCatalog, StarList
from nightplan.sky.angles import separation_deg, unit_vector
from nightplan.sky.galactic import sin_galactic_latitude

_SLOPE, _SLOPE_LATITUDE = 0.473, -0.134
_BEND, _BEND_LATITUDE = 0.0106, 0.0241
_FIT_REFERENCE_MAG = 10.0
_FIT_END_MAG = 14.0

_RADII_DEG = (1.5, 2.5, 4.0, 7.0, 12.0)
_ENOUGH_STARS = 40
_COVERED_RADIUS_DEG = 0.5


def count_ratio(from_mag: ArrayLike, to_mag: ArrayLike, sin_latitude: ArrayLike) -> Floats:
    """Number of stars to `to_mag` over that to `from_mag`; the slope of the module, integrated.

    `sin_latitude` is |sin b|. Meant for Gaia G from 7 to 14.
    """
    latitude = np.asarray(sin_latitude, dtype=np.float64)
    return 10.0 ** (_log_count(to_mag, latitude) - _log_count(from_mag, latitude))


def _log_count(mag: ArrayLike, latitude: Floats) -> Floats:
    x = np.asarray(mag, dtype=np.float64) - _FIT_REFERENCE_MAG
    end = _FIT_END_MAG - _FIT_REFERENCE_MAG
    inside = np.minimum(x, end)
    slope = _SLOPE + _SLOPE_LATITUDE * latitude
    bend = _BEND + _BEND_LATITUDE * latitude
    beyond = np.maximum(x - end, 0.0) * (slope - bend * end)
    return slope * inside - 0.5 * bend * inside**2 + beyond


@dataclass(frozen=True)
class LocalDensity:
    """Stars around some places: counted to `limit_mag` within `radius_deg`.

    All fields are arrays of the places' shape; `sin_latitude` is |sin b|.
    """

    count: NDArray[np.int64]
    radius_deg: Floats
    limit_mag: Floats
    sin_latitude: Floats

    @property
    def per_deg2(self) -> Floats:
        """Stars to `limit_mag`, per square degree."""
        cap_deg2 = 2.0 * np.pi * (1.0 - np.cos(np.radians(self.radius_deg))) * np.degrees(1.0) ** 2
        return self.count / cap_deg2

    def expected(self, area_deg2: ArrayLike, faintest_mag: float) -> Floats:
        """Stars expected past `limit_mag` and to `faintest_mag` in an area; 0 if none are left."""
        ratio = count_ratio(self.limit_mag, faintest_mag, self.sin_latitude)
        return self.per_deg2 * np.asarray(area_deg2, float) * np.maximum(ratio - 1.0, 0.0)

    def expected_between(
        self, area_deg2: ArrayLike, brightest_mag: float, faintest_mag: float
    ) -> Floats:
        """Stars expected past `limit_mag` between two magnitudes in an area; 0 if none are."""
        less = self.expected(area_deg2, min(brightest_mag, faintest_mag))
        return np.asarray(self.expected(area_deg2, faintest_mag) - less)


def local_density(catalog: StarCatalog, ra_deg: ArrayLike, dec_deg: ArrayLike) -> LocalDensity:
    """Count stars around places in the smallest circle, 1.5 to 12 deg, that holds forty.

    The limit is that of the bundled catalogue, or the faintest star of the user's deeper file
    where that file, within half a degree, holds at least half as many of the fainter stars as
    the bundled ones lead to expect (elsewhere it does not cover the place, or only in part).

    Parameters
    ----------
    catalog : StarCatalog
        The stars.
    ra_deg, dec_deg : array_like
        Places, ICRS, not too far from each other: one cone is drawn around them all.
    """
    ra, dec = np.broadcast_arrays(np.asarray(ra_deg, float), np.asarray(dec_deg, float))
    latitude = sin_galactic_latitude(ra, dec)
    bundled = catalog.bundled
    count = np.zeros(ra.shape, dtype=np.int64)
    radius = np.zeros(ra.shape)
    for step_deg in _RADII_DEG:
        few = count < _ENOUGH_STARS
        if not few.any():
            break
        count = np.where(few, _count_within(bundled, ra, dec, step_deg), count)
        radius = np.where(few, step_deg, radius)
    limit = np.full(ra.shape, bundled.limit_mag)
    density = LocalDensity(count, radius, limit, latitude)
    deeper = catalog.deeper
    if deeper is None or deeper.limit_mag <= bundled.limit_mag:
        return density
    past = _count_within(deeper, ra, dec, _COVERED_RADIUS_DEG, brightest_mag=bundled.limit_mag)
    area_deg2 = np.pi * _COVERED_RADIUS_DEG**2
    covered = past >= 0.5 * density.expected(area_deg2, deeper.limit_mag)
    both = past + _count_within(bundled, ra, dec, _COVERED_RADIUS_DEG)
    return LocalDensity(
        np.where(covered, both, count),
        np.where(covered, _COVERED_RADIUS_DEG, radius),
        np.where(covered, deeper.limit_mag, limit),
        latitude,
    )


def _count_within(
    stars: StarList, ra: Floats, dec: Floats, radius_deg: float, brightest_mag: float = -np.inf
) -> NDArray[np.int64]:
    """Stars fainter than `brightest_mag` within a radius of each place."""
    places = unit_vector(np.radians(ra), np.radians(dec))
    middle = places.reshape(-1, 3).mean(axis=0)
    middle_ra = float(np.degrees(np.arctan2(middle[1], middle[0])))
    middle_dec = float(np.degrees(np.arctan2(middle[2], np.hypot(middle[0], middle[1]))))
    reach = float(np.max(separation_deg(middle_ra, middle_dec, ra, dec)))
    near = stars.cone(middle_ra, middle_dec, radius_deg + reach + 1e-6)
    near = near.keep(near.g_mag > brightest_mag)
    vectors = unit_vector(np.radians(near.ra_deg), np.radians(near.dec_deg))
    inside = places @ vectors.T >= np.cos(np.radians(radius_deg))
    return inside.sum(axis=-1)
