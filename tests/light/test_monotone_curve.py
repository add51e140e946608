"""Our small monotone cubic against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from nightplan.light.monotone_curve import MonotoneCurve


def test_against_scipy() -> None:
    rng = np.random.default_rng(4)
    for count in (3, 5, 12):
        x = np.cumsum(rng.uniform(0.1, 3.0, count))
        for y in (rng.normal(size=count), np.cumsum(rng.uniform(0, 2, count)), np.zeros(count)):
            fine = np.linspace(x[0], x[-1], 301)
            assert MonotoneCurve(x, y)(fine) == pytest.approx(
                PchipInterpolator(x, y)(fine), abs=1e-12
            )


def test_ends_hold_and_bad_points_are_refused() -> None:
    curve = MonotoneCurve([0.0, 1.0, 3.0], [5.0, 4.0, 0.0])
    assert float(curve(-2.0)) == 5.0
    assert float(curve(9.0)) == 0.0
    with pytest.raises(ValueError, match="rising"):
        MonotoneCurve([0.0, 0.0, 1.0], [1.0, 2.0, 3.0])
