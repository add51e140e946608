"""The photon budget of a night: targets × filters × times through one train.

Axes are (target, filter, time) unless said. The big arrays are computed when first asked for and
kept; each takes 8 bytes a cell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from nightplan.arrays import Floats
from nightplan.light.background import SkyBrightnessV, SkyGeometry, sky_rate, v_brightness
from nightplan.light.extinction import Extinction
from nightplan.light.line_brightness import LINE_NM
from nightplan.light.passband import Passband
from nightplan.light.signal_to_noise import (
    hours_to_snr,
    snr2_per_second_px,
    snr_per_arcsec2,
    worth,
)
from nightplan.light.source_brightness import (
    Source,
    TargetFacts,
    brightness_label,
    reddened_sunlight,
    source_rates,
    target_source,
)
from nightplan.light.sub_length import extra_noise
from nightplan.planning.optics.train_optics import train_optics
from nightplan.planning.photons.filter_budget import (
    FilterBudget,
    SiteSky,
    filter_budgets,
    site_sky,
)
from nightplan.planning.photons.recipes import lit_from_behind
from nightplan.planning.photons.sub_choice import between_subs_s
from nightplan.planning.tonight.constraints import constraint_grade
from nightplan.planning.tonight.field_turn import MOST_TURN
from nightplan.sky.sun_moon import sun

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.tonight.visibility import SkyTracks


CHUNK_TARGETS = 64
"""Targets whose worth is worked out at once, so that work arrays stay small."""

_LN_MAG = 0.4 * np.log(10.0)
_EXACT_AIRMASS = 1.5


@dataclass(frozen=True)
class TargetLight:
    """What targets send through each filter, above the air; (target, filter)."""

    sources: tuple[Source, ...]
    rate_e_s_px: Floats
    """Electrons/s/pixel without any air."""
    extinction_mag_airmass: Floats
    """Mean over the light that comes through the filter."""
    line_share: Floats
    """Share of that light that comes in lines."""
    responses: tuple[Passband, ...]

    def brightness_source(self, target: int, column: int) -> str:
        """Where most of the brightness in a filter was taken from."""
        share = float(self.line_share[target, column])
        return brightness_label(self.sources[target], self.responses[column], 1.0 - share, share)


@dataclass(frozen=True)
class PhotonBudget:
    """Rates, noise and worth of targets × filters × times in one train."""

    train: str
    filters: tuple[FilterBudget, ...]
    scale_arcsec_px: float
    overhead_s: float
    sky: SiteSky
    light: TargetLight
    geometry: SkyGeometry
    airmass: Floats
    """Kasten & Young 1989, (target, time); inf below the horizon."""
    utc_mjd: Floats
    grade: Floats | None = None
    """What constraints of the imager leave of the worth, (target, time); None without any."""

    @property
    def filter_names(self) -> tuple[str, ...]:
        """Names along the filter axis."""
        return tuple(budget.filter for budget in self.filters)

    def _column(self, name: str) -> Floats:
        """An attribute of the filters, shaped (1, filter, 1)."""
        return np.array([getattr(budget, name) for budget in self.filters])[None, :, None]

    @property
    def sub_s(self) -> Floats:
        """Length of a sub, (filter,): one for every target and time."""
        return np.array([budget.sub_s for budget in self.filters])

    @property
    def sub_bound(self) -> tuple[str, ...]:
        """What decided each sub, by filter."""
        return tuple(budget.sub_bound for budget in self.filters)

    @property
    def gain(self) -> tuple[str, ...]:
        """Name of the gain setting, by filter."""
        return tuple(budget.gain for budget in self.filters)

    @cached_property
    def sky_rate_e_s_px(self) -> Floats:
        """Sky in electrons/s/pixel."""
        rate = sky_rate(
            [budget.response for budget in self.filters], self.geometry, self.sky.dark, self.sky.air
        )
        rate *= self._column("px_factor")
        return rate

    @property
    def sky_mag_arcsec2(self) -> Floats:
        """Sky as AB mag/arcsec², mean over the passband that filter, optics and sensor make."""
        zero = np.array([budget.response.ab_zero_rate() for budget in self.filters])
        return np.asarray(
            -2.5 * np.log10(self.sky_rate_e_s_px / (self._column("px_factor") * zero[:, None]))
        )

    @cached_property
    def target_rate_e_s_px(self) -> Floats:
        """Target at its mean surface brightness, dimmed by the air; zero below the horizon."""
        k = self.light.extinction_mag_airmass
        exponent = np.multiply(self.airmass[:, None, :], -_LN_MAG * k[:, :, None])
        np.exp(exponent, out=exponent)
        exponent *= self.light.rate_e_s_px[:, :, None]
        return exponent

    @property
    def sub_extra_noise(self) -> Floats:
        """Share that read noise adds to the noise of sky and dark current in a sub."""
        background = self.sky_rate_e_s_px + self._column("dark_e_s")
        return extra_noise(self._column("read_noise_e"), background, self._column("sub_s"))

    def _snr2(self, target_e_s: Floats, sky_e_s: Floats) -> Floats:
        return snr2_per_second_px(
            target_e_s,
            sky_e_s,
            self._column("dark_e_s"),
            self._column("read_noise_e"),
            self._column("sub_s"),
        )

    @property
    def snr_one_hour(self) -> Floats:
        """S/N per square arcsecond for one hour with the shutter open."""
        per_second = self._snr2(self.target_rate_e_s_px, self.sky_rate_e_s_px)
        return snr_per_arcsec2(per_second, self.scale_arcsec_px, self._column("pixel_share"))

    @cached_property
    def _reference_snr2(self) -> Floats:
        """(S/N)² per second and pixel at the site's moonless zenith, (target, filter, 1)."""
        k = self.light.extinction_mag_airmass
        target = self.light.rate_e_s_px * np.exp(-_LN_MAG * k)
        return self._snr2(target[:, :, None], self._column("reference_sky_e_s"))

    @property
    def reference_snr_one_hour(self) -> Floats:
        """`snr_one_hour` at the site's zenith with the moon down, (target, filter)."""
        share = self._column("pixel_share")
        return snr_per_arcsec2(self._reference_snr2, self.scale_arcsec_px, share)[:, :, 0]

    @cached_property
    def worth(self) -> Floats:
        """Hours of moonless zenith that one hour is worth."""
        target, sky = self.target_rate_e_s_px, self.sky_rate_e_s_px
        answer = np.empty_like(target)
        for start in range(0, answer.shape[0], CHUNK_TARGETS):
            part = slice(start, start + CHUNK_TARGETS)
            now = self._snr2(target[part], sky[part])
            answer[part] = worth(now, self._reference_snr2[part])
        if self.grade is not None:
            answer *= self.grade[:, None, :]
        return answer

    def hours_to_snr(self, wanted_snr: float) -> Floats:
        """Equivalent (moonless zenith, open shutter) hours to a wanted S/N, (target, filter)."""
        return hours_to_snr(wanted_snr, self.reference_snr_one_hour)

    @cached_property
    def v_sky(self) -> SkyBrightnessV:
        """Parts of the V sky in nanolamberts, each (target, time)."""
        return v_brightness(self.geometry, self.sky.dark, self.sky.air)


