"""A moment of one night as a person gives it: ``now``, a clock time at the site, or ISO 8601."""

from __future__ import annotations

import datetime
import re

from nightplan.errors import InputError
from nightplan.model.site import Site
from nightplan.sky.times import mjd_from_datetime, mjd_from_iso

_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?\s*(Z|[+-]\d{2}:?\d{2})?", re.ASCII)
ACCEPTED = (
    "now, the site's clock such as 23:40, the clock with its offset such as 23:40+01:00, or a date "
    "and time in ISO 8601 with Z or an offset such as 2027-10-07T01:10:00Z"
)


def is_clock_time(text: str) -> bool:
    """Whether a text gives a clock time alone, so that the evening must be known for it."""
    return _CLOCK.fullmatch(text.strip()) is not None


def moment_utc_mjd(
    text: str,
    site: Site,
    evening: datetime.date,
    now_utc: datetime.datetime,
    key: str = "start",
) -> float:
    """UTC MJD of a moment of the night that begins on `evening`.

    Clock times lie between the civil noon of that evening and the next; without an offset they
    are the site's.

    Raises
    ------
    InputError
        The text is no such time, or the clocks change in this night and show the time twice or
        never.
    """
    wanted = text.strip()
    if wanted.lower() == "now":
        return mjd_from_datetime(now_utc)
    clock = _CLOCK.fullmatch(wanted)
    if clock is None:
        try:
            return mjd_from_iso(wanted)
        except ValueError as error:
            raise InputError("library", key, text, ACCEPTED) from error
    try:
        time = datetime.time(int(clock[1]), int(clock[2]), int(clock[3] or 0))
    except ValueError as error:
        raise InputError("library", key, text, ACCEPTED) from error
    found = _in_night(time, clock[4], site, evening)
    if len(found) == 1:
        return mjd_from_datetime(found[0])
    if not found:
        accepted = f"a time that the clocks at {site.name} show in the night of {evening}"
        raise InputError("library", key, text, accepted)
    # Written as what can be typed: 01:30+01:00 or 01:30+00:00.
    twice = " or ".join(f"{wanted}{_offset(one.astimezone(site.zone))}" for one in found)
    accepted = f"{twice}: the clocks at {site.name} show it twice in this night"
    raise InputError("library", key, text, accepted)


def _in_night(
    time: datetime.time, offset: str | None, site: Site, evening: datetime.date
) -> list[datetime.datetime]:
    """The moments of the night that the clock time may mean, in order, as UTC."""
    zone = site.zone
    noon, next_noon = (
        datetime.datetime.combine(day, datetime.time(12), zone).astimezone(datetime.UTC)
        for day in (evening, evening + datetime.timedelta(days=1))
    )
    found = set()
    for days in (-1, 0, 1, 2):
        day = evening + datetime.timedelta(days=days)
        if offset is not None:
            suffix = "+00:00" if offset == "Z" else offset
            when = datetime.datetime.fromisoformat(f"{day}T{time.isoformat()}{suffix}")
            found.add(when.astimezone(datetime.UTC))
            continue
        for fold in (0, 1):
            local = datetime.datetime.combine(day, time.replace(fold=fold), zone)
            utc = local.astimezone(datetime.UTC)
            # In the gap of spring no moment shows this time: the way back tells.
            if utc.astimezone(zone).replace(tzinfo=None) == local.replace(tzinfo=None):
                found.add(utc)
    inside = sorted(moment for moment in found if noon <= moment < next_noon)
    if offset is not None and len(inside) > 1:
        # A night of 25 hours holds the clock of one offset twice; the site keeps it only once.
        given = datetime.time.fromisoformat(f"12:00{'+00:00' if offset == 'Z' else offset}")
        inside = [m for m in inside if m.astimezone(zone).utcoffset() == given.utcoffset()]
    return inside


def _offset(local: datetime.datetime) -> str:
    text = local.strftime("%z")
    return f"{text[:3]}:{text[3:5]}"
