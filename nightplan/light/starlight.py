"""The band of faint stars that a cluster has to stand out of."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

_POLE_S10 = 27.0
_PLANE_S10 = 240.0
_S10_V_MAG_ARCSEC2 = 27.78
"""One star of V = 10 per square degree: 10 + 2.5 log10(3600²)."""


def integrated_starlight_v_mag_arcsec2(sin_galactic_latitude: ArrayLike) -> NDArray[np.float64]:
    """Mean light of all stars of a field, V mag/arcsec²; of the shape of |sin b|.

    A plane layer of stars, 27 S10 / |sin b| (27.0 at the poles), held at 240 S10 near the plane,
    where dust ends the view. Both figures from memory, after the mean over longitude in Allen,
    *Astrophysical Quantities* (3rd ed., section on the integrated light of stars) and Leinert et
    al. 1998, A&AS 127, 1, sec. 10; single fields differ from the mean by a factor of two.
    """
    sine = np.maximum(np.abs(np.asarray(sin_galactic_latitude, dtype=np.float64)), 1e-6)
    return _S10_V_MAG_ARCSEC2 - 2.5 * np.log10(np.minimum(_POLE_S10 / sine, _PLANE_S10))
