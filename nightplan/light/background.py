"""Sky background per filter: dark sky + moonlight + twilight, for targets × filters × times.

In a filter, dark sky and moonlight at air path X are

    D X 10^(−0.4 kd (X − 1))   and   (R r(ρ) + M m(ρ)) (1 − 10^(−0.4 km X)),

with r and m the two parts of the K&S scattering function. D and kd belong to the filter; R, M
and km to filter and time, and hold the moon's spectrum, brightness and way down, integrated over
the passband. So a cell costs two exponentials, and everything else runs on small axes. The one km
a filter stands for a passband's range of k is chosen exact at X = 1.5; tests hold it within
0.025 mag of the whole integral above 20° altitude. A moon below 30° gets one factor more a cell,
for the target's direction, common to all filters.

Axes are (target, filter, time). Rates are photons/s/cm²/arcsec² counted through the response
given, so a response that holds quantum efficiency and optics gives detected electrons.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from nightplan.light.air_path import scattering_air_path
from nightplan.light.dark_sky import DarkSky, dark_v_nl, v_zero_per_nl
from nightplan.light.extinction import Extinction
from nightplan.light.low_moon import JOIN_DEG, low_moon_factor, moon_air_path
from nightplan.light.moonlight import (
    mie_scattering,
    moon_illuminance_used,
    moonlight_used_v_nl,
    moonlight_v_nl,
    rayleigh_scattering,
    scattering_ratios,
)
from nightplan.light.passband import Passband
from nightplan.light.photometry import Floats, v_mag_from_nl
from nightplan.light.spectra import moon_spectrum
from nightplan.light.twilight import (
    DARK_SUN_DEG,
    direction_factor,
    twilight_rate_per_nl,
    twilight_v_nl,
    zenith_v_nl,
)

CHUNK_CELLS = 32_768
"""Target × time cells worked on at once: 10 work arrays of 256 KiB stay in a core's cache."""

_LN_MAG = 0.4 * np.log(10.0)
_EXACT_PATH = 1.5
_SUMMARY_RHO_DEG = 60.0


@dataclass(frozen=True)
class SkyGeometry:
    """Where everything stands. Angles in degrees, airless and topocentric.

    `altitude_deg`, `moon_separation_deg` and `sun_separation_deg` have shape (T, N), the rest
    (N,): T targets, N times.
    """

    altitude_deg: Floats
    moon_separation_deg: Floats
    sun_separation_deg: Floats
    moon_altitude_deg: Floats
    moon_distance_km: Floats
    moon_phase_angle_deg: Floats
    sun_altitude_deg: Floats


@dataclass(frozen=True)
class SkyBrightnessV:
    """Parts of the V sky, nL; each of shape (T, N). `total_nl` = dark + used moon + twilight."""

    dark_nl: Floats
    moonlight_nl: Floats
    moonlight_used_nl: Floats
    twilight_nl: Floats

    @property
    def total_nl(self) -> Floats:
        """Dark sky, moonlight as used, and twilight."""
        return self.dark_nl + self.moonlight_used_nl + self.twilight_nl

    @property
    def total_v_mag(self) -> Floats:
        """V mag/arcsec² of the total."""
        return v_mag_from_nl(self.total_nl)


def v_brightness(geometry: SkyGeometry, dark: DarkSky, air: Extinction) -> SkyBrightnessV:
    """Every part of the sky in V, nL, shape (T, N)."""
    k = air.v_mag_airmass
    moon = geometry.moon_altitude_deg
    phase = geometry.moon_phase_angle_deg
    altitude, separation = geometry.altitude_deg, geometry.moon_separation_deg
    return SkyBrightnessV(
        dark_nl=dark_v_nl(altitude, dark.total_nl, k),
        moonlight_nl=moonlight_v_nl(phase, moon, altitude, separation, k),
        moonlight_used_nl=moonlight_used_v_nl(
            phase, moon, geometry.moon_distance_km, altitude, separation, air
        ),
        twilight_nl=twilight_v_nl(
            geometry.sun_altitude_deg, altitude, geometry.sun_separation_deg, k
        ),
    )


@dataclass(frozen=True)
class _Band:
    """One filter's coefficients; see the module's text. Arrays over times, (N,)."""

    dark_rate: float
    dark_k: float
    rayleigh: Floats
    mie: Floats
    moon_k: Floats
    twilight: Floats


