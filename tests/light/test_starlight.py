"""The light of all stars of a field."""

from __future__ import annotations

import numpy as np
import pytest

from nightplan.light.starlight import integrated_starlight_v_mag_arcsec2


def test_against_allens_means_over_longitude() -> None:
    # S10(V) at |b| = 90, 60, 40, 20, 10 and 5 deg: 25, 32, 46, 90, 150, 220 (Allen, Astrophysical
    # Quantities, integrated light of stars; from memory, so within 0.35 mag only).
    b_deg = np.array([90.0, 60.0, 40.0, 20.0, 10.0, 5.0])
    expected = 27.78 - 2.5 * np.log10([25.0, 32.0, 46.0, 90.0, 150.0, 220.0])
    found = integrated_starlight_v_mag_arcsec2(np.sin(np.radians(b_deg)))
    assert found == pytest.approx(expected, abs=0.35)


def test_the_plane_is_finite_and_brightest() -> None:
    found = integrated_starlight_v_mag_arcsec2([0.0, 0.05, 0.3, 1.0])
    assert np.isfinite(found).all()
    assert (np.diff(found) >= 0.0).all()
