"""Relative optical airmass by published formulas; each takes the altitude its paper defines.

*Seen* is the refracted altitude, *airless* the geometric one. Below the horizon of that altitude
the answer is +inf (no light arrives, and `10 ** (-0.4 k X)` gives 0); NaN only for NaN.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nightplan.arrays import Floats


def _above(altitude_deg: ArrayLike) -> tuple[Floats, NDArray[np.bool_]]:
    altitude = np.asarray(altitude_deg, dtype=np.float64)
    below = altitude < 0.0
    return np.where(below, 0.0, altitude), below


def kasten_young(seen_altitude_deg: ArrayLike) -> Floats:
    """Kasten & Young 1989, Applied Optics 28, 4735, eq. 3; seen altitude 0 to 90, within 0.5 %.

    1 at the zenith but for 0.0003, 37.92 on the horizon.
    """
    altitude, below = _above(seen_altitude_deg)
    airmass = 1.0 / (np.sin(np.radians(altitude)) + 0.50572 * np.power(altitude + 6.07995, -1.6364))
    return np.where(below, np.inf, airmass)


def young(airless_altitude_deg: ArrayLike) -> Floats:
    """Young 1994, Applied Optics 33, 1108, eq. 5; *airless* altitude 0 to 90; 31.7 at 0 degrees."""
    altitude, below = _above(airless_altitude_deg)
    c = np.sin(np.radians(altitude))
    upper = (1.002432 * c + 0.148386) * c + 0.0096467
    lower = ((c + 0.149864) * c + 0.0102963) * c + 0.000303978
    return np.where(below, np.inf, upper / lower)
