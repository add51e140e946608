"""Atmospheric extinction against wavelength and height above the sea.

k = Rayleigh + aerosol + ozone, mag per airmass.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightplan.light.photometry import Floats

REFERENCE_NM = 550.0
RAYLEIGH_SCALE_M = 7996.0
AEROSOL_SCALE_M = 1500.0
AEROSOL_SEA_LEVEL = 0.05
AEROSOL_EXPONENT = 1.3
DOBSON_CM2 = 2.687e16
"""Ozone molecules per cm² in one Dobson unit (definition)."""

# Ozone absorption in the Chappuis band: nm, 1e-21 cm² per molecule. From memory; with 300 DU it
# gives the shared table's seven values within 0.002 mag.
_OZONE_NM = np.array([
    330, 340, 360, 400, 420, 440, 450, 460, 470, 480, 490, 500, 510, 520, 530, 540, 550, 560, 570,
    575, 580, 590, 600, 605, 610, 620, 630, 640, 650, 660, 670, 680, 690, 700, 720, 750, 800, 850,
    900, 1050,
], dtype=float)  # fmt: skip
_OZONE_1E21_CM2 = np.array([
    7.0, 1.5, 0.02, 0.01, 0.04, 0.13, 0.18, 0.35, 0.42, 0.72, 0.83, 1.23, 1.58, 1.83, 2.55, 2.9,
    3.35, 3.92, 4.7, 4.8, 4.6, 4.62, 5.1, 5.06, 4.72, 3.97, 3.46, 2.93, 2.47, 2.05, 1.62, 1.3,
    1.05, 0.85, 0.58, 0.33, 0.15, 0.06, 0.03, 0.0,
])  # fmt: skip


def rayleigh_extinction(wavelength_nm: npt.ArrayLike, elevation_m: float = 0.0) -> Floats:
    """Extinction by air molecules, mag/airmass (Hayes & Latham 1975, ApJ 197, 593, eq. 2 and 3).

    9.4977e-3 λ⁻⁴ n² exp(−h/7.996 km), n = 0.23465 + 107.6/(146 − λ⁻²) + 0.93161/(41 − λ⁻²), λ in
    µm. Valid 0.3 to 1.1 µm; equation numbers from memory.
    """
    inverse2 = (np.asarray(wavelength_nm, dtype=float) / 1000.0) ** -2
    index = 0.23465 + 107.6 / (146.0 - inverse2) + 0.93161 / (41.0 - inverse2)
    height = np.exp(-elevation_m / RAYLEIGH_SCALE_M)
    return np.asarray(9.4977e-3 * inverse2**2 * index**2 * height)


def ozone_extinction(wavelength_nm: npt.ArrayLike, ozone_du: float = 300.0) -> Floats:
    """Extinction by ozone, mag/airmass: 1.0857 × column × cross-section (Chappuis band).

    The layer lies far above any site, so height does not matter. Valid 330 to 1050 nm.
    """
    cross_section = np.interp(np.asarray(wavelength_nm, dtype=float), _OZONE_NM, _OZONE_1E21_CM2)
    return np.asarray(2.5 / np.log(10.0) * ozone_du * DOBSON_CM2 * cross_section * 1e-21)


@dataclass(frozen=True)
class Extinction:
    """The air over one site. `aerosol_550` is in mag/airmass at 550 nm, at the site."""

    elevation_m: float
    aerosol_550: float
    aerosol_exponent: float = AEROSOL_EXPONENT
    ozone_du: float = 300.0
    clear_scale: float = 1.0

    def rayleigh(self, wavelength_nm: npt.ArrayLike) -> Floats:
        """Molecular term, mag/airmass, in the shape of `wavelength_nm`."""
        return rayleigh_extinction(wavelength_nm, self.elevation_m) * self.clear_scale

    def aerosol(self, wavelength_nm: npt.ArrayLike) -> Floats:
        """Aerosol term, mag/airmass: a power of wavelength (form of Green 1992, ICQ 14, 55)."""
        ratio = np.asarray(wavelength_nm, dtype=float) / REFERENCE_NM
        return np.asarray(self.aerosol_550 * ratio**-self.aerosol_exponent)

    def total(self, wavelength_nm: npt.ArrayLike) -> Floats:
        """k, mag/airmass, in the shape of `wavelength_nm`."""
        ozone = ozone_extinction(wavelength_nm, self.ozone_du) * self.clear_scale
        return self.rayleigh(wavelength_nm) + self.aerosol(wavelength_nm) + ozone

    @property
    def v_mag_airmass(self) -> float:
        """k at 550 nm, the figure that the V equations use."""
        return float(self.total(REFERENCE_NM))


def site_extinction(
    elevation_m: float,
    measured_v_mag_airmass: float | None = None,
    aerosol_exponent: float = AEROSOL_EXPONENT,
    ozone_du: float = 300.0,
) -> Extinction:
    """Extinction of a site from its height, or from a measured V value.

    Without a measurement the aerosol term is 0.05 (λ/µm)^−1.3 exp(−h/1.5 km) mag/airmass. A
    measured value at 550 nm sets the aerosol term, the part that changes from night to night;
    where it is below what clean air of that height already takes, clean air is scaled down.

    Parameters
    ----------
    elevation_m : float
        Height above the sea.
    measured_v_mag_airmass : float or None
        Measured k in V, above 0.
    """
    aerosol = AEROSOL_SEA_LEVEL * (REFERENCE_NM / 1000.0) ** -aerosol_exponent
    aerosol *= float(np.exp(-elevation_m / AEROSOL_SCALE_M))
    scale = 1.0
    if measured_v_mag_airmass is not None:
        clean = float(
            rayleigh_extinction(REFERENCE_NM, elevation_m)
            + ozone_extinction(REFERENCE_NM, ozone_du)
        )
        aerosol = max(0.0, measured_v_mag_airmass - clean)
        scale = min(1.0, measured_v_mag_airmass / clean)
    return Extinction(elevation_m, aerosol, aerosol_exponent, ozone_du, scale)
