"""Photometric constants and conversions: AB, Vega V, nanolamberts, rayleighs.

Brightness of the sky in V is carried in nanolamberts (nL), for those add; magnitudes do not.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

PLANCK_ERG_S = 6.62607015e-27
"""Planck constant, erg s (SI 2019, exact)."""

AB_ZERO_ERG_S_CM2_HZ = 3.630780547701e-20
"""Flux density of AB magnitude 0: 10^(−48.6/2.5) (Oke & Gunn 1983, ApJ 266, 713, eq. 1)."""

V_ZERO_ERG_S_CM2_HZ = 3.636e-20
"""Flux density of V = 0 (Bessell, Castelli & Plez 1998, A&A 333, 231, table A2)."""

ARCSEC2_PER_SR = (180.0 / math.pi * 3600.0) ** 2
"""Square arcseconds in a steradian."""

PHOTONS_PER_RAYLEIGH = 1e6 / (4.0 * math.pi) / ARCSEC2_PER_SR
"""Photons/s/cm²/arcsec² of one rayleigh; 1 R = 10⁶/4π photons/s/cm²/sr
(Hunten, Roach & Chamberlain 1956, J. Atmos. Terr. Phys. 8, 345): 1.870e-6."""

_KS91_SCALE_NL = 34.08
_KS91_OFFSET = 20.7233
_KS91_SLOPE = 0.92104


def ab_photon_density(wavelength_nm: npt.ArrayLike, mag_ab: npt.ArrayLike = 0.0) -> Floats:
    """Photons/s/cm²/nm of a source of constant AB magnitude.

    N_λ = f_ν / (h λ), f_ν from Oke & Gunn 1983, eq. 1. Shapes broadcast.
    """
    wavelength = np.asarray(wavelength_nm, dtype=float)
    flux = AB_ZERO_ERG_S_CM2_HZ * 10.0 ** (-0.4 * np.asarray(mag_ab, dtype=float))
    return np.asarray(flux / (PLANCK_ERG_S * wavelength))


def nl_from_v_mag(v_mag_arcsec2: npt.ArrayLike) -> Floats:
    """Brightness in nL from V mag/arcsec² (Krisciunas & Schaefer 1991, PASP 103, 1033, eq. 1)."""
    v_mag = np.asarray(v_mag_arcsec2, dtype=float)
    return np.asarray(_KS91_SCALE_NL * np.exp(_KS91_OFFSET - _KS91_SLOPE * v_mag))


def v_mag_from_nl(brightness_nl: npt.ArrayLike) -> Floats:
    """V mag/arcsec² from nL: eq. 1 of Krisciunas & Schaefer 1991, inverted; inf for 0 nL."""
    with np.errstate(divide="ignore"):
        logarithm = np.log(np.asarray(brightness_nl, dtype=float) / _KS91_SCALE_NL)
    return np.asarray((_KS91_OFFSET - logarithm) / _KS91_SLOPE)
