"""What the coming nights offer: equivalent hours a clock hour, by night, slot, target and filter.

A night's working span (window less set-up, tear-down and battery) is cut into equal slots of about
half an hour. In each, worth is integrated on samples ten minutes apart, inside the same limits and
from the same photon budget as the plan of a single night, and taken net of downloads, dithers and
the meridian flip. What changing filter or target costs depends on the order of work, so it is
charged where that is decided (`nightplan.planning.ahead.choice`).

A mosaic counts as one place, its target's, with the goal of all its panels together.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats
from nightplan.errors import InputError
from nightplan.light.background import SkyGeometry
from nightplan.planning.photons.photon_budget import PhotonBudget, photon_budget, sky_geometry
from nightplan.planning.schedule.night_problem import overheads
from nightplan.planning.schedule.problem import Overheads
from nightplan.planning.tonight.constraints import constraint_grade
from nightplan.planning.tonight.limits import (
    dark_class,
    geometry_margin_deg,
    moon_distance_limit_deg,
    planned_night,
    usable_margin_deg,
)
from nightplan.planning.tonight.night import Night
from nightplan.planning.tonight.night_end import Limit, latest_end
from nightplan.planning.tonight.setup_timeline import setup_timeline
from nightplan.planning.tonight.visibility import SkyTracks, meridian_transit_utc_mjd, sky_tracks

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.filter_roles import Role
    from nightplan.model.target import Target

Progress = Callable[[int, int], None]

SLOT_MIN = 30.0
SAMPLE_MIN = 10.0
SAMPLES_A_SLOT = 3
NIGHTS_AT_ONCE = 16
"""Nights whose worth is worked out together, so that work arrays stay small."""

_HOUR_S = 3600.0


@dataclass(frozen=True, eq=False)
class NightsAhead:
    """Consecutive nights and the span of each in which subs can lie.

    Attributes
    ----------
    evenings : tuple of datetime.date, length n
    nights : tuple of Night or None, length n
        None for a date that the site's calendar skipped.
    start_utc_mjd, end_utc_mjd : ndarray, shape (n,)
        Working span; NaN where there is none.
    slots : ndarray of int, shape (n,)
        Slots of the span, 0 where there is none.
    slot_h : ndarray, shape (n,)
        Length of a slot, hours; 0 where there is none.
    end_limit : tuple of str or None, length n
        What ends the span: `window`, `tear_down` or `battery`; None for a night without a window.
    """

    evenings: tuple[datetime.date, ...]
    nights: tuple[Night | None, ...]
    start_utc_mjd: Floats
    end_utc_mjd: Floats
    slots: NDArray[np.intp]
    slot_h: Floats
    end_limit: tuple[Limit | None, ...]

    def __len__(self) -> int:
        return len(self.evenings)

    def first(self, nights: int) -> NightsAhead:
        """The first so many of them."""
        fields = self.__dataclass_fields__
        return NightsAhead(*(getattr(self, name)[:nights] for name in fields))

    @property
    def work_h(self) -> Floats:
        """Hours of each night's working span, shape (n,)."""
        return self.slots * self.slot_h

    @property
    def moon_illuminated_fraction(self) -> Floats:
        """Geocentric at civil midnight, shape (n,); NaN for a skipped date."""
        return np.array(
            [np.nan if night is None else night.moon_illuminated_fraction for night in self.nights]
        )


@dataclass(frozen=True, eq=False)
class Offer:
    """What one train collects of each target on each night.

    Attributes
    ----------
    train : str
    filters : tuple of str
        Channels; every axis of filters is theirs.
    rate : ndarray, shape (night, slot, target, filter)
        Equivalent hours per hour on the clock, net of downloads, dithers and flip; slots that a
        night does not have hold 0.
    shutter : ndarray, shape (filter,)
        Share of the clock with the shutter open while a filter runs.
    budget : PhotonBudget
        Of the first night that has a window, one row a target; for wanted signal to noise.
    """

    train: str
    filters: tuple[str, ...]
    rate: Floats
    shutter: Floats
    budget: PhotonBudget


