"""What one filter of one train collects, and the gain and sub that suit it.

Gain and sub follow from the train and the site's moonless zenith, the darkest sky that the filter
meets. So they are one pair for every target and night, and darks serve again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from nightplan.light.dark_sky import DarkSky, bortle_v_mag, site_dark_sky
from nightplan.light.extinction import Extinction, site_extinction
from nightplan.light.passband import Passband, filter_passband
from nightplan.light.sub_length import SubLimits
from nightplan.light.throughput import (
    peak_pixel_share,
    star_rate_e_s,
    system_response,
)
from nightplan.planning.optics.tracking_limit import longest_tracked_s
from nightplan.planning.optics.train_optics import TrainOptics, train_optics
from nightplan.planning.photons.colour_channel import pixels_of
from nightplan.planning.photons.sub_choice import FilterLoad, SubSetting, sub_settings
from nightplan.planning.tonight.field_turn import MOST_TURN

if TYPE_CHECKING:
    from nightplan.model.config import Config


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
    """One channel of a filter in one train.

    Attributes
    ----------
    filter : str
        Name of the channel: that of the filter, where this has one.
    passband, response : Passband
        The filter's own transmission in the train's cone, and electrons per photon at the
        aperture.
    setting : SubSetting
        Gain and sub length, and what decided them.
    dark_e_s : float
        Dark current, electrons/s/pixel.
    px_factor : float
        Electrons/s/pixel over electrons/s/cm²/arcsec².
    reference_sky_e_s : float
        Sky at the moonless zenith, electrons/s/pixel.
    pixel_share : float
        Share of the sensor's pixels that the filter's picture is made from; the rates are theirs.
    """

    filter: str
    passband: Passband
    response: Passband
    setting: SubSetting
    dark_e_s: float
    px_factor: float
    reference_sky_e_s: float
    pixel_share: float

    @property
    def gain(self) -> str:
        """Name of the gain setting."""
        return self.setting.gain

    @property
    def read_noise_e(self) -> float:
        """Of that gain."""
        return self.setting.read_noise_e

    @property
    def saturation_e(self) -> float:
        """Electrons at which a pixel clips: the lesser of full well and converter range."""
        return self.setting.saturation_e

    @property
    def sub_s(self) -> float:
        """Length of a sub, s."""
        return self.setting.sub_s

    @property
    def sub_bound(self) -> str:
        """What decided it."""
        return self.setting.bound

    @property
    def limits(self) -> SubLimits:
        """Floors and ceilings of the filter's own sub at that gain."""
        return self.setting.limits


def beam_passband(config: Config, optics: TrainOptics, name: str) -> Passband:
    """A filter's transmission in the converging beam of a train."""
    item = config.filter[name]
    first, *more = [
        filter_passband(
            *band,
            focal_ratio=optics.f_ratio,
            effective_index=item.effective_index,
            obstruction_ratio=optics.obstruction_mm / optics.aperture_mm,
        )
        for band in ((item.centre_nm, item.width_nm, item.peak_transmission), *item.more_bands)
    ]
    for band in more:
        first = first.plus(band)
    return first


def filter_budgets(
    config: Config, train: str, sky: SiteSky | None = None, turn: float = MOST_TURN
) -> tuple[FilterBudget, ...]:
    """The budget of every channel of the owned filters in one train, in their order.

    The channels of a filter share its gain and sub: the darkest sets its floor, and the one in
    which a star clips first its ceiling.

    `turn` is as of `longest_tracked_s`.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train.
    """
    sky = sky or site_sky(config)
    optics = train_optics(config, train)
    lights = {name: _without_setting(config, optics, name, sky) for name in config.channel}
    dark_e_s = config.camera.dark_current_e_s
    tracked_s = longest_tracked_s(config, train, turn)
    own: dict[str, list[_Light]] = {}
    for name, light in lights.items():
        own.setdefault(config.channel[name].filter, []).append(light)
    loads = {
        name: FilterLoad(
            min(light.sky_e_s for light in seen) + dark_e_s,
            max(light.star_peak_e_s for light in seen),
            tracked_s,
        )
        for name, seen in own.items()
    }
    settings = sub_settings(config, loads)
    return tuple(
        FilterBudget(
            filter=name,
            passband=light.passband,
            response=light.response,
            setting=settings[config.channel[name].filter],
            dark_e_s=dark_e_s,
            px_factor=light.px_factor,
            reference_sky_e_s=light.sky_e_s,
            pixel_share=pixels_of(config, config.channel[name]).pixel_share,
        )
        for name, light in lights.items()
    )


class _Light(NamedTuple):
    """What the optics and the sky make of a filter, before its sub is chosen."""

    passband: Passband
    response: Passband
    px_factor: float
    sky_e_s: float
    star_peak_e_s: float


def _without_setting(config: Config, optics: TrainOptics, name: str, sky: SiteSky) -> _Light:
    wish = config.preferences.sub
    channel = config.channel[name]
    passband = beam_passband(config, optics, channel.filter)
    curve = pixels_of(config, channel).efficiency
    grey = config.optics.transmission * config.train[optics.name].transmission
    response = system_response(
        passband, [point[0] for point in curve], [point[1] for point in curve], grey
    )
    area = optics.clear_area_cm2
    px_factor = area * optics.image_scale_arcsec_px**2
    centre_nm = channel.centre_nm
    star = star_rate_e_s(response, wish.unsaturated_star_mag, area, sky.air.total(centre_nm))
    peak = float(star) * peak_pixel_share(
        optics.seeing_arcsec, optics.image_scale_arcsec_px, optics.aperture_mm, centre_nm
    )
    sky_e_s = sky.dark.zenith_rate(response) * px_factor
    return _Light(passband, response, px_factor, sky_e_s, peak)
