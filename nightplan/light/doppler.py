"""How motion along the line of sight moves a wavelength."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from nightplan.light.photometry import Floats

SPEED_OF_LIGHT_KM_S = 299_792.458
_FASTEST = 0.999


def doppler_factor(radial_velocity_km_s: npt.ArrayLike) -> Floats:
    """Wavelength seen over wavelength sent, 1 + z = √((1 + β)/(1 − β)), β = v/c.

    The relativistic formula for motion along the line of sight, positive for a receding source;
    β is held at ±0.999. A velocity given as cz overstates the shift slightly above 3000 km/s.
    Shape of the velocities; NaN stays NaN.
    """
    beta = np.clip(
        np.asarray(radial_velocity_km_s, dtype=float) / SPEED_OF_LIGHT_KM_S, -_FASTEST, _FASTEST
    )
    return np.asarray(np.sqrt((1.0 + beta) / (1.0 - beta)))
