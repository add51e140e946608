"""Extinction against the shared table (Hayes & Latham 1975 and others; see its source line)."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.light.extinction import ozone_extinction, rayleigh_extinction, site_extinction

TOLERANCE_MAG = 0.002


def test_table(reference_rows) -> None:
    for row in reference_rows("extinction"):
        wavelength = float(row["nm"])
        for elevation in (0, 300, 1000, 2000, 2635, 4200):
            ours = float(site_extinction(elevation).total(wavelength))
            assert ours == pytest.approx(float(row[f"k_{elevation}m"]), abs=TOLERANCE_MAG)
        assert float(rayleigh_extinction(wavelength)) == pytest.approx(
            float(row["kR_0m"]), abs=TOLERANCE_MAG
        )
        assert float(ozone_extinction(wavelength)) == pytest.approx(
            float(row["kO3"]), abs=TOLERANCE_MAG
        )


@given(measured=st.floats(0.05, 1.5), elevation=st.floats(-400, 6000))
@settings(max_examples=100, deadline=None)
def test_measured_value_holds_at_550(measured: float, elevation: float) -> None:
    air = site_extinction(elevation, measured)
    assert air.v_mag_airmass == pytest.approx(measured, rel=1e-9)
    assert air.aerosol_550 >= 0.0
    assert float(air.total(450.0)) > float(air.total(650.0))


def test_measured_value_moves_the_aerosol_only() -> None:
    clean, hazy = site_extinction(300), site_extinction(300, 0.4)
    assert float(hazy.rayleigh(450.0)) == float(clean.rayleigh(450.0))
    extra = 0.4 - clean.v_mag_airmass
    assert float(hazy.total(550.0) - clean.total(550.0)) == pytest.approx(extra)
    assert float(hazy.total(450.0) - clean.total(450.0)) == pytest.approx(
        extra * (450 / 550) ** -1.3
    )
