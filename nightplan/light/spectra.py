"""The spectra that a deep-sky filter meets: sun, moon, natural night sky, street lamps.

Every spectrum is a continuum on a grid plus a list of lines, scaled to V = 0 mag/arcsec² (Vega),
so a sky of V mag/arcsec² is the spectrum times 10^(−0.4 V). Densities are photons/s/cm²/nm per
arcsec², lines photons/s/cm² per arcsec². Wavelengths are in air.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from nightplan.light.night_sky_lines import night_sky_lines
from nightplan.light.photometry import (
    AB_ZERO_ERG_S_CM2_HZ,
    PHOTONS_PER_RAYLEIGH,
    V_ZERO_ERG_S_CM2_HZ,
    Floats,
    ab_photon_density,
)

_DATA = Path(__file__).parent / "data"
REFERENCE_NM = 550.0


@dataclass(frozen=True)
class Spectrum:
    """A continuum, photons/s/cm²/nm/arcsec², and lines, photons/s/cm²/arcsec².

    `wavelength_nm` and `density` have shape (W,), `line_nm` and `line_rate` shape (M,). Outside
    the grid the continuum is zero.
    """

    name: str
    wavelength_nm: Floats
    density: Floats
    line_nm: Floats
    line_rate: Floats

    def density_at(self, wavelength_nm: Floats) -> Floats:
        """Continuum photons/s/cm²/nm/arcsec² at each wavelength, linear between grid points."""
        return np.interp(wavelength_nm, self.wavelength_nm, self.density, 0.0, 0.0)

    def scaled(self, factor: float) -> Spectrum:
        """The same spectrum, brighter by `factor`."""
        return replace(self, density=self.density * factor, line_rate=self.line_rate * factor)


@cache
def _table(name: str) -> dict[str, Floats]:
    with (_DATA / name).open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(line for line in stream if not line.startswith("#")))
    return {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}


def v_band_rate(spectrum: Spectrum) -> float:
    """Photons/s/cm²/arcsec² through the V passband (Bessell 1990, PASP 102, 1181)."""
    table = _table("passband_v.csv")
    fine = np.arange(470.0, 700.01, 0.25)
    response = np.interp(fine, table["wavelength_nm"], table["response"])
    at_lines = np.interp(spectrum.line_nm, table["wavelength_nm"], table["response"], 0.0, 0.0)
    continuum = np.trapezoid(spectrum.density_at(fine) * response, fine)
    return float(continuum + np.sum(at_lines * spectrum.line_rate))


def v_zero_rate() -> float:
    """Photons/s/cm² of a V = 0 source through the V passband.

    Constant f_ν of 3.636e-20 erg/s/cm²/Hz (Bessell, Castelli & Plez 1998, table A2): V is
    0.0015 mag brighter than AB.
    """
    fine = np.arange(470.0, 700.01, 0.25)
    flat = ab_photon_density(fine) * (V_ZERO_ERG_S_CM2_HZ / AB_ZERO_ERG_S_CM2_HZ)
    none = np.zeros(0)
    return v_band_rate(Spectrum("V = 0", fine, flat, none, none))


def _at_v_zero(spectrum: Spectrum) -> Spectrum:
    return spectrum.scaled(v_zero_rate() / v_band_rate(spectrum))


def _from_power(
    name: str,
    wavelength_nm: Floats,
    power: Floats,
    line_nm: Floats | None = None,
    line_power: Floats | None = None,
) -> Spectrum:
    """A spectrum of V = 0 from power per nm and the power of lines; photons carry a factor λ."""
    lines = np.zeros(0) if line_nm is None else line_nm
    powers = np.zeros(0) if line_power is None else line_power
    return _at_v_zero(Spectrum(name, wavelength_nm, power * wavelength_nm, lines, powers * lines))


@cache
def solar_spectrum() -> Spectrum:
    """Sunlight above the air, scaled to V = 0: ASTM G173-03 (Gueymard 2004), 330 to 1050 nm."""
    table = _table("solar.csv")
    return _from_power("sunlight", table["wavelength_nm"], table["irradiance_w_m2_nm"])


@cache
def moon_spectrum() -> Spectrum:
    """Moonlight above the air, scaled to V = 0: sunlight × (λ/550 nm).

    The reddening stands for the moon's rising albedo (as in Kieffer & Stone 2005, AJ 129, 2887;
    the single power is a simplification, good to about 0.05 mag from 450 to 670 nm).
    """
    table = _table("solar.csv")
    wavelength = table["wavelength_nm"]
    power = table["irradiance_w_m2_nm"] * wavelength / REFERENCE_NM
    return _from_power("moonlight", wavelength, power)


@cache
def natural_sky_spectrum() -> Spectrum:
    """The moonless sky without lamps, scaled to V = 0: continuum plus airglow lines.

    Sum of three continua and the lines of `night_sky_lines`, in the proportions of a sky of
    V = 22.0: zodiacal light 80 S10 (mid-latitude mean of Leinert et al. 1998, A&AS 127, 1),
    sunlight in colour; faint stars and their scattered light 40 S10, sunlight reddened by
    (λ/550 nm)^0.5; airglow continuum in R/Å, 0.25 in the blue and rising to 0.5 in the red.
    The S10 figures and the airglow nodes are from memory, the nodes chosen so that the
    colours lie between those of two published sky models and within 0.25 mag of Benn & Ellison
    1998 (La Palma, quiet sun); tests/light/test_dark_sky.py holds both. Good to about
    0.2 mag in a narrow filter, for airglow itself changes by more from night to night.
    """
    sun = solar_spectrum()
    wavelength = sun.wavelength_nm
    # one S10 unit: one star of V = 10 per square degree
    s10 = sun.density * 10.0 ** (-0.4 * (10.0 + 2.5 * np.log10(3600.0**2)))
    faint_stars = (wavelength / REFERENCE_NM) ** 0.5
    airglow_r_a = np.interp(wavelength, *_AIRGLOW_CONTINUUM)
    airglow = airglow_r_a * 10.0 * PHOTONS_PER_RAYLEIGH
    continuum = s10 * (80.0 + 40.0 * faint_stars) + airglow
    line_nm, line_rayleigh = night_sky_lines()
    rate = line_rayleigh * PHOTONS_PER_RAYLEIGH
    return _at_v_zero(Spectrum("natural night sky", wavelength, continuum, line_nm, rate))


_AIRGLOW_CONTINUUM = (
    np.array([330.0, 400.0, 450.0, 500.0, 550.0, 600.0, 650.0, 700.0, 800.0, 1050.0]),
    np.array([0.30, 0.25, 0.25, 0.28, 0.25, 0.40, 0.50, 0.52, 0.60, 1.2]),
)
"""Airglow continuum: wavelength in nm, brightness in R/Å (from memory, see above)."""


@cache
def led_spectrum() -> Spectrum:
    """White street LED of about 4100 K, scaled to V = 0: CIE 015:2018 illuminant LED-B3.

    Warmer lamps (2700 K) hold 0.65 mag less blue and 0.5 mag more H-alpha at the same V. The
    table ends at `LAMP_END_NM`, where the lamp's light has all but ended too.
    """
    table = _table("lamps.csv")
    return _from_power("led", table["wavelength_nm"], table["led_b3"])


LAMP_END_NM = 780.0
"""Where the lamps' tables end: beyond, no lamp light is known (sodium lamps shine at 819 nm)."""

