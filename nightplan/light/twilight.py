"""Brightness of the sky while the sun is above −18°: early starts, flats and summer nights.

Zenith, sun 5 to 12° below the horizon: Patat, Ugolnikov & Postylyakov 2006 (A&A 455, 385, table 2,
Paranal), m = a0 + a1 (ζ − 95) + a2 (ζ − 95)², ζ the sun's zenith distance, coefficients from
memory. Beyond, the night sky that their fit contains would count twice: there, and above −5°, V
follows Schaefer 1993 (Vistas in Astronomy 36, 311), whose zenith twilight falls by one magnitude a
degree, joined without steps. Direction: Schaefer's too, (100°/ρ) 10^(0.4 Z/(360° k))
(1 − 10^(−0.4 k X)), ρ being the distance from the sun; from memory. From −12 to −5° the two agree
within 0.8 mag; hold neither to better than 0.5 mag, and daylight to a factor of two.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from nightplan.light.air_path import scattering_air_path, smooth_step
from nightplan.light.monotone_curve import MonotoneCurve
from nightplan.light.passband import Passband
from nightplan.light.photometry import Floats, ab_photon_density, nl_from_v_mag

DARK_SUN_DEG = -18.0
HIGHEST_SUN_DEG = 10.0
LOWEST_ALTITUDE_DEG = 15.0

# Band centre in nm, AB minus Vega (Blanton & Roweis 2007, AJ 133, 734, table 1; V by Bessell
# 1998), and Patat et al. 2006 a0, a1, a2.
_BANDS = {
    "U": (365.0, 0.79, 11.78, 1.376, -0.039),
    "B": (440.0, -0.09, 11.84, 1.411, -0.041),
    "V": (550.0, 0.0, 11.84, 1.518, -0.057),
    "R": (640.0, 0.21, 11.40, 1.567, -0.064),
    "I": (790.0, 0.45, 10.93, 1.470, -0.062),
}
_FIT_HIGH_DEG = -5.0
_FIT_LOW_DEG = -12.0


def patat_zenith_mag(band: str, sun_altitude_deg: npt.ArrayLike) -> Floats:
    """Zenith mag/arcsec² (Vega) in U, B, V, R or I (Patat et al. 2006, table 2).

    Valid for the sun 5 to 15° below the horizon; held outside. It contains the night sky.
    """
    _, _, a0, a1, a2 = _BANDS[band]
    depth = np.clip(-np.asarray(sun_altitude_deg, dtype=float), 5.0, 15.0) - 5.0
    return np.asarray(a0 + a1 * depth + a2 * depth * depth)


def schaefer_zenith_mag(sun_altitude_deg: npt.ArrayLike, extinction_v: float = 0.2) -> Floats:
    """Zenith V mag/arcsec² of twilight alone (Schaefer 1993), sun from 0 to −18°.

    10^(−0.4 (16.81 − h)) (100/ρ) (1 − 10^(−0.4 k)) erg/s/cm²/µm/arcsec², 1.11e-15 of them to the
    nL, h the sun's altitude and ρ = 90° − h. From memory.
    """
    sun = np.asarray(sun_altitude_deg, dtype=float)
    flux = 10.0 ** (-0.4 * (16.81 - sun)) * (100.0 / (90.0 - sun))
    flux = flux * (1.0 - 10.0 ** (-0.4 * extinction_v))
    return np.asarray((20.7233 - np.log(flux / 1.11e-15 / 34.08)) / 0.92104)


@cache
def _zenith_curve() -> MonotoneCurve:
    """Monotone V mag against the sun's altitude, through both sources and daylight."""
    fit = np.arange(_FIT_LOW_DEG, _FIT_HIGH_DEG + 0.1, 1.0)
    join = float(patat_zenith_mag("V", _FIT_LOW_DEG) - schaefer_zenith_mag(_FIT_LOW_DEG))
    deep = np.arange(-20.0, _FIT_LOW_DEG - 0.1, 1.0)
    sun = np.concatenate([deep, fit, [-2.5, 0.0, 5.0, 10.0]])
    mag = np.concatenate([
        schaefer_zenith_mag(deep) + join,
        patat_zenith_mag("V", fit),
        # sunset by Schaefer; low daylight, 700 and 1500 cd/m², from memory
        [9.45, schaefer_zenith_mag(0.0), 5.4, 4.6],
    ])  # fmt: skip
    return MonotoneCurve(sun, mag)


