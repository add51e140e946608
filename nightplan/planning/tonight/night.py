"""One night at one site: twilights, moon, and the dark window that holds all work.

A night runs from civil noon to the next civil noon at the site, so it is 23, 24 or 25 hours long
where clocks change. Rise and set: the sun's centre at -50 arcmin; the moon's centre at -34 arcmin
less its topocentric semidiameter (its upper limb), both for a sea-level horizon. Twilights: the
sun's airless centre at -6, -12 and -18 degrees.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal, Protocol
from zoneinfo import ZoneInfo

import numpy as np

from nightplan.errors import InputError
from nightplan.model.preferences import DarkClass
from nightplan.planning.tonight.earth_orientation import EarthOrientation, lookup
from nightplan.planning.tonight.night_notices import cut_by_noon, night_notices
from nightplan.sky.apparent import SiteFrame, site_frame
from nightplan.sky.crossings import Crossings, find_crossings
from nightplan.sky.sun_moon import moon, moon_phase, sun
from nightplan.sky.times import datetime_from_mjd, mjd_from_datetime, utc_iso

if TYPE_CHECKING:
    from astropy.time import Time

__all__ = [
    "EVENT_NAMES",
    "Event",
    "Night",
    "Place",
    "Reason",
    "WindowKind",
    "compute_night",
    "default_evening",
    "sun_below_utc_mjd",
    "utc_iso",
]

Reason = Literal["always_up", "always_down", "outside_interval"]
WindowKind = Literal["astronomical", "nautical", "none"]
Interval = tuple[float, float]

SUN_HORIZON_DEG = -50.0 / 60.0
MOON_HORIZON_DEG = -34.0 / 60.0
CIVIL_DEG, NAUTICAL_DEG, ASTRONOMICAL_DEG = -6.0, -12.0, -18.0

_SUN_LEVELS = {
    "sun": SUN_HORIZON_DEG,
    "civil": CIVIL_DEG,
    "nautical": NAUTICAL_DEG,
    "astronomical": ASTRONOMICAL_DEG,
}
_SEARCH_STEP_DAYS = 1.0 / 48.0

EVENT_NAMES = (
    "sunset",
    "civil_dusk",
    "nautical_dusk",
    "astronomical_dusk",
    "astronomical_dawn",
    "nautical_dawn",
    "civil_dawn",
    "sunrise",
    "moonrise",
    "moonset",
)


class Place(Protocol):
    """What a night needs to know of a site; longitudes count positive to the east."""

    @property
    def name(self) -> str: ...
    @property
    def latitude_deg(self) -> float: ...
    @property
    def longitude_deg(self) -> float: ...
    @property
    def elevation_m(self) -> float: ...
    @property
    def timezone(self) -> str: ...


@dataclass(frozen=True)
class Event:
    """A crossing between noon and noon, or the reason why there is none.

    `always_up` and `always_down`: the body stays on that side of the event's altitude all night.
    `outside_interval`: it crosses, but only the other way, or on the other side of the night.
    """

    utc_mjd: float | None
    reason: Reason | None = None


@dataclass(frozen=True)
class Night:
    """The night of one evening's civil date; all times are UTC as MJD."""

    site: Place
    evening: datetime.date
    noon_utc_mjd: float
    midnight_utc_mjd: float
    next_noon_utc_mjd: float
    sunset: Event
    civil_dusk: Event
    nautical_dusk: Event
    astronomical_dusk: Event
    astronomical_dawn: Event
    nautical_dawn: Event
    civil_dawn: Event
    sunrise: Event
    moonrise: Event
    moonset: Event
    moon_illuminated_fraction: float
    """Geocentric, at civil midnight."""
    dark_hours: float
    """Longest stretch of astronomical darkness; 0 where there is none."""
    moonless_dark_hours: float
    """The part of `dark_hours` with the moon's upper limb below the horizon."""
    moon_up_utc_mjd: tuple[Interval, ...]
    """Stretches from noon to noon with the moon's upper limb above the horizon."""
    window_kind: WindowKind
    window_start_utc_mjd: float | None
    window_end_utc_mjd: float | None
    notices: tuple[str, ...]
    earth_orientation: EarthOrientation
    frame: SiteFrame = field(repr=False, compare=False)

    @property
    def events(self) -> dict[str, Event]:
        """All events by name, in the order of `EVENT_NAMES`."""
        return {name: getattr(self, name) for name in EVENT_NAMES}

    @property
    def window_utc_mjd(self) -> Interval | None:
        """Start and end of the window; None if there is none."""
        if self.window_start_utc_mjd is None or self.window_end_utc_mjd is None:
            return None
        return self.window_start_utc_mjd, self.window_end_utc_mjd

    @property
    def window_hours(self) -> float:
        window = self.window_utc_mjd
        return 0.0 if window is None else 24.0 * (window[1] - window[0])

    @property
    def noon_cuts_window(self) -> bool:
        """Whether it is dark at civil noon by day and the window goes no further than that."""
        return cut_by_noon(self.window_utc_mjd, self.noon_utc_mjd, self.next_noon_utc_mjd)

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.site.timezone)

    def local(self, utc_mjd: float) -> datetime.datetime:
        """Civil time at the site, aware, with the offset in force at that moment."""
        return datetime_from_mjd(utc_mjd).astimezone(self.zone)

    @cached_property
    def midnight_time(self) -> Time:
        """Civil midnight as an astropy `Time`."""
        return _time(self.midnight_utc_mjd)


