"""Constants and conversions against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from nightplan.light.passband import Passband
from nightplan.light.photometry import (
    PHOTONS_PER_RAYLEIGH,
    PLANCK_ERG_S,
    ab_photon_density,
    nl_from_v_mag,
    v_mag_from_nl,
)
from nightplan.light.spectra import solar_spectrum, v_band_rate, v_zero_rate


def test_v_zero_star_has_about_1000_photons_by_bessell() -> None:
    # Route 1, Bessell, Castelli & Plez 1998 table A2: f_nu 3.636e-20 at the effective 545 nm,
    # f_lambda 363.1e-11 erg/s/cm2/A; the f_lambda figure is independent of our AB route.
    photons_a = 363.1e-11 / (6.62607e-27 * 2.99792458e10 / 545e-7)
    ours = float(ab_photon_density(545.0, -0.0015)) / 10.0
    assert ours == pytest.approx(photons_a, rel=0.015)
    assert float(ab_photon_density(550.0)) / 10.0 == pytest.approx(1000.0, rel=0.03)


def test_vega_has_about_1000_photons_by_its_spectrum(reference_rows) -> None:
    # Route 2, the CALSPEC spectrum of Vega, V = 0.03 (Bohlin 2014); tolerance 2 %.
    rows = reference_rows("vega_calspec")
    wavelength = np.array([float(row["wavelength_nm"]) for row in rows])
    flux = np.array([float(row["flux_erg_s_cm2_a"]) for row in rows])
    photons_a = flux * wavelength * 1e-7 / (6.62607015e-27 * 2.99792458e10)
    at_550 = float(np.interp(550.0, wavelength, photons_a))
    assert at_550 == pytest.approx(1000.0, rel=0.02)
    assert at_550 * 10 ** (0.4 * 0.03) == pytest.approx(
        float(ab_photon_density(550.0)) / 10.0, rel=0.03
    )


def test_vega_through_our_v_passband_is_v_003(reference_rows) -> None:
    # Bessell et al. 1998: V(Vega) = 0.03 on their zero point; tolerance 0.03 mag.
    from nightplan.light.spectra import Spectrum

    rows = reference_rows("vega_calspec")
    wavelength = np.array([float(row["wavelength_nm"]) for row in rows])
    flux = np.array([float(row["flux_erg_s_cm2_a"]) for row in rows])
    density = flux * 10.0 * wavelength * 1e-7 / (6.62607015e-27 * 2.99792458e10)
    vega = Spectrum("Vega", wavelength, density, np.zeros(0), np.zeros(0))
    assert -2.5 * np.log10(v_band_rate(vega) / v_zero_rate()) == pytest.approx(0.0, abs=0.03)


def test_sun_is_v_minus_26_76() -> None:
    # Willmer 2018 (ApJS 236, 47): V of the sun -26.76 (Vega). The shipped table in W/m2/nm.
    from nightplan.light import spectra

    table = spectra._table("solar.csv")
    wavelength = table["wavelength_nm"]
    # W/m2/nm -> photons/s/cm2/nm
    density = table["irradiance_w_m2_nm"] * 1e-4 * wavelength * 1e-9 / (6.62607015e-34 * 2.998e8)
    band = Passband(
        spectra._table("passband_v.csv")["wavelength_nm"],
        spectra._table("passband_v.csv")["response"],
    )
    fine = np.arange(470.0, 700.0, 0.5)
    rate = np.trapezoid(np.interp(fine, wavelength, density) * band.at(fine), fine)
    assert -2.5 * np.log10(rate / v_zero_rate()) == pytest.approx(-26.76, abs=0.03)
    assert v_band_rate(solar_spectrum()) == pytest.approx(v_zero_rate(), rel=1e-12)


def test_rayleigh() -> None:
    # One rayleigh of H-alpha is 5.67e-18 erg/s/cm2/arcsec2 (Reynolds's 2.41e-7 erg/s/cm2/sr).
    photon_erg = PLANCK_ERG_S * 2.99792458e10 / 656.28e-7
    assert 5.67e-18 / photon_erg / PHOTONS_PER_RAYLEIGH == pytest.approx(1.0, rel=0.005)
    assert pytest.approx(1e6 / (4 * np.pi) / 4.254517e10, rel=1e-6) == PHOTONS_PER_RAYLEIGH


def test_nanolamberts() -> None:
    # K&S 1991 quote a dark sky of 21.587 mag/arcsec2 as 79.0 nL.
    assert float(nl_from_v_mag(21.587)) == pytest.approx(79.0, rel=0.002)
    assert float(v_mag_from_nl(nl_from_v_mag(20.3))) == pytest.approx(20.3, abs=1e-12)
    # 21.6 mag/arcsec2 is about 0.25 mcd/m2 (common practice: 10.8e4 x 10^(-0.4 m) cd/m2)
    # with 1 lambert = 1e4/pi cd/m2
    candela_m2 = float(nl_from_v_mag(21.6)) * 1e-9 * 1e4 / np.pi
    assert candela_m2 == pytest.approx(10.8e4 * 10 ** (-0.4 * 21.6), rel=0.03)