def zenith_v_mag(sun_altitude_deg: npt.ArrayLike) -> Floats:
    """Twilight alone in V at the zenith, mag/arcsec²; airless sun altitude −20 to +10°, held."""
    sun = np.clip(np.asarray(sun_altitude_deg, dtype=float), -20.0, HIGHEST_SUN_DEG)
    return np.asarray(_zenith_curve()(sun))


def zenith_v_nl(sun_altitude_deg: npt.ArrayLike) -> Floats:
    """Twilight alone in V at the zenith, nL: zero below −18°, faded in over the first degree."""
    started = smooth_step(sun_altitude_deg, DARK_SUN_DEG, DARK_SUN_DEG + 1.0)
    return np.asarray(nl_from_v_mag(zenith_v_mag(sun_altitude_deg)) * started)


def direction_factor(
    altitude_deg: npt.ArrayLike,
    sun_separation_deg: npt.ArrayLike,
    sun_altitude_deg: npt.ArrayLike,
    extinction_v: float,
) -> Floats:
    """Twilight in a direction over the zenith's (Schaefer 1993); shapes broadcast.

    Altitudes below 15° and separations below 20° get the value there.
    """
    altitude = np.maximum(np.asarray(altitude_deg, dtype=float), LOWEST_ALTITUDE_DEG)
    rho = np.maximum(np.asarray(sun_separation_deg, dtype=float), 20.0)
    zenith_rho = 90.0 - np.asarray(sun_altitude_deg, dtype=float)
    glow = 10.0 ** (0.4 * (90.0 - altitude) / (360.0 * max(extinction_v, 0.15)))
    layer = 1.0 - 10.0 ** (-0.4 * extinction_v * scattering_air_path(altitude))
    layer = layer / (1.0 - 10.0 ** (-0.4 * extinction_v))
    return np.asarray(zenith_rho / rho * glow * layer)


def twilight_v_nl(
    sun_altitude_deg: npt.ArrayLike,
    altitude_deg: npt.ArrayLike,
    sun_separation_deg: npt.ArrayLike,
    extinction_v: float,
) -> Floats:
    """Twilight in V, nL, in a direction; airless altitudes and separation in degrees."""
    factor = direction_factor(altitude_deg, sun_separation_deg, sun_altitude_deg, extinction_v)
    return np.asarray(zenith_v_nl(sun_altitude_deg) * factor)


def twilight_density(sun_altitude_deg: float, wavelength_nm: Floats) -> Floats:
    """Photons/s/cm²/nm/arcsec² of twilight scaled to V = 0, shape of `wavelength_nm`.

    AB colours of the zenith by Patat et al. 2006, linear in log λ between the bands (ozone's dip
    near 600 nm is smoothed over); held outside −12 to −5°, where the fits are pure twilight.
    """
    sun = float(np.clip(sun_altitude_deg, _FIT_LOW_DEG, _FIT_HIGH_DEG))
    v = float(patat_zenith_mag("V", sun))
    centres = np.log([row[0] for row in _BANDS.values()])
    colours = [float(patat_zenith_mag(band, sun)) - v + _BANDS[band][1] for band in _BANDS]
    return ab_photon_density(wavelength_nm, np.interp(np.log(wavelength_nm), centres, colours))


def twilight_rate_per_nl(sun_altitude_deg: Floats, passband: Passband) -> Floats:
    """Photons/s/cm²/arcsec² through a passband per nL of V twilight; shape of the altitudes."""
    nodes = np.linspace(_FIT_LOW_DEG, _FIT_HIGH_DEG, 8)
    rates = [
        np.trapezoid(
            twilight_density(float(node), passband.wavelength_nm) * passband.response,
            passband.wavelength_nm,
        )
        for node in nodes
    ]
    per_nl = np.array(rates) / float(nl_from_v_mag(0.0))
    return np.interp(sun_altitude_deg, nodes, per_nl)