def _time(utc_mjd: float | list[float]) -> Time:
    from astropy.time import Time

    from nightplan.planning.tonight.earth_orientation import configure_astropy

    configure_astropy()
    return Time(utc_mjd, format="mjd", scale="utc")


def default_evening(site: Place, now_utc: datetime.datetime) -> datetime.date:
    """Evening whose civil noon-to-noon holds now: at 02:00 this is yesterday's date.

    Raises ValueError if `now_utc` has no time zone.
    """
    now = mjd_from_datetime(now_utc)
    zone = ZoneInfo(site.timezone)
    today = now_utc.astimezone(zone).date()
    return today if now >= _civil(today, 12, zone) else today - datetime.timedelta(days=1)


def compute_night(
    site: Place, evening: datetime.date, darkness: DarkClass = "astronomical"
) -> Night:
    """Events and window of the night that follows the civil date `evening` at the site.

    The window is the longest single stretch with the sun below -18 degrees; where `darkness` asks
    for no more, or there is none (with a notice), below -12 (`nautical`); failing that, `none`.
    Sun events are those that bound the window where the night holds them; where noon and noon hold
    two of a kind (the clock far from the sun, or the polar circle), the one at the window's side
    is given. Where a dawn would come before its dusk, as in a polar winter whose noon is all the
    twilight there is, the one that is none of this night's is left out (`outside_interval`),
    unless noon cuts the window itself. Of two moonrises or moonsets in one night, which happens
    beyond the polar circles, the first is given; `moon_up_utc_mjd` holds them all.

    Raises InputError for a date that the site's calendar skipped (crossing the date line).
    """
    zone = ZoneInfo(site.timezone)
    noon = _civil(evening, 12, zone)
    midnight = _civil(evening + datetime.timedelta(days=1), 0, zone)
    next_noon = _civil(evening + datetime.timedelta(days=1), 12, zone)
    if next_noon - noon < 0.5:
        raise InputError(
            "night", "date", evening.isoformat(), f"a date in the calendar of {site.timezone}"
        )

    middle = 0.5 * (noon + next_noon)
    orientation = lookup(middle)
    frame = site_frame(
        site.latitude_deg,
        site.longitude_deg,
        site.elevation_m,
        middle,
        orientation.dut1_s,
        orientation.polar_x_arcsec,
        orientation.polar_y_arcsec,
    )
    found = find_crossings(
        lambda t: sun(frame, t).altitude_deg,
        noon,
        next_noon,
        _SEARCH_STEP_DAYS,
        list(_SUN_LEVELS.values()),
    )
    sun_crossings = dict(zip(_SUN_LEVELS, found, strict=True))
    (moon_crossings,) = find_crossings(
        lambda t: _moon_limb_deg(frame, t),
        noon,
        next_noon,
        _SEARCH_STEP_DAYS,
        [MOON_HORIZON_DEG],
    )

    dark = _longest_dark(sun_crossings["astronomical"], noon, next_noon)
    kind, window = _window(sun_crossings, noon, next_noon, darkness)
    anchor = midnight if window is None else 0.5 * (window[0] + window[1])
    cut = cut_by_noon(window, noon, next_noon)
    events = {
        "moonrise": _event(moon_crossings, moon_crossings.rises()[:1]),
        "moonset": _event(moon_crossings, moon_crossings.falls()[:1]),
    }
    for key, dusk, dawn in (
        ("sun", "sunset", "sunrise"),
        ("civil", "civil_dusk", "civil_dawn"),
        ("nautical", "nautical_dusk", "nautical_dawn"),
        ("astronomical", "astronomical_dusk", "astronomical_dawn"),
    ):
        crossings = sun_crossings[key]
        falls = _last_before(crossings.falls(), anchor)
        rises = _first_after(crossings.rises(), anchor)
        if falls.size and rises.size and rises[0] < falls[0] and not cut:
            falls, rises = falls[falls <= anchor], rises[rises > anchor]
        events[dusk] = _event(crossings, falls)
        events[dawn] = _event(crossings, rises)

    moon_up = tuple(moon_crossings.intervals(noon, next_noon, above=True))
    dark_hours, moonless = 0.0, 0.0
    if dark is not None:
        dark_hours = 24.0 * (dark[1] - dark[0])
        with_moon = sum(max(0.0, min(b, dark[1]) - max(a, dark[0])) for a, b in moon_up)
        moonless = max(0.0, dark_hours - 24.0 * with_moon)

    return Night(
        site=site,
        evening=evening,
        noon_utc_mjd=noon,
        midnight_utc_mjd=midnight,
        next_noon_utc_mjd=next_noon,
        **events,
        moon_illuminated_fraction=float(moon_phase(midnight).illuminated_fraction[0]),
        dark_hours=dark_hours,
        moonless_dark_hours=moonless,
        moon_up_utc_mjd=moon_up,
        window_kind=kind,
        window_start_utc_mjd=None if window is None else window[0],
        window_end_utc_mjd=None if window is None else window[1],
        notices=tuple(
            night_notices(
                site, sun_crossings, noon, next_noon, kind, window, dark_hours, orientation.note
            )
        ),
        earth_orientation=orientation,
        frame=frame,
    )


