"""How much air light crosses: the paths that the sky-brightness formulas use."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from nightplan.light.photometry import Floats


def scattering_air_path(altitude_deg: npt.ArrayLike) -> Floats:
    """X = (1 − 0.96 sin²Z)^−½ (Krisciunas & Schaefer 1991, eq. 3); altitude airless, deg.

    For the light of the sky itself, which comes from a layer and not from beyond the air: 5 on
    the horizon. Altitudes below the horizon get the horizon's value.
    """
    sin_altitude = np.sin(np.radians(np.maximum(np.asarray(altitude_deg, dtype=float), 0.0)))
    return np.asarray(1.0 / np.sqrt(0.04 + 0.96 * sin_altitude**2))


def smooth_step(value: npt.ArrayLike, low: float, high: float) -> Floats:
    """0 up to `low`, 1 from `high` on, 3t² − 2t³ between."""
    t = np.clip((np.asarray(value, dtype=float) - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))