def nights_ahead(
    config: Config, first: datetime.date, count: int, progress: Progress | None = None
) -> NightsAhead:
    """Nights of `count` evenings from `first` on.

    `progress` is called with the nights done and their number.
    """
    slot_min = max(SLOT_MIN, config.preferences.shortest_block_min)
    evenings, nights, spans, limits = [], [], [], []
    for step in range(count):
        evening = first + datetime.timedelta(days=step)
        try:
            night = planned_night(config, evening)
        except InputError:  # crossing the date line took this date out of the calendar
            night = None
        evenings.append(evening)
        nights.append(night)
        span, limit = _working_span(config, night)
        spans.append(span)
        limits.append(limit)
        if progress is not None:
            progress(step + 1, count)
    edges = np.array(spans, dtype=np.float64).reshape(-1, 2)
    hours = np.nan_to_num(24.0 * (edges[:, 1] - edges[:, 0]))
    slots = np.where(
        hours * 60.0 >= config.preferences.shortest_block_min,
        np.maximum(1, np.ceil(hours * 60.0 / slot_min - 1e-6)),
        0,
    ).astype(np.intp)
    slots[hours <= 0.0] = 0
    return NightsAhead(
        evenings=tuple(evenings),
        nights=tuple(nights),
        start_utc_mjd=edges[:, 0],
        end_utc_mjd=edges[:, 1],
        slots=slots,
        slot_h=np.where(slots > 0, hours / np.maximum(slots, 1), 0.0),
        end_limit=tuple(limits),
    )


def _working_span(config: Config, night: Night | None) -> tuple[tuple[float, float], Limit | None]:
    """From the end of set-up to the last moment for a sub, as the plan of one night has it.

    With it what sets that moment; None without a window.
    """
    nothing = (np.nan, np.nan)
    if night is None or night.window_utc_mjd is None:
        return nothing, None
    setup = setup_timeline(config, night)
    start = night.window_utc_mjd[0] + setup.into_window_s / 86400.0
    last = latest_end(config, night, setup.power_on_utc_mjd or night.window_utc_mjd[0])
    assert last is not None
    return (start, last.utc_mjd) if last.utc_mjd > start else nothing, last.limit


def offers(
    config: Config,
    nights: NightsAhead,
    targets: Sequence[Target],
    trains: Sequence[str],
    progress: Progress | None = None,
) -> tuple[tuple[Offer, ...], Floats]:
    """What each train collects, and the hours inside the limits of altitude and skyline.

    Returns
    -------
    tuple of Offer
        One a train; empty if no night has a working span.
    ndarray, shape (night, target)
        Hours on the clock that each target keeps altitude, skyline and the mount's highest
        altitude within the working span, whatever the moon does.
    """
    worked = np.flatnonzero(nights.slots)
    most = int(nights.slots.max(initial=0))
    up_h = np.zeros((len(nights), len(targets)))
    if worked.size == 0 or not targets:
        return (), up_h
    filters = tuple(config.channel)
    rates = {train: np.zeros((len(nights), most, len(targets), len(filters))) for train in trains}
    budgets: dict[str, PhotonBudget] = {}
    for first in range(0, worked.size, NIGHTS_AT_ONCE):
        part = worked[first : first + NIGHTS_AT_ONCE]
        skies = [_night_sky(config, nights, int(index), targets) for index in part]
        for index, sky in zip(part, skies, strict=True):
            up_h[index] = sky.up_h
        geometry = _joined([sky_geometry(sky.tracks) for sky in skies])
        airmass = np.concatenate([sky.tracks.airmass for sky in skies], axis=1)
        utc_mjd = np.concatenate([sky.tracks.utc_mjd for sky in skies])
        graded = [constraint_grade(config, sky.tracks) for sky in skies]
        grades = [one for one in graded if one is not None]
        grade = np.concatenate(grades, axis=1) if grades else None
        for train in trains:
            if train not in budgets:
                budgets[train] = photon_budget(config, train, targets, skies[0].tracks)
            joined = replace(
                budgets[train],
                geometry=geometry,
                airmass=airmass,
                utc_mjd=utc_mjd,
                grade=grade,
            )
            worth = np.nan_to_num(joined.worth)
            at = 0
            for index, sky in zip(part, skies, strict=True):
                size = sky.tracks.utc_mjd.size
                rates[train][index] = _slot_rates(
                    config, nights, int(index), sky, train, budgets[train],
                    worth[:, :, at : at + size], most,
                )  # fmt: skip
                at += size
        if progress is not None:
            progress(first + part.size, worked.size)
    return (
        tuple(
            Offer(
                train,
                filters,
                rates[train],
                _shutter(config, nights, budgets[train], train),
                budgets[train],
            )
            for train in trains
        ),
        up_h,
    )


@dataclass(frozen=True, eq=False)
class _NightSky:
    """One night's samples. By filter: the share of each step between samples that lies inside all
    limits, (target, step), and whether each sample does, (target, time)."""

    tracks: SkyTracks
    usable_share: dict[str, Floats]
    usable: dict[str, NDArray[np.bool_]]
    transit_utc_mjd: Floats
    up_h: Floats


