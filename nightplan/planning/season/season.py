"""A year at a glance: usable hours of targets × nights, with and without the moon.

Whether a target keeps the limits (altitude, skyline, the mount's highest altitude) depends only on
the Earth's rotation angle, so one sidereal day of each target, integrated once, serves every night
of the year: a night's hours are the difference of that integral between the rotation angles of
its window's ends. Targets stand at their apparent places of the middle of the span; precession and
aberration move them by less than 50 arcsec from there within half a year, 3 s of time.

The windows are those of `planning.tonight.night`: astronomical darkness from noon to noon, the
nautical night where there is none, else none. The crossings of a whole year are sought at once.
"""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats
from nightplan.planning.tonight.constraints import constrained
from nightplan.planning.tonight.limits import geometry_margin_deg
from nightplan.planning.tonight.night import (
    ASTRONOMICAL_DEG,
    MOON_HORIZON_DEG,
    NAUTICAL_DEG,
    Place,
)
from nightplan.planning.tonight.visibility import frame_at, sky_tracks, usable_hours
from nightplan.sky.apparent import TURNS_PER_UT1_DAY, SiteFrame, local_rotation_rad
from nightplan.sky.crossings import Crossings, find_crossings
from nightplan.sky.sun_moon import moon, moon_phase, sun
from nightplan.sky.times import mjd_from_datetime

if TYPE_CHECKING:
    from nightplan.model.config import Config


NIGHTS_A_YEAR = 365
BINS = 1440
"""Steps of a sidereal day; a window's end within a step that holds a crossing costs up to 15 s."""
CHUNK = 400
"""Targets at a time: about 40 MB of working arrays."""
_STEP_DAYS = 1.0 / 48.0
CONSTRAINT_STEP_DAYS = 5.0 / 1440.0
"""Samples of a night with constraints; the edge of one is met within half of this."""


@dataclass(frozen=True)
class YearNights:
    """Windows and moon of consecutive nights at one site.

    Attributes
    ----------
    evenings : tuple of datetime.date, length n
    window_utc_mjd : ndarray, shape (n, 2)
        Start and end; NaN where there is no window.
    window_kind : tuple of str, length n
    moonless_utc_mjd : ndarray, shape (n, k, 2)
        Stretches of the window with the moon's upper limb down; NaN fills unused places.
    moon_illuminated_fraction : ndarray, shape (n,)
        Geocentric, at civil midnight.
    frame : SiteFrame
        Of the middle of the span.
    """

    evenings: tuple[datetime.date, ...]
    window_utc_mjd: Floats
    window_kind: tuple[str, ...]
    moonless_utc_mjd: Floats
    moon_illuminated_fraction: Floats
    frame: SiteFrame

    def __len__(self) -> int:
        return len(self.evenings)


@dataclass(frozen=True)
class Season:
    """Hours of targets × nights: `usable_hours` and `moonless_hours` have shape (target, night)."""

    nights: YearNights
    usable_hours: Floats
    moonless_hours: Floats


@dataclass(frozen=True)
class Week:
    """Seven nights and what they hold of one target."""

    first: datetime.date
    usable_hours: float
    moonless_hours: float


def year_nights(site: Place, first: datetime.date, nights: int = NIGHTS_A_YEAR) -> YearNights:
    """Windows, moon and phase of `nights` evenings from `first` on.

    A date that the site's calendar skipped is left out.
    """
    from zoneinfo import ZoneInfo

    zone = ZoneInfo(site.timezone)
    days = [first + datetime.timedelta(days=step) for step in range(nights + 1)]
    noons = np.array([_civil(day, 12, zone) for day in days])
    midnights = np.array([_civil(day, 0, zone) for day in days[1:]])
    frame = frame_at(site, 0.5 * float(noons[0] + noons[-1]))
    start, end = float(noons[0]), float(noons[-1])
    astronomical, nautical = find_crossings(
        lambda t: sun(frame, t).altitude_deg,
        start,
        end,
        _STEP_DAYS,
        [ASTRONOMICAL_DEG, NAUTICAL_DEG],
    )
    (limb,) = find_crossings(
        lambda t: _moon_limb_deg(frame, t), start, end, _STEP_DAYS, [MOON_HORIZON_DEG]
    )
    kept = [i for i in range(nights) if noons[i + 1] - noons[i] >= 0.5]
    windows, kinds, moonless = [], [], []
    for i in kept:
        kind, window = _window(astronomical, nautical, noons[i], noons[i + 1])
        kinds.append(kind)
        windows.append(window)
        moonless.append(_below(limb, *window) if kind != "none" else [])
    most = max([len(parts) for parts in moonless] + [1])
    padded = np.full((len(kept), most, 2), np.nan)
    for row, parts in enumerate(moonless):
        padded[row, : len(parts)] = np.array(parts).reshape(-1, 2)
    fractions = moon_phase(midnights[kept]).illuminated_fraction if kept else np.empty(0)
    return YearNights(
        evenings=tuple(days[i] for i in kept),
        window_utc_mjd=np.array(windows, dtype=np.float64).reshape(-1, 2),
        window_kind=tuple(kinds),
        moonless_utc_mjd=padded,
        moon_illuminated_fraction=np.asarray(fractions, dtype=np.float64),
        frame=frame,
    )