# First and last 5 nm step of the sodium table that a doublet fills, and its lines in air (Na I and
# K I, NIST ASD, from memory), the second twice as strong (statistical weights).
_SODIUM_DOUBLETS = (
    (450.0, 450.0, 449.42, 449.77),
    (465.0, 470.0, 466.48, 466.86),
    (475.0, 475.0, 474.79, 475.18),
    (495.0, 500.0, 497.85, 498.28),
    (515.0, 515.0, 514.88, 515.34),
    (565.0, 570.0, 568.26, 568.82),
    (615.0, 615.0, 615.42, 616.08),
    (765.0, 770.0, 769.90, 766.49),
)


def _parted_lines(wavelength_nm: Floats, power: Floats) -> tuple[Floats, Floats, Floats]:
    """Continuum, line wavelengths and line powers of a table that smears lines over its steps.

    What stands above the straight line between the neighbours of a doublet's steps is its power.
    """
    continuum = power.copy()
    step_nm = float(wavelength_nm[1] - wavelength_nm[0])
    lines, powers = [], []
    for first, last, weak, strong in _SODIUM_DOUBLETS:
        filled = (wavelength_nm >= first) & (wavelength_nm <= last)
        base = np.interp(wavelength_nm[filled], wavelength_nm[~filled], continuum[~filled])
        excess = float(np.sum(power[filled] - base)) * step_nm
        continuum[filled] = base
        lines += [weak, strong]
        powers += [excess / 3.0, excess * 2.0 / 3.0]
    return continuum, np.array(lines), np.array(powers)


@cache
def sodium_spectrum() -> Spectrum:
    """Ordinary high-pressure sodium lamp, scaled to V = 0: CIE 015:2018 illuminant HP1.

    The narrow doublets are lines at their wavelengths; the table's 5 nm steps would smear the one
    at 498 nm into an O III filter. The broad, self-reversed D lines stay in the continuum. The
    colour-enhanced lamp (HP2) is 1.9 mag brighter in H-alpha at the same V.
    """
    table = _table("lamps.csv")
    wavelength = table["wavelength_nm"]
    continuum, line_nm, line_power = _parted_lines(wavelength, table["sodium_hp1"])
    return _from_power("sodium", wavelength, continuum, line_nm, line_power)
