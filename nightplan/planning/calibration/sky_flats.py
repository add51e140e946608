"""Sky flats at dusk and dawn: when each filter's exposure is right, and in which order to go.

The rate follows from the sky model at the zenith (twilight, moon and night sky together) through
each filter. At dusk the sky darkens: narrow filters first, while it is still bright, and L last;
at dawn the reverse (common practice, no source; here it follows from the rates). The twilight
model is good to half a magnitude or a little worse, which shifts a window by two or three
minutes: shoot a trial frame before each set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from nightplan.arrays import Floats
from nightplan.light.background import SkyGeometry, sky_rate
from nightplan.planning.photons.filter_budget import FilterBudget, filter_budgets, site_sky
from nightplan.planning.tonight.night import Night
from nightplan.sky.sun_moon import moon, moon_phase, sun

if TYPE_CHECKING:
    from nightplan.model.config import Config

Edge = Literal["dusk", "dawn"]

STEP_S = 10.0
HIGHEST_SUN_DEG, LOWEST_SUN_DEG = 3.0, -16.0
SPAN_H = 4.0


@dataclass(frozen=True)
class FlatWindow:
    """When one filter's flats come out right.

    `open_utc_mjd` and `close_utc_mjd` bound the time in which the exposure lies between the
    shortest and the longest allowed; none if that never is. `start_utc_mjd` and `end_utc_mjd`
    are its turn in the order of work, `count` the frames that fit into it of those wanted, from
    `first_s` to `last_s` long.
    """

    filter: str
    gain: str
    open_utc_mjd: float | None
    close_utc_mjd: float | None
    start_utc_mjd: float | None
    end_utc_mjd: float | None
    count: int
    wanted: int
    first_s: float | None
    last_s: float | None


def flat_checklist(
    config: Config,
    night: Night,
    edge: Edge,
    train: str,
    filters: Sequence[str],
    count: int | None = None,
) -> list[FlatWindow]:
    """Sky flats of some filters in the order to shoot them.

    Parameters
    ----------
    edge : str
        ``"dusk"`` (of the evening) or ``"dawn"``.
    train : str
    filters : sequence of str
        Names of the wheel's filters.
    count : int, optional
        Flats of each; else as configured.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train.
    """
    wanted = config.calibration.flats if count is None else count
    # The pixels that a flat fills first are those to watch.
    budgets = {
        config.channel[one.filter].filter: one
        for one in sorted(filter_budgets(config, train), key=lambda one: one.reference_sky_e_s)
    }
    chosen = [budgets[name] for name in dict.fromkeys(filters)]
    times = twilight_times(night, edge)
    if not chosen or times.size < 2:
        return [_never(one, wanted) for one in chosen]
    exposures = flat_exposures_s(config, night, chosen, times)
    # The sky of a narrow filter needs the longest exposure at any moment.
    order = np.argsort(-np.median(exposures, axis=1), kind="stable")
    if edge == "dawn":
        order = order[::-1]
    found: list[FlatWindow] = []
    free = -np.inf
    for i in order:
        window = _turn(config, chosen[i], times, exposures[i], free, wanted)
        found.append(window)
        if window.end_utc_mjd is not None:
            free = window.end_utc_mjd + config.wheel.change_s / 86400.0
    return found


def twilight_times(night: Night, edge: Edge) -> Floats:
    """Times every ten seconds of the evening's or morning's twilight, shape (n,); may be empty."""
    event = night.sunset if edge == "dusk" else night.sunrise
    if event.utc_mjd is None:
        return np.empty(0)
    span = SPAN_H / 24.0
    start = event.utc_mjd - (span / 8.0 if edge == "dusk" else span)
    end = event.utc_mjd + (span if edge == "dusk" else span / 8.0)
    times = np.arange(start, end, STEP_S / 86400.0)
    altitude = sun(night.frame, times).altitude_deg
    # Only the side of the night that belongs to the edge: the sun falls at dusk, rises at dawn.
    falling = np.gradient(altitude) < 0.0
    kept = (altitude <= HIGHEST_SUN_DEG) & (altitude >= LOWEST_SUN_DEG)
    kept &= falling if edge == "dusk" else ~falling
    return times[kept]


def flat_exposures_s(
    config: Config, night: Night, budgets: Sequence[FilterBudget], utc_mjd: Floats
) -> Floats:
    """Exposure that brings the zenith's sky to the wanted level, s, shape (filter, time)."""
    sky = site_sky(config)
    sun_place, moon_place = sun(night.frame, utc_mjd), moon(night.frame, utc_mjd)
    geometry = SkyGeometry(
        altitude_deg=np.full((1, utc_mjd.size), 90.0),
        moon_separation_deg=(90.0 - moon_place.altitude_deg)[None, :],
        sun_separation_deg=(90.0 - sun_place.altitude_deg)[None, :],
        moon_altitude_deg=moon_place.altitude_deg,
        moon_distance_km=moon_place.distance_km,
        moon_phase_angle_deg=moon_phase(utc_mjd).phase_angle_deg,
        sun_altitude_deg=sun_place.altitude_deg,
    )
    rate = sky_rate([one.response for one in budgets], geometry, sky.dark, sky.air)[0]
    wanted = np.array([flat_level_e(config, one.gain) for one in budgets])
    factor = np.array([one.px_factor for one in budgets])
    return np.asarray(wanted[:, None] / (rate * factor[:, None]))


def flat_level_e(config: Config, gain: str) -> float:
    """Electrons of a flat at the wanted level: that share of the converter, below full well."""
    setting = config.camera.gain[gain]
    whole = min(2.0**config.camera.bits * setting.e_per_adu, setting.full_well_e)
    return config.calibration.flat_level * whole


def _turn(
    config: Config,
    budget: FilterBudget,
    times: Floats,
    exposure_s: Floats,
    free_utc_mjd: float,
    wanted: int,
) -> FlatWindow:
    """One filter's window, and its frames one after the other from when the camera is free."""
    wish = config.calibration
    right = np.flatnonzero(
        (exposure_s >= wish.flat_shortest_s) & (exposure_s <= wish.flat_longest_s)
    )
    if right.size == 0:
        return _never(budget, wanted)
    opens, closes = float(times[right[0]]), float(times[right[-1]])
    now = max(opens, free_utc_mjd)
    start = now
    lengths: list[float] = []
    while len(lengths) < wanted and now <= closes:
        seconds = float(np.interp(now, times, exposure_s))
        seconds = min(max(seconds, wish.flat_shortest_s), wish.flat_longest_s)
        lengths.append(seconds)
        now += (seconds + config.camera.download_s) / 86400.0
    none = not lengths
    return FlatWindow(
        filter=budget.filter,
        gain=budget.gain,
        open_utc_mjd=opens,
        close_utc_mjd=closes,
        start_utc_mjd=None if none else start,
        end_utc_mjd=None if none else now,
        count=len(lengths),
        wanted=wanted,
        first_s=None if none else lengths[0],
        last_s=None if none else lengths[-1],
    )


def _never(budget: FilterBudget, wanted: int) -> FlatWindow:
    return FlatWindow(budget.filter, budget.gain, None, None, None, None, 0, wanted, None, None)
