"""One target at one moment: what each filter collects, and what another train would."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from nightplan.dates import DAY_S
from nightplan.errors import InputError
from nightplan.light.spectra import LAMP_END_NM
from nightplan.planning.choosing.train_choice import rank_trains
from nightplan.planning.optics.train_optics import TrainOptics, train_optics
from nightplan.planning.photons.photon_budget import PhotonBudget, photon_budget
from nightplan.planning.tonight.field_turn import MOST_TURN, most_turn
from nightplan.planning.tonight.limits import geometry_margin_deg, usable_margin_deg
from nightplan.planning.tonight.visibility import SkyTracks, best_moment, sky_tracks, time_grid

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.tonight.night import Night

GRID_MIN = 5.0
TURN_GRID_MIN = 1.0
"""As the plan's, so that both have the same subs of a turning field."""
BEYOND_SHARE = 0.01
"""Share of a filter's response beyond the lamps' tables that is worth a notice."""


@dataclass(frozen=True)
class TrainTrade:
    """What a train collects of the same target at the same moment, beside the chosen one.

    `rate_per_pixel` and `rate_per_arcsec2` are those of the target over the chosen train's,
    (filter,): the f-ratio shows in the first, the aperture and the glass in the second.
    """

    optics: TrainOptics
    rate_per_pixel: tuple[float, ...]
    rate_per_arcsec2: tuple[float, ...]
    snr_one_hour: tuple[float, ...]


@dataclass(frozen=True)
class Exposure:
    """One target at one moment of one night through every filter of a train."""

    config: Config
    night: Night
    target: Target
    train: str
    utc_mjd: float
    tracks: SkyTracks
    budget: PhotonBudget
    turn: float
    notices: tuple[str, ...]

    @cached_property
    def trades(self) -> tuple[TrainTrade, ...]:
        """The chosen train and every other, in the configuration's order."""
        here = self.budget
        own_rate = here.light.rate_e_s_px[0]
        found = []
        for name in self.config.train:
            other = here if name == self.train else self._through(name)
            # Above the air, where the ratio is the same and a target that is down has one too.
            per_pixel = other.light.rate_e_s_px[0] / own_rate
            areas = (here.scale_arcsec_px / other.scale_arcsec_px) ** 2
            found.append(
                TrainTrade(
                    optics=train_optics(self.config, name),
                    rate_per_pixel=tuple(map(float, per_pixel)),
                    rate_per_arcsec2=tuple(map(float, per_pixel * areas)),
                    snr_one_hour=tuple(map(float, other.snr_one_hour[0, :, 0])),
                )
            )
        return tuple(found)

    def _through(self, train: str) -> PhotonBudget:
        sky = self.budget.sky
        return photon_budget(self.config, train, [self.target], self.tracks, sky, self.turn)

    def through_the_night(self, step_min: float = GRID_MIN) -> PhotonBudget:
        """The same budget at every step of the window; without one, from noon to noon."""
        whole = self.night.window_utc_mjd is None
        times = time_grid(self.night, step_min, whole_night=whole)
        tracks = sky_tracks(self.night, [self.target.ra_deg], [self.target.dec_deg], times)
        sky = self.budget.sky
        return photon_budget(self.config, self.train, [self.target], tracks, sky, self.turn)


def exposure_of(
    config: Config,
    night: Night,
    target: Target,
    train: str | None = None,
    utc_mjd: float | None = None,
) -> Exposure:
    """Budget of a target at a moment; by default its best of the night, in its best train.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train, or the moment is outside the night (noon to noon).
    """
    notices: list[str] = []
    if train is None:
        train = fitting_train(config, target)
    train_optics(config, train)
    if utc_mjd is None:
        utc_mjd = _best_moment(config, night, target, notices)
    elif not night.noon_utc_mjd <= utc_mjd <= night.next_noon_utc_mjd:
        from nightplan.sky.times import utc_iso

        raise InputError(
            "library",
            "time",
            utc_iso(utc_mjd),
            f"a time from {utc_iso(night.noon_utc_mjd)} to {utc_iso(night.next_noon_utc_mjd)}, "
            f"the night of {night.evening.isoformat()}",
        )
    tracks = sky_tracks(night, [target.ra_deg], [target.dec_deg], [utc_mjd])
    turn = _turn(config, night, target)
    budget = photon_budget(config, train, [target], tracks, turn=turn)
    if tracks.seen_altitude_deg[0, 0] < 0.0:
        notices.append(f"{target.name} is below the horizon then: nothing of it is collected.")
    if budget.sky.spread_mag > 0.0:
        notices.append(
            f"The sky comes from a Bortle class: {budget.sky.dark.zenith_v_mag:.2f} mag/arcsec² "
            f"give or take {budget.sky.spread_mag:g}; measure it for better numbers."
        )
    notices += _beyond_lamp_tables(budget)
    return Exposure(config, night, target, train, utc_mjd, tracks, budget, turn, tuple(notices))