def photon_budget(
    config: Config,
    train: str,
    targets: Sequence[Target],
    tracks: SkyTracks,
    sky: SiteSky | None = None,
    turn: float = MOST_TURN,
) -> PhotonBudget:
    """Budget of targets, in the order of `tracks`, through every filter of one train.

    `turn` is as of `longest_tracked_s`.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train.
    ValueError
        `targets` and `tracks` differ in number.
    """
    if len(targets) != tracks.altitude_deg.shape[0]:
        raise ValueError(f"{len(targets)} targets for {tracks.altitude_deg.shape[0]} tracks")
    sky = sky or site_sky(config)
    filters = filter_budgets(config, train, sky, turn)
    return PhotonBudget(
        train=train,
        filters=filters,
        scale_arcsec_px=train_optics(config, train).image_scale_arcsec_px,
        overhead_s=between_subs_s(config),
        sky=sky,
        light=target_light(targets, filters, sky.air),
        geometry=sky_geometry(tracks),
        airmass=tracks.airmass,
        utc_mjd=tracks.utc_mjd,
        grade=constraint_grade(config, tracks),
    )


def sky_geometry(tracks: SkyTracks) -> SkyGeometry:
    """The part of a night's tracks that its background needs."""
    sun_direction = sun(tracks.frame, tracks.utc_mjd).cirs_direction
    cosine = np.clip(tracks.target_cirs @ sun_direction.T, -1.0, 1.0)
    return SkyGeometry(
        altitude_deg=tracks.altitude_deg,
        moon_separation_deg=tracks.moon_separation_deg,
        sun_separation_deg=np.degrees(np.arccos(cosine)),
        moon_altitude_deg=tracks.moon_altitude_deg,
        moon_distance_km=tracks.moon_distance_km,
        moon_phase_angle_deg=tracks.moon_phase_angle_deg,
        sun_altitude_deg=tracks.sun_altitude_deg,
    )


