"""Hours that a train needs for a target's wanted signal to noise, night and moon left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.light.signal_to_noise import hours_to_snr, snr2_per_second_px
from nightplan.model.goals import goal_for
from nightplan.planning.optics.train_optics import train_optics
from nightplan.planning.photons.filter_budget import filter_budgets, site_sky
from nightplan.planning.photons.filter_set import leading_role, wanted_filters
from nightplan.planning.photons.photon_budget import target_light

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target


@dataclass(frozen=True)
class TimeToSnr:
    """Equivalent hours (moonless zenith, shutter open) of one field to the wanted S/N.

    Attributes
    ----------
    filter : str
        The filter that it is told for: the one that carries most of the target's goal.
    hours : float
        Infinite where the filter brings no light of the target.
    brightness_source : str
        Where the target's brightness in that filter was taken from.
    """

    filter: str
    hours: float
    brightness_source: str


def leading_filter(config: Config, target: Target) -> str:
    """Name of the filter that carries a target's picture: that of its kind, or where the goal's
    hours are the imager's own the one that is given most; of equals the wheel's first."""
    wanted = wanted_filters(config, target)
    goal = goal_for(config, target)
    if goal is None or not (goal.hours or goal.snr):
        role = leading_role(target.kind, bool(target.lines))
        for item in wanted:
            if config.filter[item.filter].role == role:
                return item.filter
    return max(wanted, key=lambda item: item.goal_h).filter


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
    sky = site_sky(config)
    budgets = filter_budgets(config, train, sky)
    column = [budget.filter for budget in budgets].index(name)
    budget = budgets[column]
    light = target_light([target], [budget], sky.air)
    dimmed = light.rate_e_s_px[0, 0] * 10.0 ** (-0.4 * light.extinction_mag_airmass[0, 0])
    per_second = snr2_per_second_px(
        dimmed, budget.reference_sky_e_s, budget.dark_e_s, budget.read_noise_e, budget.sub_s
    )
    scale = train_optics(config, train).image_scale_arcsec_px
    one_hour = np.sqrt(3600.0 * np.asarray(per_second)) / scale
    return TimeToSnr(
        filter=name,
        hours=float(hours_to_snr(config.preferences.wanted_snr, one_hour)),
        brightness_source=light.brightness_source(0, 0),
    )
