"""Hours that a train needs for a target's wanted signal to noise, night and moon left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.arrays import Floats
from nightplan.light.signal_to_noise import hours_to_snr, snr2_per_second_px, snr_per_arcsec2
from nightplan.planning.optics.train_optics import train_optics
from nightplan.planning.photons.filter_budget import FilterBudget, filter_budgets, site_sky
from nightplan.planning.photons.photon_budget import TargetLight, target_light
from nightplan.planning.photons.recipes import luminance_channels, recipe_of

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target


@dataclass(frozen=True)
class TimeToSnr:
    """Equivalent hours (moonless zenith, shutter open) of one field to the wanted S/N.

    Attributes
    ----------
    filter : str
        The filter, or the channel of one, that carries the target's picture; the filter where its
        channels do so together.
    hours : float
        Infinite where the filter brings no light of the target.
    brightness_source : str
        Where the target's brightness in that filter was taken from.
    """

    filter: str
    hours: float
    brightness_source: str


def leading_filter(config: Config, target: Target) -> str:
    """Name of the filter that carries a target's picture."""
    return recipe_of(config, target).leading


def reference_snr_one_hour(config: Config, targets: Sequence[Target], train: str) -> Floats:
    """S/N per square arcsecond of one hour at the moonless zenith, (target, filter).

    Shutter open, mean surface brightness, filters in the wheel's order.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train.
    """
    sky = site_sky(config)
    budgets = filter_budgets(config, train, sky)
    return _snr_one_hour(config, train, budgets, target_light(targets, budgets, sky.air))


def _snr_one_hour(
    config: Config, train: str, budgets: Sequence[FilterBudget], light: TargetLight
) -> Floats:
    def column(name: str) -> Floats:
        return np.array([getattr(budget, name) for budget in budgets])

    per_second = snr2_per_second_px(
        light.rate_e_s_px * 10.0 ** (-0.4 * light.extinction_mag_airmass),
        column("reference_sky_e_s"),
        column("dark_e_s"),
        column("read_noise_e"),
        column("sub_s"),
    )
    scale = train_optics(config, train).image_scale_arcsec_px
    return snr_per_arcsec2(per_second, scale, column("pixel_share"))


def time_to_snr(config: Config, target: Target, train: str) -> TimeToSnr:
    """Time that one field of a target takes through its leading filter.

    Signal to noise is that of the exposure model: per square arcsecond at the mean surface
    brightness, `preferences.wanted_snr`.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train.
    """
    name = leading_filter(config, target)
    names = luminance_channels(config, name)
    sky = site_sky(config)
    budgets = [budget for budget in filter_budgets(config, train, sky) if budget.filter in names]
    light = target_light([target], budgets, sky.air)
    one_hour = _snr_one_hour(config, train, budgets, light)
    return TimeToSnr(
        filter=name if len(names) == 1 else config.channel[name].filter,
        hours=float(hours_to_snr(config.preferences.wanted_snr, np.hypot.reduce(one_hour[0]))),
        brightness_source=light.brightness_source(0, 0),
    )
