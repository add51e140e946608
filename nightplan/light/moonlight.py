"""Moonlight scattered by the air: Krisciunas & Schaefer 1991 (PASP 103, 1033), and beyond.

`moonlight_v_nl` is the paper as printed. `moonlight_used_v_nl` adds the moon's distance, the
opposition surge and, for a moon below 30°, single scattering through a spherical atmosphere.
`scattering_ratios` carry both scattering terms to other wavelengths. The paper puts its own
accuracy at 8 to 23 %.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from nightplan.light.air_path import scattering_air_path
from nightplan.light.extinction import REFERENCE_NM, Extinction
from nightplan.light.low_moon import MOON_LIT_DEG, low_moon_factor, moon_air_path
from nightplan.light.photometry import Floats

MEAN_DISTANCE_KM = 384_400.0
SURGE_DEG = 7.0
SURGE_SHARE = 0.35
NEAREST_DEG = 0.25
_TWICE = 0.4


def moon_illuminance(phase_angle_deg: npt.ArrayLike) -> Floats:
    """I* = 10^(−0.4 (3.84 + 0.026 |α| + 4e-9 α⁴)) (K&S 1991, eq. 20), footcandles.

    Above the air, at mean distance, without the opposition surge. Phase angle α in degrees,
    0 at full moon; fitted for |α| up to about 120°.
    """
    alpha = np.abs(np.asarray(phase_angle_deg, dtype=float))
    return np.asarray(10.0 ** (-0.4 * (3.84 + 0.026 * alpha + 4e-9 * alpha**4)))


def rayleigh_scattering(separation_deg: npt.ArrayLike) -> Floats:
    """Rayleigh part of f(ρ): 10^5.36 (1.06 + cos²ρ) (K&S 1991, eq. 17), ρ in degrees."""
    cosine = np.cos(np.radians(np.asarray(separation_deg, dtype=float)))
    return np.asarray(10.0**5.36 * (1.06 + cosine * cosine))


def mie_scattering(separation_deg: npt.ArrayLike) -> Floats:
    """Mie part of f(ρ): 10^(6.15 − ρ/40) from 10° on (eq. 18), 6.2e7 ρ⁻² nearer (eq. 19).

    ρ in degrees; the moon's own disk (below 0.25°) gets the value of its limb.
    """
    rho = np.maximum(np.asarray(separation_deg, dtype=float), NEAREST_DEG)
    far = np.exp((6.15 - rho / 40.0) * np.log(10.0))
    return np.asarray(np.where(rho >= 10.0, far, 6.2e7 / (rho * rho)))


def moonlight_v_nl(
    phase_angle_deg: npt.ArrayLike,
    moon_altitude_deg: npt.ArrayLike,
    altitude_deg: npt.ArrayLike,
    separation_deg: npt.ArrayLike,
    extinction_v: float,
) -> Floats:
    """Scattered moonlight in V, nL, as printed: K&S 1991, eq. 3 and 15 to 21.

    B = f(ρ) I* 10^(−0.4 k X(Zm)) (1 − 10^(−0.4 k X(Z))). Airless altitudes and separation in
    degrees, `extinction_v` in mag/airmass; shapes broadcast. Zero while the moon's centre is
    below the horizon.
    """
    moon_altitude = np.asarray(moon_altitude_deg, dtype=float)
    scattered = rayleigh_scattering(separation_deg) + mie_scattering(separation_deg)
    brightness = (
        scattered
        * moon_illuminance(phase_angle_deg)
        * 10.0 ** (-0.4 * extinction_v * scattering_air_path(moon_altitude))
        * (1.0 - 10.0 ** (-0.4 * extinction_v * scattering_air_path(altitude_deg)))
    )
    return np.where(moon_altitude > 0.0, brightness, 0.0)


def opposition_surge(phase_angle_deg: npt.ArrayLike) -> Floats:
    """Factor on eq. 20 near full moon: 1 at 7°, 1.35 at 0°, linear between.

    Whitaker 1969 as quoted by K&S 1991 (sec. 2): the full moon is 35 % brighter than eq. 20 has
    it. The straight line between is ours.
    """
    alpha = np.abs(np.asarray(phase_angle_deg, dtype=float))
    return np.asarray(1.0 + SURGE_SHARE * np.clip(1.0 - alpha / SURGE_DEG, 0.0, 1.0))


def moon_illuminance_used(
    phase_angle_deg: npt.ArrayLike,
    moon_altitude_deg: npt.ArrayLike,
    moon_distance_km: npt.ArrayLike,
) -> Floats:
    """I* above the air with distance and surge, shapes broadcast.

    (384,400 km / d)² × eq. 20 × surge; zero for a moon below `MOON_LIT_DEG`, whose light no longer
    reaches the air overhead.
    """
    distance = MEAN_DISTANCE_KM / np.asarray(moon_distance_km, dtype=float)
    lit = np.asarray(moon_altitude_deg, dtype=float) > MOON_LIT_DEG
    surge = opposition_surge(phase_angle_deg)
    return np.asarray(moon_illuminance(phase_angle_deg) * surge * distance**2 * lit)


def moonlight_used_v_nl(
    phase_angle_deg: npt.ArrayLike,
    moon_altitude_deg: npt.ArrayLike,
    moon_distance_km: npt.ArrayLike,
    altitude_deg: npt.ArrayLike,
    separation_deg: npt.ArrayLike,
    air: Extinction,
) -> Floats:
    """Scattered moonlight in V, nL, the better figure: eq. 15 with `moon_illuminance_used`.

    The moon's own path is `moon_air_path`, with `low_moon_factor` for the target's direction; the
    target's is eq. 3 as printed. Units and shapes as in `moonlight_v_nl`, the moon's topocentric
    distance in km.
    """
    extinction_v = air.v_mag_airmass
    down = moon_air_path(moon_altitude_deg, REFERENCE_NM, air)
    path = scattering_air_path(altitude_deg)
    scattered = rayleigh_scattering(separation_deg) + mie_scattering(separation_deg)
    return np.asarray(
        scattered
        * moon_illuminance_used(phase_angle_deg, moon_altitude_deg, moon_distance_km)
        * 10.0 ** (-0.4 * extinction_v * down)
        * (1.0 - 10.0 ** (-0.4 * extinction_v * path))
        * low_moon_factor(moon_altitude_deg, path, separation_deg, air)
    )


def scattering_ratios(wavelength_nm: npt.ArrayLike, air: Extinction) -> tuple[Floats, Floats]:
    """Factors on the Rayleigh and Mie parts of f(ρ) at λ, against 550 nm; both shaped as λ.

    Of the light that a path takes out of the beam, the share 1 − 10^(−0.4 k X), each kind of
    particle scatters its part of k. So the parts of f(ρ), which K&S fitted at 550 nm, scale with
    kR(λ)/kR(550) ∝ λ⁻⁴ and kA(λ)/kA(550) ∝ λ^−1.3, over k(λ)/k(550); ozone, in k, only absorbs
    (single scattering, as in Jones et al. 2013, A&A 560, A91). Light scattered twice favours
    the blue: Rayleigh gains a factor 1 + 0.4 kR(λ) over the same at 550 nm, ours, the 0.4 set
    against the colours of the ESO sky model (a change of 0.04 mag at most).
    """
    nm = np.asarray(wavelength_nm, dtype=float)
    extinguished = air.total(nm) / air.total(REFERENCE_NM)
    once, once_550 = air.rayleigh(nm), air.rayleigh(REFERENCE_NM)
    rayleigh = once / once_550 * (1.0 + _TWICE * once) / (1.0 + _TWICE * once_550)
    mie = (nm / REFERENCE_NM) ** -air.aerosol_exponent
    return np.asarray(rayleigh / extinguished), np.asarray(mie / extinguished)
