"""Moonlight through one passband with the integral over wavelength done in full."""

from __future__ import annotations

import numpy as np

from nightplan.light.air_path import scattering_air_path
from nightplan.light.dark_sky import v_zero_per_nl
from nightplan.light.extinction import Extinction
from nightplan.light.low_moon import low_moon_factor, moon_air_path
from nightplan.light.moonlight import (
    mie_scattering,
    moon_illuminance_used,
    rayleigh_scattering,
    scattering_ratios,
)
from nightplan.light.passband import Passband
from nightplan.light.spectra import moon_spectrum


def band_moonlight_rate(
    passband: Passband,
    air: Extinction,
    phase_angle_deg: float,
    moon_altitude_deg: float,
    moon_distance_km: float,
    altitude_deg: float,
    separation_deg: float,
) -> float:
    """Moonlight through one passband, the integral over wavelength done in full.

    Photons/s/cm²/arcsec²; the yardstick for `sky_rate`.
    """
    nm = passband.wavelength_nm
    k = air.total(nm)
    path = float(scattering_air_path(altitude_deg))
    rayleigh_ratio, mie_ratio = scattering_ratios(nm, air)
    phase = rayleigh_scattering(separation_deg) * rayleigh_ratio
    phase = phase + mie_scattering(separation_deg) * mie_ratio
    light = (
        phase
        * float(moon_illuminance_used(phase_angle_deg, moon_altitude_deg, moon_distance_km))
        * 10.0 ** (-0.4 * k * moon_air_path(moon_altitude_deg, nm, air))
        * (1.0 - 10.0 ** (-0.4 * k * path))
        * float(low_moon_factor(moon_altitude_deg, path, separation_deg, air))
    )
    density = moon_spectrum().density_at(nm) * v_zero_per_nl() * light
    return float(np.trapezoid(density * passband.response, nm))
