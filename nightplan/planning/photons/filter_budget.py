"""What one filter of one train collects, and the gain and sub that suit it.

Gain and sub follow from the train and the site's moonless zenith, the darkest sky that the filter
meets. So they are one pair for every target and night, and darks serve again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from nightplan.light.dark_sky import DarkSky, bortle_v_mag, site_dark_sky
from nightplan.light.extinction import Extinction, site_extinction
from nightplan.light.passband import Passband, filter_passband
from nightplan.light.sub_length import (
    SubLimits,
    choose_sub,
    extra_noise,
    overhead_floor_s,
    saturation_level_e,
    saturation_s,
    shortest_useful_s,
)
from nightplan.light.throughput import (
    collecting_area_cm2,
    peak_pixel_share,
    star_rate_e_s,
    system_response,
)
from nightplan.planning.optics.train_optics import TrainOptics, train_optics

if TYPE_CHECKING:
    from nightplan.model.config import Config

SAME_SPEED_SHARE = 0.02
"""Gains within this share of the fastest count as equal; the one with the most room wins."""


@dataclass(frozen=True)
class SiteSky:
    """Light and air over the site, and how far its brightness may be off (Bortle classes)."""

    dark: DarkSky
    air: Extinction
    spread_mag: float


def site_sky(config: Config) -> SiteSky:
    """The moonless sky and the extinction of the configured site."""
    site = config.site
    zenith, spread = site.sky_mag_arcsec2, 0.0
    if zenith is None:
        zenith, spread = bortle_v_mag(site.bortle_class or 4)
    return SiteSky(
        dark=site_dark_sky(zenith, site.lamp_light),
        air=site_extinction(site.elevation_m, site.extinction_v_mag_airmass),
        spread_mag=spread,
    )


@dataclass(frozen=True)
class FilterBudget:
    """One filter in one train.

    Attributes
    ----------
    filter : str
        Name of the filter.
    passband, response : Passband
        The filter's own transmission in the train's cone, and electrons per photon at the
        aperture.
    gain : str
        Name of the gain setting chosen.
    read_noise_e, saturation_e : float
        Of that gain; the level is the lesser of full well and converter range.
    sub_s, sub_bound : float, str
        Length of a sub, and what decided it.
    dark_e_s : float
        Dark current, electrons/s/pixel.
    px_factor : float
        Electrons/s/pixel over electrons/s/cm²/arcsec².
    reference_sky_e_s : float
        Sky at the moonless zenith, electrons/s/pixel.
    limits : SubLimits
        Every floor and ceiling of the sub.
    """

    filter: str
    passband: Passband
    response: Passband
    gain: str
    read_noise_e: float
    saturation_e: float
    sub_s: float
    sub_bound: str
    dark_e_s: float
    px_factor: float
    reference_sky_e_s: float
    limits: SubLimits

    @property
    def reference_extra_noise(self) -> float:
        """Share that read noise adds to the noise of the moonless zenith's sky."""
        background = self.reference_sky_e_s + self.dark_e_s
        return float(extra_noise(self.read_noise_e, background, self.sub_s))


def beam_passband(config: Config, optics: TrainOptics, name: str) -> Passband:
    """A filter's transmission in the converging beam of a train."""
    item = config.filter[name]
    return filter_passband(
        item.centre_nm,
        item.width_nm,
        item.peak_transmission,
        focal_ratio=optics.f_ratio,
        effective_index=item.effective_index,
        obstruction_ratio=optics.obstruction_mm / optics.aperture_mm,
    )


def filter_budgets(
    config: Config, train: str, sky: SiteSky | None = None
) -> tuple[FilterBudget, ...]:
    """The budget of every filter of the wheel in one train, in the wheel's order.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train.
    """
    sky = sky or site_sky(config)
    optics = train_optics(config, train)
    return tuple(_filter_budget(config, optics, name, sky) for name in config.filter)


def sub_overhead_s(config: Config) -> float:
    """Mean time between two subs: the download and this sub's share of a dither, s."""
    return config.camera.download_s + _dither_s(config) / config.preferences.dither.every_subs


def _dither_s(config: Config) -> float:
    settle = config.guider.settle_s if config.guider is not None else 0.0
    return config.preferences.dither.move_s + settle


def _filter_budget(config: Config, optics: TrainOptics, name: str, sky: SiteSky) -> FilterBudget:
    camera, wish = config.camera, config.preferences.sub
    passband = beam_passband(config, optics, name)
    curve = camera.quantum_efficiency
    grey = config.optics.transmission * config.train[optics.name].transmission
    response = system_response(
        passband, [point[0] for point in curve], [point[1] for point in curve], grey
    )
    area = collecting_area_cm2(optics.aperture_mm, optics.obstruction_mm)
    px_factor = area * optics.image_scale_arcsec_px**2
    sky_e_s = sky.dark.zenith_rate(response) * px_factor
    background = sky_e_s + camera.dark_current_e_s
    star = star_rate_e_s(
        response,
        wish.unsaturated_star_mag,
        area,
        sky.air.total(config.filter[name].centre_nm),
    )
    peak = float(star) * peak_pixel_share(
        optics.seeing_arcsec,
        optics.image_scale_arcsec_px,
        optics.aperture_mm,
        config.filter[name].centre_nm,
    )
    overhead = overhead_floor_s(
        camera.download_s,
        _dither_s(config),
        config.preferences.dither.every_subs,
        wish.overhead_share,
    )
    found: list[tuple[float, FilterBudget]] = []
    for gain, setting in camera.gain.items():
        level = saturation_level_e(setting.full_well_e, setting.e_per_adu, camera.bits)
        limits = SubLimits(
            read_noise_s=float(
                shortest_useful_s(setting.read_noise_e, background, wish.extra_noise)
            ),
            overhead_s=overhead,
            user_minimum_s=wish.shortest_s,
            saturation_s=float(saturation_s(level, peak, background)),
            guiding_s=wish.guiding_longest_s,
            user_maximum_s=wish.longest_s,
        )
        choice = choose_sub(limits)
        budget = FilterBudget(
            filter=name,
            passband=passband,
            response=response,
            gain=gain,
            read_noise_e=setting.read_noise_e,
            saturation_e=level,
            sub_s=choice.sub_s,
            sub_bound=choice.bound,
            dark_e_s=camera.dark_current_e_s,
            px_factor=px_factor,
            reference_sky_e_s=sky_e_s,
            limits=limits,
        )
        found.append((_speed(budget, sub_overhead_s(config)), budget))
    fastest = max(speed for speed, _ in found)
    level_pegging = [budget for speed, budget in found if speed >= fastest * (1 - SAME_SPEED_SHARE)]
    return max(level_pegging, key=lambda budget: budget.saturation_e)


def _speed(budget: FilterBudget, overhead_s: float) -> float:
    """(S/N)² of a faint target per second on the clock, over a constant of the filter.

    1 / (s + R²/t) × t / (t + o): the gain that makes it largest reaches a wanted S/N first, its
    own sub respecting its own saturation.
    """
    t = budget.sub_s
    noise2 = budget.reference_sky_e_s + budget.dark_e_s + budget.read_noise_e**2 / t
    return t / (t + overhead_s) / noise2
