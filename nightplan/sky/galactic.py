"""How far from the Milky Way's plane a place lies."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nightplan.sky.angles import separation_deg

GALACTIC_POLE_RA_DEG = 192.85948
GALACTIC_POLE_DEC_DEG = 27.12825
"""North galactic pole, ICRS (ESA 1997, *The Hipparcos Catalogue*, vol. 1, eq. 1.5.10)."""


def sin_galactic_latitude(ra_deg: ArrayLike, dec_deg: ArrayLike) -> NDArray[np.float64]:
    """|sin b| of ICRS places, in degrees; any shapes that broadcast."""
    distance = separation_deg(ra_deg, dec_deg, GALACTIC_POLE_RA_DEG, GALACTIC_POLE_DEC_DEG)
    return np.abs(np.cos(np.radians(distance)))