def season(
    config: Config,
    nights: YearNights,
    ra_deg: ArrayLike,
    dec_deg: ArrayLike,
    progress: Callable[[int, int], None] | None = None,
) -> Season:
    """Usable hours of ICRS places (target,) on every night, chunk by chunk.

    `progress` is called with the targets done and their number. Constraints of the configuration
    may ask for the moon or the date, so with them each night is gone through by itself.
    """
    ra = np.atleast_1d(np.asarray(ra_deg, dtype=np.float64))
    dec = np.atleast_1d(np.asarray(dec_deg, dtype=np.float64))
    if config.constraints:
        return _night_by_night(config, nights, ra, dec)
    window = _turns(nights, nights.window_utc_mjd)
    moonless = _turns(nights, nights.moonless_utc_mjd)
    usable_hours = np.empty((ra.size, len(nights)))
    moonless_hours = np.empty((ra.size, len(nights)))
    for first in range(0, ra.size, CHUNK):
        rows = slice(first, first + CHUNK)
        clock = _SiderealClock(config, nights.frame, ra[rows], dec[rows])
        usable_hours[rows] = clock.hours(window)
        moonless_hours[rows] = clock.hours(moonless).sum(axis=-1)
        if progress is not None:
            progress(min(first + CHUNK, ra.size), ra.size)
    return Season(nights, usable_hours, np.minimum(moonless_hours, usable_hours))


def _night_by_night(config: Config, nights: YearNights, ra_deg: Floats, dec_deg: Floats) -> Season:
    usable, moonless = (np.zeros((ra_deg.size, len(nights))) for _ in range(2))
    for night, (start, end) in enumerate(nights.window_utc_mjd):
        if not np.isfinite(start):
            continue
        times = np.linspace(start, end, 2 + int((end - start) / CONSTRAINT_STEP_DAYS))
        tracks = sky_tracks(frame_at(config.site, 0.5 * (start + end)), ra_deg, dec_deg, times)
        margin = constrained(config, tracks, geometry_margin_deg(config, tracks))
        moon_limb_deg = tracks.moon_altitude_deg + tracks.moon_semidiameter_deg
        usable[:, night] = usable_hours(times, margin)
        moonless[:, night] = usable_hours(
            times, np.minimum(margin, (MOON_HORIZON_DEG - moon_limb_deg)[None, :])
        )
    return Season(nights, usable, moonless)


class _SiderealClock:
    """Integral of the usable time of targets over one sidereal day."""

    def __init__(self, config: Config, frame: SiteFrame, ra_deg: Floats, dec_deg: Floats) -> None:
        times = frame.utc_mjd + np.linspace(-0.5, 0.5, BINS + 1) / TURNS_PER_UT1_DAY
        tracks = sky_tracks(frame, ra_deg, dec_deg, times)
        margin = geometry_margin_deg(config, tracks)
        left, right = margin[:, :-1], margin[:, 1:]
        share = (left >= 0.0).astype(np.float64)
        cut = (left >= 0.0) != (right >= 0.0)
        share[cut] = (np.maximum(left, right) / np.abs(left - right))[cut]
        hours_a_bin = 24.0 / TURNS_PER_UT1_DAY / BINS
        self._sums = np.zeros(margin.shape)
        np.cumsum(share * hours_a_bin, axis=1, out=self._sums[:, 1:])

    def hours(self, turns: Floats) -> Floats:
        """Usable hours (target, ...) between pairs of turns (..., 2); 0 where they are NaN."""
        ends = self._at(turns)
        spans = ends[..., 1] - ends[..., 0]
        return np.where(np.isnan(spans), 0.0, np.maximum(spans, 0.0))

    def _at(self, turns: Floats) -> Floats:
        whole = np.floor(turns)
        place = (turns - whole) * BINS
        known = np.isfinite(place)
        low = np.clip(np.where(known, place, 0.0).astype(int), 0, BINS - 1)
        low_sum, high_sum = self._sums[:, low], self._sums[:, low + 1]
        inside = low_sum + (high_sum - low_sum) * (place - low)
        return np.asarray(inside + whole * self._sums[:, -1].reshape(-1, *([1] * turns.ndim)))