def sun_below_utc_mjd(night: Night, altitude_deg: float) -> float | None:
    """Moment before the middle of the window when the sun sinks below an airless altitude.

    None if it does not between noon and then. The middle is civil midnight without a window.
    """
    window = night.window_utc_mjd
    middle = night.midnight_utc_mjd if window is None else 0.5 * sum(window)
    (crossings,) = find_crossings(
        lambda t: sun(night.frame, t).altitude_deg,
        night.noon_utc_mjd,
        middle,
        _SEARCH_STEP_DAYS,
        [altitude_deg],
    )
    falls = crossings.falls()
    return float(falls[-1]) if falls.size else None


def _civil(day: datetime.date, hour: int, zone: ZoneInfo) -> float:
    # A wall time that the clocks skip counts at the offset before the change (PEP 495, fold 0).
    return mjd_from_datetime(datetime.datetime(day.year, day.month, day.day, hour, tzinfo=zone))


def _moon_limb_deg(frame: SiteFrame, utc_mjd: np.ndarray) -> np.ndarray:
    place = moon(frame, utc_mjd)
    return place.altitude_deg + place.semidiameter_deg


def _window(
    sun_crossings: dict[str, Crossings], noon: float, next_noon: float, darkness: DarkClass
) -> tuple[WindowKind, Interval | None]:
    kinds: tuple[DarkClass, ...] = ("astronomical", "nautical")
    for kind in kinds[kinds.index(darkness) :]:
        longest = _longest_dark(sun_crossings[kind], noon, next_noon)
        if longest is not None:
            return kind, longest
    return "none", None


def _longest_dark(crossings: Crossings, noon: float, next_noon: float) -> Interval | None:
    dark = crossings.intervals(noon, next_noon, above=False)
    return max(dark, key=lambda interval: interval[1] - interval[0], default=None)


def _last_before(times: np.ndarray, anchor: float) -> np.ndarray:
    before = times[times <= anchor]
    return before[-1:] if before.size else times[:1]


def _first_after(times: np.ndarray, anchor: float) -> np.ndarray:
    after = times[times > anchor]
    return after[:1] if after.size else times[-1:]


def _event(crossings: Crossings, chosen: np.ndarray) -> Event:
    if chosen.size:
        return Event(float(chosen[0]))
    if crossings.times.size:
        return Event(None, "outside_interval")
    return Event(None, "always_up" if crossings.starts_above else "always_down")
