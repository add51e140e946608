"""What a filter lets through: shape, blue shift in a converging beam, lines, photon rates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightplan.light.doppler import doppler_factor
from nightplan.light.photometry import Floats, ab_photon_density
from nightplan.light.spectra import Spectrum


@dataclass(frozen=True)
class Passband:
    """Share of photons that come through against wavelength in air, nm; both shape (W,)."""

    wavelength_nm: Floats
    response: Floats

    def at(self, wavelength_nm: npt.ArrayLike) -> Floats:
        """Response at each wavelength; zero outside the grid."""
        where = np.asarray(wavelength_nm, dtype=float)
        return np.interp(where, self.wavelength_nm, self.response, 0.0, 0.0)

    def plus(self, other: Passband) -> Passband:
        """The light that comes through either of two bands of one filter."""
        # A hair outside its ends a band lets nothing through, however the grids interleave.
        ends = [
            end for one in (self, other)
            for end in (np.nextafter(one.wavelength_nm[0], 0.0),
                        np.nextafter(one.wavelength_nm[-1], np.inf))
        ]  # fmt: skip
        grid = np.union1d(np.concatenate((self.wavelength_nm, other.wavelength_nm)), ends)
        return Passband(grid, self.at(grid) + other.at(grid))

    def times(self, wavelength_nm: npt.ArrayLike, share: npt.ArrayLike) -> Passband:
        """This passband behind another element given as a curve (linear, ends held)."""
        curve = np.interp(self.wavelength_nm, np.asarray(wavelength_nm), np.asarray(share))
        return Passband(self.wavelength_nm, self.response * curve)

    @property
    def effective_nm(self) -> float:
        """Mean wavelength weighted by the response, nm."""
        weight = np.trapezoid(self.response, self.wavelength_nm)
        return float(np.trapezoid(self.response * self.wavelength_nm, self.wavelength_nm) / weight)

    def rate(self, spectrum: Spectrum) -> float:
        """Photons/s/cm²/arcsec² of a spectrum, continuum and lines, through this passband."""
        continuum = np.trapezoid(
            spectrum.density_at(self.wavelength_nm) * self.response, self.wavelength_nm
        )
        return float(continuum + np.sum(spectrum.line_rate * self.at(spectrum.line_nm)))

    def ab_zero_rate(self) -> float:
        """Photons/s/cm² of AB magnitude 0 through this passband."""
        density = ab_photon_density(self.wavelength_nm) * self.response
        return float(np.trapezoid(density, self.wavelength_nm))

    def ab_mag(self, rate: npt.ArrayLike) -> Floats:
        """AB magnitude, mean over the passband, of photons/s/cm² counted through it."""
        with np.errstate(divide="ignore"):
            return np.asarray(-2.5 * np.log10(np.asarray(rate) / self.ab_zero_rate()))


def filter_passband(
    centre_nm: float,
    width_nm: float,
    peak: float = 1.0,
    steepness: float | None = None,
    focal_ratio: float | None = None,
    effective_index: float = 2.0,
    obstruction_ratio: float = 0.0,
) -> Passband:
    """Passband of an interference filter, flat or in a converging beam.

    T(λ) = peak / (1 + |2(λ − centre)/width|^(2 m)), the form of an m-cavity filter (m = 1 is a
    Lorentzian; `steepness` m of None takes 3 below 20 nm width, else 12, near a top hat): common
    practice, no source. In a cone each ray at angle θ sees the filter at λ/√(1 − sin²θ/n²)
    (Lissberger & Wilcock 1959, JOSA 49, 126; n is the filter's effective index), weighted by the
    ring of pupil it comes from, tan θ from `obstruction_ratio` to 1 times 1/(2 f-ratio). So the
    passband moves to the blue and its edges smear.

    Parameters
    ----------
    centre_nm, width_nm, peak : float
        Centre, full width at half maximum and peak share at normal incidence.
    focal_ratio : float or None
        f-ratio at the filter; None leaves the beam parallel.
    effective_index : float
        Effective refractive index of the coating, about 1.6 to 2.1.
    obstruction_ratio : float
        Diameter of the central obstruction over the aperture, 0 to below 1.
    """
    order = steepness if steepness is not None else (3.0 if width_nm < 20.0 else 12.0)
    shift = 1.0
    angles = np.array([0.0])
    weights = np.array([1.0])
    if focal_ratio is not None:
        nodes, node_weights = np.polynomial.legendre.leggauss(12)
        low = obstruction_ratio**2
        radius2 = low + (1.0 - low) * 0.5 * (nodes + 1.0)
        angles = np.arctan(np.sqrt(radius2) / (2.0 * focal_ratio))
        weights = 0.5 * node_weights
        edge = np.arctan(0.5 / focal_ratio)
        shift = float(np.sqrt(1.0 - (np.sin(edge) / effective_index) ** 2))
    # the wings of three cavities fall to 1e-4 at 2.3 widths from the centre
    reach = width_nm * (2.3 if order < 6.0 else 0.9)
    step = width_nm / 100.0
    grid = np.arange(centre_nm * shift - reach, centre_nm + reach + step, step)
    seen = grid / np.sqrt(1.0 - (np.sin(angles)[:, None] / effective_index) ** 2)
    profile = peak / (1.0 + np.abs(2.0 * (seen - centre_nm) / width_nm) ** (2.0 * order))
    return Passband(grid, np.asarray(weights @ profile))


def top_hat(low_nm: float, high_nm: float, peak: float = 1.0) -> Passband:
    """Passband of constant response between two wavelengths, nm."""
    count = max(201, int((high_nm - low_nm) / 0.5) + 1)
    grid = np.linspace(low_nm, high_nm, count)
    return Passband(grid, np.full_like(grid, peak))


def line_transmission(
    passband: Passband, line_nm: npt.ArrayLike, radial_velocity_km_s: npt.ArrayLike = 0.0
) -> Floats:
    """Share of a line that comes through, moved by the source's radial velocity.

    Velocity as in `doppler_factor`; shapes broadcast.
    """
    return passband.at(np.asarray(line_nm) * doppler_factor(radial_velocity_km_s))
