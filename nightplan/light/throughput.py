"""From photons at the aperture to electrons in a pixel.

A reducer of factor r turns f/N into f/(rN). Per pixel it gathers 1/r² as much sky and as much of
an extended target: f/7 to f/5.25 (r = 0.75) gives 1.78 times the electrons per second in a pixel,
so read noise is drowned 1.78 times sooner. Per object, or per square arcsecond, it gathers
nothing: the aperture is the same, and only the reducer's own transmission (say 0.96 for 0.97)
counts. Under sky noise the signal-to-noise ratio of a square arcsecond is that of the aperture;
what the reducer buys is field, shorter subs, and freedom from read noise in narrow filters.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from nightplan.light.passband import Passband
from nightplan.light.photometry import Floats

ARCSEC_PER_RADIAN = 180.0 / math.pi * 3600.0


def collecting_area_cm2(
    aperture_mm: float, obstruction_mm: float = 0.0, vanes: int = 0, vane_mm: float = 0.0
) -> float:
    """Clear area of an aperture with a central obstruction, both diameters in mm.

    Each of the vanes that hold the obstruction is a strip from its edge to the aperture's.
    """
    ring = math.pi / 4.0 * (aperture_mm**2 - obstruction_mm**2)
    spider = vanes * vane_mm * (aperture_mm - obstruction_mm) / 2.0
    return (ring - spider) / 100.0


def image_scale_arcsec_px(pixel_um: float, focal_length_mm: float) -> float:
    """Arcseconds a pixel spans on the axis: 206,265 × pixel / focal length (small angle)."""
    return ARCSEC_PER_RADIAN * pixel_um / 1000.0 / focal_length_mm


def system_response(
    filter_passband: Passband,
    efficiency_nm: npt.ArrayLike,
    efficiency: npt.ArrayLike,
    optics_transmission: float,
) -> Passband:
    """Electrons per photon at the aperture against wavelength.

    Filter × quantum efficiency (curve linear between its points, ends held) × grey transmission
    of optics and corrector.
    """
    seen = filter_passband.times(efficiency_nm, efficiency)
    return Passband(seen.wavelength_nm, seen.response * optics_transmission)


def rate_per_pixel(
    rate_s_cm2_arcsec2: npt.ArrayLike, area_cm2: float, scale_arcsec_px: float
) -> Floats:
    """Electrons/s/pixel of a surface that gives electrons/s/cm²/arcsec²; shapes kept."""
    return np.asarray(np.asarray(rate_s_cm2_arcsec2) * (area_cm2 * scale_arcsec_px**2))


def star_rate_e_s(
    response: Passband, mag_ab: npt.ArrayLike, area_cm2: float, extinction_mag: npt.ArrayLike = 0.0
) -> Floats:
    """Electrons/s of a whole star of an AB magnitude, mean over the passband.

    `extinction_mag` is k X, taken off above the air's top. For G stars V is AB within 0.05 mag
    in a luminance filter.
    """
    dimmed = np.asarray(mag_ab, dtype=float) + np.asarray(extinction_mag, dtype=float)
    return np.asarray(response.ab_zero_rate() * area_cm2 * 10.0 ** (-0.4 * dimmed))


def peak_pixel_share(
    fwhm_arcsec: float, scale_arcsec_px: float, aperture_mm: float, wavelength_nm: float = 550.0
) -> float:
    """Share of a star's light in its brightest pixel, star centred on the pixel.

    A round Gaussian of the seeing's FWHM and the aperture's (1.03 λ/D) in quadrature, integrated
    over the square pixel: erf(s / (2 √2 σ))². Guiding errors and optics only make it smaller.
    """
    diffraction = 1.03 * wavelength_nm * 1e-6 / aperture_mm * ARCSEC_PER_RADIAN
    sigma = math.hypot(fwhm_arcsec, diffraction) / (2.0 * math.sqrt(2.0 * math.log(2.0)))
    return math.erf(scale_arcsec_px / (2.0 * math.sqrt(2.0) * sigma)) ** 2