def _band(passband: Passband, dark: DarkSky, air: Extinction, geometry: SkyGeometry) -> _Band:
    nm = passband.wavelength_nm
    stride = max(1, nm.size // 150)
    nm, response = nm[::stride], passband.response[::stride]
    weight = np.gradient(nm) * response
    k = air.total(nm)

    dark_weight = weight * dark.density_at(nm)
    share = np.sum(dark_weight * np.exp(-_LN_MAG * k * (_EXACT_PATH - 1.0))) / np.sum(dark_weight)
    dark_k = float(-np.log(share) / (_LN_MAG * (_EXACT_PATH - 1.0)))

    rayleigh_ratio, mie_ratio = scattering_ratios(nm, air)
    incident = weight * moon_spectrum().density_at(nm) * v_zero_per_nl()
    # the factorised layer is 1 − 10^(−0.4 k X) of the passband's mean k, so its amplitude is exact
    path_down = moon_air_path(geometry.moon_altitude_deg[:, None], nm, air)
    down = np.exp(-_LN_MAG * k * path_down)
    moon = moon_illuminance_used(
        geometry.moon_phase_angle_deg, geometry.moon_altitude_deg, geometry.moon_distance_km
    )
    layer = 1.0 - np.exp(-_LN_MAG * k * _EXACT_PATH)
    tilt = layer * (
        rayleigh_scattering(_SUMMARY_RHO_DEG) * rayleigh_ratio
        + mie_scattering(_SUMMARY_RHO_DEG) * mie_ratio
    )
    source = incident * tilt / layer * down
    mean_layer = np.sum(source * layer, axis=1) / np.sum(source, axis=1)
    moon_k = -np.log(1.0 - mean_layer) / (_LN_MAG * _EXACT_PATH)
    amplitude = incident * down * (layer / mean_layer[:, None])
    return _Band(
        dark_rate=dark.zenith_rate(passband),
        dark_k=dark_k,
        rayleigh=moon * np.sum(amplitude * rayleigh_ratio, axis=1),
        mie=moon * np.sum(amplitude * mie_ratio, axis=1),
        moon_k=moon_k,
        twilight=zenith_v_nl(geometry.sun_altitude_deg)
        * twilight_rate_per_nl(geometry.sun_altitude_deg, passband),
    )


def sky_rate(
    passbands: Sequence[Passband],
    geometry: SkyGeometry,
    dark: DarkSky,
    air: Extinction,
    out: Floats | None = None,
) -> Floats:
    """Photons/s/cm²/arcsec² of the whole sky through each passband, shape (T, F, N).

    Memory: the answer, 8 T F N bytes (106 MB for 13,000 × 7 × 145), and about 3 MB of work
    arrays whatever T is. Targets below the horizon get the horizon's sky.

    Parameters
    ----------
    passbands : F passbands
        Response from the top of the aperture to what is counted.
    out : array (T, F, N), optional
        Where to write the answer.
    """
    bands = [_band(passband, dark, air, geometry) for passband in passbands]
    targets, times = geometry.altitude_deg.shape
    answer = np.empty((targets, len(bands), times)) if out is None else out
    moonlit = _moonlit(bands)
    dusk = np.flatnonzero(geometry.sun_altitude_deg > DARK_SUN_DEG)
    rows = max(1, CHUNK_CELLS // max(times, 1))
    for start in range(0, targets, rows):
        part = slice(start, start + rows)
        _fill(answer[part], bands, geometry, part, moonlit, dusk, air)
    return answer


def _moonlit(bands: Sequence[_Band]) -> slice:
    """The run of times in which the moon gives light."""
    lit = np.flatnonzero(bands[0].rayleigh > 0.0) if bands else np.zeros(0, dtype=int)
    return slice(int(lit[0]), int(lit[-1]) + 1) if lit.size else slice(0, 0)


def _fill(
    answer: Floats,
    bands: Sequence[_Band],
    geometry: SkyGeometry,
    part: slice,
    moonlit: slice,
    dusk: np.ndarray,
    air: Extinction,
) -> None:
    path = scattering_air_path(geometry.altitude_deg[part])
    separation = geometry.moon_separation_deg[part, moonlit]
    rayleigh = rayleigh_scattering(separation)
    mie = mie_scattering(separation)
    moon_path = path[:, moonlit]
    moon = geometry.moon_altitude_deg[moonlit]
    low = np.flatnonzero(moon < JOIN_DEG)
    if low.size:
        factor = low_moon_factor(moon[low], moon_path[:, low], separation[:, low], air)
        rayleigh[:, low] *= factor
        mie[:, low] *= factor
    work = np.empty_like(path)
    light = np.empty_like(moon_path)
    other = np.empty_like(moon_path)
    for index, band in enumerate(bands):
        cells = answer[:, index]
        np.multiply(path, -_LN_MAG * band.dark_k, out=work)
        np.exp(work, out=work)
        work *= path
        np.multiply(work, band.dark_rate * np.exp(_LN_MAG * band.dark_k), out=cells)
        if moon_path.shape[1]:
            np.multiply(moon_path, -_LN_MAG * band.moon_k[moonlit], out=light)
            np.expm1(light, out=light)
            np.multiply(rayleigh, band.rayleigh[moonlit], out=other)
            light *= -1.0
            other *= light
            cells[:, moonlit] += other
            np.multiply(mie, band.mie[moonlit], out=other)
            other *= light
            cells[:, moonlit] += other
    if dusk.size:
        factor = direction_factor(
            geometry.altitude_deg[part][:, dusk],
            geometry.sun_separation_deg[part][:, dusk],
            geometry.sun_altitude_deg[dusk],
            air.v_mag_airmass,
        )
        for index, band in enumerate(bands):
            answer[:, index, dusk] += factor * band.twilight[dusk]
