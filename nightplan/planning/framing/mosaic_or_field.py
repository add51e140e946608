"""Whether a mosaic is worth its hours beside one field that cuts the target."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

PANEL_KEEPS = 0.8
"""What each further panel leaves of a picture's value, for every panel takes the hours anew: two
panels are worth it where one field holds under 89 % of the target, four under 72 % (ours)."""


def framing_value(coverage: ArrayLike, panels: ArrayLike) -> NDArray[np.float64]:
    """Value of a framing, 0 to 1: coverage² × 0.8^(panels − 1); shapes broadcast."""
    covered = np.asarray(coverage, dtype=float)
    return np.asarray(covered**2 * PANEL_KEEPS ** (np.asarray(panels, dtype=float) - 1.0))