def _turns(nights: YearNights, utc_mjd: Floats) -> Floats:
    """Sidereal turns since the start of the clock's day, shape kept, NaN kept."""
    known = np.isfinite(utc_mjd)
    times = np.where(known, utc_mjd, nights.frame.utc_mjd)
    since = local_rotation_rad(nights.frame, times) - nights.frame.local_rotation_rad
    return np.where(known, since / (2.0 * np.pi) + 0.5, np.nan)


def best_weeks(nights: YearNights, usable: Floats, moonless: Floats, count: int = 4) -> list[Week]:
    """The `count` sevens of nights with the most moonless, then usable hours; none overlap.

    Hours have shape (night,).
    """
    if len(nights) < 7:
        return []
    window = np.ones(7)
    weeks = np.stack([np.convolve(moonless, window, "valid"), np.convolve(usable, window, "valid")])
    order = np.lexsort((np.arange(weeks.shape[1]), -weeks[1].round(6), -weeks[0].round(6)))
    taken: list[int] = []
    for first in order:
        if len(taken) == count or weeks[1, first] <= 0.0:
            break
        if all(abs(int(first) - other) >= 7 for other in taken):
            taken.append(int(first))
    return [Week(nights.evenings[i], float(weeks[1, i]), float(weeks[0, i])) for i in sorted(taken)]


def useful_span(
    nights: YearNights, usable: Floats, least_hours: float
) -> tuple[datetime.date, datetime.date] | None:
    """First and last night of the longest run with at least `least_hours`, the year as a ring.

    So the first may come after the last in the calendar: the run goes through the list's end.
    Gaps up to two weeks (short midsummer nights apart) do not end a run. None without a night.
    """
    good = np.flatnonzero(usable >= least_hours)
    if good.size == 0:
        return None
    count = len(nights)
    steps = np.diff(np.append(good, good[0] + count))
    breaks = np.flatnonzero(steps > 14)
    if breaks.size == 0:
        return nights.evenings[0], nights.evenings[-1]
    starts = np.append(good[1:], good[0])[breaks]
    ends = np.roll(good[breaks], -1)
    lengths = (ends - starts) % count
    longest = int(np.argmax(lengths))
    return nights.evenings[int(starts[longest])], nights.evenings[int(ends[longest])]


def month_sums(nights: YearNights, hours: Floats) -> tuple[list[tuple[int, int]], Floats]:
    """Months (year, month) in order, and the sums of hours (target, night) as (target, month)."""
    keys = [(day.year, day.month) for day in nights.evenings]
    months = sorted(set(keys))
    column = np.array([months.index(key) for key in keys])
    member = (column[:, None] == np.arange(len(months))).astype(np.float64)
    return months, np.atleast_2d(hours) @ member


def _below(crossings: Crossings, start: float, end: float) -> list[tuple[float, float]]:
    """Stretches of start..end below the level."""
    inside = (crossings.times > start) & (crossings.times < end)
    before = int(np.searchsorted(crossings.times, start, side="right"))
    above = crossings.starts_above if before == 0 else bool(crossings.rising[before - 1])
    edges = [start, *(float(t) for t in crossings.times[inside]), end]
    return [
        (a, b)
        for i, (a, b) in enumerate(itertools.pairwise(edges))
        if (i % 2 == 0) != above and b > a
    ]


def _window(
    astronomical: Crossings, nautical: Crossings, noon: float, next_noon: float
) -> tuple[str, tuple[float, float]]:
    for kind, crossings in (("astronomical", astronomical), ("nautical", nautical)):
        dark = _below(crossings, noon, next_noon)
        if dark:
            return kind, max(dark, key=lambda span: span[1] - span[0])
    return "none", (np.nan, np.nan)


def _moon_limb_deg(frame: SiteFrame, utc_mjd: Floats) -> Floats:
    place = moon(frame, utc_mjd)
    return place.altitude_deg + place.semidiameter_deg


def _civil(day: datetime.date, hour: int, zone: datetime.tzinfo) -> float:
    return mjd_from_datetime(datetime.datetime(day.year, day.month, day.day, hour, tzinfo=zone))


__all__: Sequence[str] = (
    "Season",
    "Week",
    "YearNights",
    "best_weeks",
    "month_sums",
    "season",
    "useful_span",
    "year_nights",
)