def _night_sky(
    config: Config, nights: NightsAhead, index: int, targets: Sequence[Target]
) -> _NightSky:
    night = nights.nights[index]
    assert night is not None
    ra = np.array([target.ra_deg for target in targets])
    dec = np.array([target.dec_deg for target in targets])
    steps = int(nights.slots[index]) * _samples_a_slot(nights, index)
    utc_mjd = np.linspace(nights.start_utc_mjd[index], nights.end_utc_mjd[index], steps + 1)
    tracks = sky_tracks(night, ra, dec, utc_mjd)
    by_rule: dict[tuple[object, ...], Floats] = {}
    share, usable = {}, {}
    for name, channel in config.channel.items():
        item = config.filter[channel.filter]
        rule = (*_rule(config, item.role), item.moon_distance_deg)
        if rule not in by_rule:
            by_rule[rule] = usable_margin_deg(config, night, tracks, item.role, channel.filter)
        share[name] = _step_share(by_rule[rule])
        usable[name] = by_rule[rule] >= 0.0
    up = _step_share(geometry_margin_deg(config, tracks))
    step_h = 24.0 * (utc_mjd[-1] - utc_mjd[0]) / steps
    return _NightSky(
        tracks=tracks,
        usable_share=share,
        usable=usable,
        transit_utc_mjd=meridian_transit_utc_mjd(night, ra, dec),
        up_h=up.sum(axis=1) * step_h,
    )


def _samples_a_slot(nights: NightsAhead, index: int) -> int:
    return max(SAMPLES_A_SLOT, round(nights.slot_h[index] * 60.0 / SAMPLE_MIN))


def _rule(config: Config, role: Role) -> tuple[object, ...]:
    """Filters of one rule share their limits."""
    return dark_class(config, role), moon_distance_limit_deg(config, role)


def _step_share(margin_deg: Floats) -> Floats:
    """Share of each step between samples with a margin of at least zero, (target, step)."""
    left, right = margin_deg[:, :-1], margin_deg[:, 1:]
    share = ((left >= 0.0) & (right >= 0.0)).astype(np.float64)
    cut = (left >= 0.0) != (right >= 0.0)
    share[cut] = (np.maximum(left, right)[cut]) / np.abs(left - right)[cut]
    return share


def _slot_rates(
    config: Config,
    nights: NightsAhead,
    index: int,
    sky: _NightSky,
    train: str,
    budget: PhotonBudget,
    worth: Floats,
    most: int,
) -> Floats:
    """Rates of one night, (slot, target, filter), from worth (target, filter, time)."""
    night = nights.nights[index]
    assert night is not None
    slots, slot_h = int(nights.slots[index]), float(nights.slot_h[index])
    rules = overheads(config, night, train)
    shutter = _open_share(rules, budget)
    answer = np.zeros((most, worth.shape[0], worth.shape[1]))
    flip_h = rules.flip_s + rules.slew_centre_s + rules.settle_s + rules.stop_before_meridian_s
    flip_h = (flip_h + (rules.focus_s if rules.focus_after_flip else 0.0)) / _HOUR_S
    at = np.floor((sky.transit_utc_mjd - nights.start_utc_mjd[index]) * 24.0 / slot_h)
    flips = (np.arange(slots)[:, None] == at[None, :]) & config.mount.flips
    keep = np.where(flips, max(0.0, 1.0 - flip_h / slot_h), 1.0)
    for column, name in enumerate(budget.filter_names):
        mask = sky.usable[name]
        value = np.where(mask, worth[:, column], 0.0)
        count = mask[:, :-1].astype(np.float64) + mask[:, 1:]
        mean = (value[:, :-1] + value[:, 1:]) / np.maximum(count, 1.0)
        pieces = mean * sky.usable_share[name]
        by_slot = pieces.reshape(pieces.shape[0], slots, -1).mean(axis=2)
        answer[:slots, :, column] = shutter[column] * by_slot.T * keep
    return answer


def _open_share(rules: Overheads, budget: PhotonBudget) -> Floats:
    """Share of the clock with the shutter open, (filter,): downloads and dithers taken off."""
    sub_s = np.asarray(budget.sub_s, dtype=float)
    open_share: Floats = sub_s / (sub_s + rules.download_s + rules.dither_s / rules.dither_every)
    return open_share


def _shutter(config: Config, nights: NightsAhead, budget: PhotonBudget, train: str) -> Floats:
    night = nights.nights[int(np.argmax(nights.slots > 0))]
    assert night is not None
    return _open_share(overheads(config, night, train), budget)


def _joined(parts: Sequence[SkyGeometry]) -> SkyGeometry:
    """Nights one after the other along the time axis."""
    return SkyGeometry(
        **{
            name: np.concatenate([getattr(part, name) for part in parts], axis=-1)
            for name in SkyGeometry.__dataclass_fields__
        }
    )