def target_facts(target: Target) -> TargetFacts:
    """What the catalogue knows of a target's light; a silhouette has that of what lies behind."""
    magnitude, behind = target.magnitude, lit_from_behind(target)
    axes = target.axes_arcmin
    return TargetFacts(
        kind=target.kind,
        names=(target.name, *target.identifiers, *target.name.split(" + "), behind or ""),
        lines=target.lines or (("H-alpha",) if behind else ()),
        surface_brightness=target.surface_brightness_mag_arcsec2,
        surface_band=target.surface_brightness_band,
        surface_source=target.surface_brightness_source,
        magnitude=magnitude,
        magnitude_band="V" if magnitude == target.magnitude_v else "B",
        major_arcmin=axes[0] if axes else None,
        minor_arcmin=axes[1] if axes else None,
        radial_velocity_km_s=target.radial_velocity_km_s,
    )


def target_light(
    targets: Sequence[Target], filters: Sequence[FilterBudget], air: Extinction
) -> TargetLight:
    """Light of targets through filters above the air, and how the air will dim it."""
    sources = tuple(target_source(target_facts(target)) for target in targets)
    responses = [budget.response for budget in filters]
    continuum, lines = source_rates(sources, responses)
    total = continuum + lines
    line_share = lines / np.maximum(total, 1e-300)
    k_continuum = np.array([_continuum_extinction(band, air) for band in responses])
    k_lines = _line_extinction(sources, responses, air)
    px_factor = np.array([budget.px_factor for budget in filters])
    return TargetLight(
        sources=sources,
        rate_e_s_px=total * px_factor,
        extinction_mag_airmass=k_continuum + line_share * (k_lines - k_continuum),
        line_share=line_share,
        responses=tuple(responses),
    )


def _continuum_extinction(response: Passband, air: Extinction) -> float:
    """k of a passband for sunlight-like light, exact at airmass 1.5."""
    nm = response.wavelength_nm
    weight = np.gradient(nm) * response.response * reddened_sunlight(0.0).density_at(nm)
    left = np.sum(weight * np.exp(-_LN_MAG * air.total(nm) * _EXACT_AIRMASS)) / np.sum(weight)
    return float(-np.log(left) / (_LN_MAG * _EXACT_AIRMASS))


def _line_extinction(
    sources: Sequence[Source], responses: Sequence[Passband], air: Extinction
) -> Floats:
    """k of each target's lines in each filter, mag/airmass, (target, filter)."""
    rate = np.array([source.line_rate for source in sources]).reshape(-1, LINE_NM.size)
    k = air.total(LINE_NM)
    columns = []
    for response in responses:
        seen = rate * response.at(LINE_NM)
        columns.append(seen @ k / np.maximum(seen.sum(axis=1), 1e-300))
    return np.stack(columns, axis=1)
