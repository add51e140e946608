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
