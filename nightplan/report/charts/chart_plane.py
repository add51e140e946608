"""The square of sky that a framing chart shows: north up, east to the left, tangent plane."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats
from nightplan.sky.tangent_plane import deproject, project

_EDGE = 1.1  # room around what is shown, as a multiple of its half width
_WIDEST_DEG = 35.0


@dataclass(frozen=True)
class ChartPlane:
    """Tangent plane at a place, cut to a square of +-`half_deg` (tangents, in degrees)."""

    ra_deg: float
    dec_deg: float
    half_deg: float

    def xy(self, ra_deg: ArrayLike, dec_deg: ArrayLike) -> Floats:
        """Chart coordinates, shape (..., 2): x grows to the west, y to the north; NaN if behind."""
        xi, eta = project(ra_deg, dec_deg, self.ra_deg, self.dec_deg)
        return np.degrees(np.stack((-xi, eta), axis=-1))

    def sky(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """ICRS place (ra, dec) of chart coordinates; inverse of `xy`."""
        return deproject(
            -np.radians(x), np.radians(y), self.ra_deg, self.dec_deg
        )  # fmt: skip

    @property
    def radius_deg(self) -> float:
        """Angle from the middle to a corner of the square."""
        return float(np.degrees(np.arctan(np.radians(self.half_deg) * np.sqrt(2.0))))

    @property
    def shows_pole(self) -> bool:
        """Whether a celestial pole lies inside the square."""
        pole = self.xy(0.0, 90.0 if self.dec_deg > 0.0 else -90.0)
        return bool(np.all(np.abs(pole) <= self.half_deg))


def chart_plane(
    ra_deg: float, dec_deg: float, must: Sequence[Floats], may: Sequence[Floats] = ()
) -> ChartPlane:
    """Smallest square around places (ra, dec), each an array (n, 2); it is centred anew.

    Places of `may` are shown only as far as that leaves those of `must` at least a third of the
    width.
    """
    plane = ChartPlane(ra_deg, dec_deg, 1.0)
    for _ in range(3):
        low, high = _bounds(plane, must)
        reach = 3.0 * float(np.max(high - low)) / 2.0
        if may:
            middle = 0.5 * (low + high)
            more_low, more_high = _bounds(plane, may)
            low = np.minimum(low, np.maximum(more_low, middle - reach))
            high = np.maximum(high, np.minimum(more_high, middle + reach))
        ra, dec = plane.sky(*(0.5 * (low + high)))
        half = min(float(np.max(high - low)) / 2.0 * _EDGE, _WIDEST_DEG)
        plane = ChartPlane(float(ra), float(dec), half)
    return plane


def _bounds(plane: ChartPlane, places: Sequence[Floats]) -> tuple[Floats, Floats]:
    points = np.concatenate([plane.xy(each[:, 0], each[:, 1]) for each in places])
    return np.nanmin(points, axis=0), np.nanmax(points, axis=0)
