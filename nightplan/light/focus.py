"""How far focus may drift, and how fast it does as the air cools.

Critical focus zones below are full widths along the axis, µm, for a beam of f-ratio N.
"""

from __future__ import annotations

import math


def zone_quarter_wave_um(focal_ratio: float, wavelength_nm: float = 550.0) -> float:
    """Zone in which the wavefront errs by at most λ/4: ±2 λ N², so 4 λ N² in all.

    Born & Wolf, Principles of Optics, sec. 8.8 (Rayleigh's criterion). For an unobstructed
    aperture and no seeing: the strictest form.
    """
    return 4.0 * wavelength_nm / 1000.0 * focal_ratio**2


def zone_airy_um(focal_ratio: float, wavelength_nm: float = 550.0) -> float:
    """Zone in which the geometric blur stays inside the Airy disk: 4.88 λ N².

    2 × 2.44 λ N × N; the form common among imagers (common practice, no source).
    """
    return 4.88 * wavelength_nm / 1000.0 * focal_ratio**2


def zone_seeing_um(
    focal_ratio: float, aperture_mm: float, seeing_arcsec: float, growth: float = 0.1
) -> float:
    """Zone in which defocus widens a seeing-limited star by at most the share `growth`.

    A defocus δ spreads light over a disk of δ/N; as a blur of that width in quadrature with the
    seeing's image w = seeing × N × aperture: √(w² + (δ/N)²) ≤ (1 + growth) w, so the zone is
    2 N w √((1 + growth)² − 1). The quadrature model of Goldman & Megdal 2010 ("In Perfect Focus",
    Sky & Telescope, Aug.), whose constants, from memory, give the same within a factor of two.
    """
    image_um = math.radians(seeing_arcsec / 3600.0) * focal_ratio * aperture_mm * 1000.0
    return 2.0 * focal_ratio * image_um * math.sqrt((1.0 + growth) ** 2 - 1.0)


def native_shift_um_per_k(tube_expansion_um_m_k: float, native_focal_length_mm: float) -> float:
    """Drift of the native focus from the drawtube: expansion × native focal length, µm/K.

    The tube that holds objective and focuser apart is about as long as the *native* focal length,
    whatever corrector is fitted. Glass and cell add to it; measure `steps_per_k` to have it all.
    """
    return tube_expansion_um_m_k * native_focal_length_mm / 1000.0


def sensor_shift_um_per_k(native_um_per_k: float, reduction: float) -> float:
    """Defocus at the sensor behind a corrector: native × reduction² (longitudinal magnification).

    Holds for a corrector that rides on the drawtube with the camera.
    """
    return native_um_per_k * reduction**2


def measured_shift_um_per_k(steps_per_k: float, step_um: float) -> float:
    """Native drift from a measured temperature coefficient: steps/K × drawtube travel a step."""
    return abs(steps_per_k) * step_um


def refocus_step_k(zone_um: float, sensor_um_per_k: float) -> float:
    """Change of temperature that uses up half the zone, from its middle to its edge, K.

    inf for a tube that does not expand.
    """
    return zone_um / 2.0 / sensor_um_per_k if sensor_um_per_k > 0.0 else math.inf


def refocus_count(temperature_dusk_c: float, temperature_dawn_c: float, step_k: float) -> int:
    """Focus runs that a steady change from dusk to dawn asks for, after the first."""
    if not math.isfinite(step_k) or step_k <= 0.0:
        return 0
    return int(abs(temperature_dawn_c - temperature_dusk_c) / step_k + 1e-9)