def _turn(config: Config, night: Night, target: Target) -> float:
    """How fast the field turns at most where the target is shot tonight, as a plan has it."""
    if not config.mount.field_turns or night.window_utc_mjd is None:
        return MOST_TURN
    times = time_grid(night, TURN_GRID_MIN)
    tracks = sky_tracks(night, [target.ra_deg], [target.dec_deg], times)
    free = [
        usable_margin_deg(config, night, tracks, item.role, name) >= 0.0
        for name, item in config.filter.items()
    ]
    return float(most_turn(tracks, np.any(free, axis=0))[0])


def _beyond_lamp_tables(budget: PhotonBudget) -> list[str]:
    """A notice for filters that pass light where no lamp spectrum reaches, under lamp light."""
    if not budget.sky.dark.led_nl + budget.sky.dark.sodium_nl:
        return []
    names = []
    for item in budget.filters:
        beyond = item.response.response * (item.response.wavelength_nm > LAMP_END_NM)
        if np.sum(beyond) > BEYOND_SHARE * np.sum(item.response.response):
            names.append(item.filter)
    if not names:
        return []
    return [
        f"Lamp light beyond {LAMP_END_NM:.0f} nm is not known and counts as nothing: under lamps "
        f"the sky in {', '.join(names)} is brighter than said."
    ]


def fitting_train(config: Config, target: Target) -> str:
    """The train that suits a target best, as `nightplan frame` ranks them."""
    return rank_trains(config, target).best.train


def _best_moment(config: Config, night: Night, target: Target, notices: list[str]) -> float:
    """The highest usable moment of the window; failing that the highest, or the darkest."""
    times = time_grid(night, GRID_MIN, whole_night=night.window_utc_mjd is None)
    tracks = sky_tracks(night, [target.ra_deg], [target.dec_deg], times)
    if night.window_utc_mjd is None:
        notices.append("The moment shown is that of the lowest sun.")
        return float(times[np.argmin(tracks.sun_altitude_deg)])
    margin = geometry_margin_deg(config, tracks)
    moment, _ = best_moment(times, tracks.altitude_deg, margin)
    if np.isfinite(moment[0]):
        return _highest_second(config, night, target, float(moment[0]))
    notices.append(f"{target.name} never clears the limits tonight; the moment is its highest.")
    return float(times[np.argmax(tracks.altitude_deg[0])])


def _highest_second(config: Config, night: Night, target: Target, near_utc_mjd: float) -> float:
    """The highest whole second that keeps the limits, within a step of a coarse best moment.

    Between samples the coarse one is interpolated, and so may lie a hair beyond a limit.
    """
    assert night.window_utc_mjd is not None
    start = max(night.window_utc_mjd[0], near_utc_mjd - GRID_MIN / 1440.0)
    end = min(night.window_utc_mjd[1], near_utc_mjd + GRID_MIN / 1440.0)
    times = np.arange(np.ceil(start * DAY_S), np.floor(end * DAY_S) + 1.0) / DAY_S
    tracks = sky_tracks(night, [target.ra_deg], [target.dec_deg], times)
    usable = geometry_margin_deg(config, tracks)[0] >= 0.0
    if not usable.any():
        return near_utc_mjd
    return float(times[np.argmax(np.where(usable, tracks.altitude_deg[0], -np.inf))])
