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

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from nightplan.model.star_catalog import Floats, StarCatalog
from nightplan.sky.angles import separation_deg

GALACTIC_POLE_RA_DEG = 192.85948
GALACTIC_POLE_DEC_DEG = 27.12825
"""North galactic pole, ICRS (ESA 1997, *The Hipparcos Catalogue*, vol. 1, eq. 1.5.10)."""

_SLOPE, _SLOPE_LATITUDE = 0.473, -0.134
_BEND, _BEND_LATITUDE = 0.0106, 0.0241
_FIT_REFERENCE_MAG = 10.0
_FIT_END_MAG = 14.0

_RADII_DEG = (1.5, 2.5, 4.0, 7.0, 12.0)
_ENOUGH_STARS = 40
_COVERED_RADIUS_DEG = 0.5


def sin_galactic_latitude(ra_deg: ArrayLike, dec_deg: ArrayLike) -> Floats:
    """|sin b| of an ICRS place."""
    distance = separation_deg(ra_deg, dec_deg, GALACTIC_POLE_RA_DEG, GALACTIC_POLE_DEC_DEG)
    return np.abs(np.cos(np.radians(distance)))


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
    """Stars around a place: counted to `limit_mag`, within `radius_deg`."""

    count: int
    radius_deg: float
    limit_mag: float
    sin_latitude: float

    @property
    def per_deg2(self) -> float:
        """Stars to `limit_mag`, per square degree."""
        cap = 2.0 * math.pi * (1.0 - math.cos(math.radians(self.radius_deg)))
        return self.count / (cap * (180.0 / math.pi) ** 2)

    def expected(self, area_deg2: float, faintest_mag: float) -> float:
        """Stars expected past `limit_mag` and to `faintest_mag` in an area; 0 if none are left."""
        if faintest_mag <= self.limit_mag:
            return 0.0
        ratio = float(count_ratio(self.limit_mag, faintest_mag, self.sin_latitude))
        return self.per_deg2 * area_deg2 * (ratio - 1.0)


def local_density(catalog: StarCatalog, ra_deg: float, dec_deg: float) -> LocalDensity:
    """Count stars around a place in the smallest circle, 1.5 to 12 deg, that holds forty.

    The limit is that of the bundled catalogue, or the faintest star of the user's deeper file
    where that file holds at least half as many of the fainter stars as the bundled ones lead to
    expect (elsewhere the file does not cover the place, or only in part).
    """
    latitude = float(sin_galactic_latitude(ra_deg, dec_deg))
    bundled = catalog.bundled
    for radius_deg in _RADII_DEG:
        count = len(bundled.cone(ra_deg, dec_deg, radius_deg))
        if count >= _ENOUGH_STARS:
            break
    density = LocalDensity(count, radius_deg, bundled.limit_mag, latitude)
    deeper = catalog.deeper
    if deeper is None or deeper.limit_mag <= bundled.limit_mag:
        return density
    near_deg = _COVERED_RADIUS_DEG
    cap_deg2 = math.pi * near_deg**2
    fainter = int((deeper.cone(ra_deg, dec_deg, near_deg).g_mag > bundled.limit_mag).sum())
    if fainter < 0.5 * density.expected(cap_deg2, deeper.limit_mag):
        return density
    both = len(catalog.cone(ra_deg, dec_deg, near_deg))
    return LocalDensity(both, near_deg, deeper.limit_mag, latitude)
