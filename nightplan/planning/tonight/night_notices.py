"""What a person should know of a night before trusting its times."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from nightplan.sky.times import datetime_from_mjd

if TYPE_CHECKING:
    from nightplan.planning.tonight.night import Interval, Place, WindowKind
    from nightplan.sky.crossings import Crossings

MOST_CLOCK_ERROR_H = 4.0
"""Hours between civil and mean solar time that no inhabited place reaches (from memory: at most
about 3 h, in the west of China)."""

_UTC_NAMES = frozenset({"UTC", "UCT", "GMT", "GMT0", "Greenwich", "Universal", "Zulu"})


def cut_by_noon(window: Interval | None, noon: float, next_noon: float) -> bool:
    """Whether it is dark at civil noon by day and the window goes no further than that."""
    whole = (noon, next_noon)
    return window is not None and window != whole and not {*window}.isdisjoint(whole)


def _clock_error_h(site: Place, utc_mjd: float) -> float:
    """Civil less mean solar time, -12 to 12 h; 0 for a clock that is meant to keep UTC."""
    zone = ZoneInfo(site.timezone)
    offset = datetime_from_mjd(utc_mjd).astimezone(zone).utcoffset()
    if offset is None or site.timezone.rpartition("/")[2] in _UTC_NAMES:
        return 0.0
    return (offset.total_seconds() / 3600.0 - site.longitude_deg / 15.0 + 12.0) % 24.0 - 12.0


def night_notices(
    site: Place,
    sun_crossings: dict[str, Crossings],
    noon: float,
    next_noon: float,
    kind: WindowKind,
    window: Interval | None,
    dark_hours: float,
    orientation_note: str | None,
) -> list[str]:
    """Sentences on polar days and nights, short darkness, odd clocks and clock changes."""
    notices = []
    if _always(sun_crossings["sun"], up=True):
        notices.append("Polar day: the sun does not set from noon to noon.")
    elif _always(sun_crossings["astronomical"], up=False):
        notices.append("Polar night: it is astronomically dark from noon to noon.")
    elif _always(sun_crossings["sun"], up=False):
        notices.append("Polar night: the sun does not rise from noon to noon.")
    if kind == "nautical" and not dark_hours:
        notices.append(
            "No astronomical darkness: the sun stays above -18 degrees; the window is the "
            "nautical night, with the sun below -12 degrees."
        )
    elif kind == "none":
        notices.append("No dark window: the sun stays above -12 degrees all night.")
    elif dark_hours < 1.0:
        notices.append(f"Only {60.0 * dark_hours:.0f} min of astronomical darkness.")
    error_h = _clock_error_h(site, 0.5 * (noon + next_noon))
    if abs(error_h) > MOST_CLOCK_ERROR_H:
        way = "ahead of" if error_h > 0.0 else "behind"
        notices.append(
            f"Clocks of {site.timezone} run {abs(error_h):.1f} h {way} the sun at longitude "
            f"{site.longitude_deg:g} degrees: check timezone, and longitude_deg, which is positive "
            "to the east."
        )
    if window is not None and cut_by_noon(window, noon, next_noon):
        dark = sun_crossings[kind].intervals(noon, next_noon, above=False)
        rest_h = 24.0 * sum(end - start for start, end in dark if (start, end) != window)
        notices.append(
            "It is dark at the site's civil noon: the time zone disagrees with the longitude, and "
            f"noon cuts the night; the window is the longer part, {rest_h:.1f} h of darkness lie "
            "outside it."
        )
    start, end = datetime_from_mjd(noon), datetime_from_mjd(next_noon)
    zone = ZoneInfo(site.timezone)
    before, after = (moment.astimezone(zone).utcoffset() for moment in (start, end))
    if before is not None and after is not None and before != after:
        minutes_on = (after - before).total_seconds() / 60.0
        direction = "forward" if minutes_on > 0 else "back"
        notices.append(f"Clocks go {direction} by {abs(minutes_on):.0f} min during this night.")
    if orientation_note is not None:
        notices.append(orientation_note + ".")
    return notices


def _always(crossings: Crossings, *, up: bool) -> bool:
    return crossings.times.size == 0 and crossings.starts_above == up
