"""Clock times as a person at the site reads them: local, always with the offset from UTC."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from zoneinfo import ZoneInfo

MJD_EPOCH = dt.datetime(1858, 11, 17, tzinfo=dt.UTC)


def moment(utc: str | float) -> dt.datetime:
    """Aware UTC time from ISO 8601 text ending in Z, or from a UTC MJD."""
    if isinstance(utc, str):
        return dt.datetime.fromisoformat(utc).astimezone(dt.UTC)
    return MJD_EPOCH + dt.timedelta(days=float(utc))


def utc_mjd(utc: str | dt.datetime) -> float:
    """UTC MJD of ISO 8601 text or of an aware time."""
    when = moment(utc) if isinstance(utc, str) else utc
    return (when - MJD_EPOCH) / dt.timedelta(days=1)


def offset_text(when: dt.datetime) -> str:
    """Offset of an aware local time: ``+01:00``; seconds only where an old zone has them."""
    offset = when.utcoffset() or dt.timedelta(0)
    sign = "-" if offset < dt.timedelta(0) else "+"
    minutes, seconds = divmod(abs(int(offset.total_seconds())), 60)
    text = f"{sign}{minutes // 60:02d}:{minutes % 60:02d}"
    return f"{text}:{seconds:02d}" if seconds else text


def local(utc: str | float | dt.datetime, zone: ZoneInfo) -> dt.datetime:
    """Local time, rounded to the minute, so that 21:59:40 is not shown as 21:59."""
    when = utc if isinstance(utc, dt.datetime) else moment(utc)
    rounded = (when + dt.timedelta(seconds=30)).replace(second=0, microsecond=0)
    return rounded.astimezone(zone)


class NightClock:
    """How the times of one night are written for its site.

    If the offset is the same all night it is said once, in `heading`; when the clocks change
    during the night every time carries its own.

    Parameters
    ----------
    zone : ZoneInfo
        Time zone of the site.
    utc : iterable of str or float
        Times of the night (ISO 8601 ending in Z, or UTC MJD); the first and the last decide
        whether the offset changes.
    """

    def __init__(self, zone: ZoneInfo, utc: Iterable[str | float]) -> None:
        self.zone = zone
        moments = sorted(moment(item) for item in utc)
        self.first = moments[0] if moments else None
        self.last = moments[-1] if moments else None
        offsets = dict.fromkeys(offset_text(item.astimezone(zone)) for item in moments)
        self.offsets = tuple(offsets)
        self.changes = len(self.offsets) > 1

    @property
    def heading(self) -> str:
        """``local (UTC+01:00)``, or ``local`` when every time carries its own offset."""
        if not self.offsets or self.changes:
            return "local"
        return f"local (UTC{self.offsets[0]})"

    @property
    def sentence(self) -> str:
        """One sentence that says what the times of the page are."""
        if self.changes:
            return (
                f"Times are local ({self.zone.key}); the clocks change in this night, "
                f"so each time carries its offset from UTC."
            )
        offset = self.offsets[0] if self.offsets else "+00:00"
        return f"Times are local ({self.zone.key}), UTC{offset}."

    def clock(self, utc: str | float) -> str:
        """``21:34``, with the offset behind it when the clocks change in the night."""
        when = local(utc, self.zone)
        text = f"{when:%H:%M}"
        return f"{text} {offset_text(when)}" if self.changes else text

    def full(self, utc: str | float) -> str:
        """``21:34 +01:00``, always with the offset."""
        when = local(utc, self.zone)
        return f"{when:%H:%M} {offset_text(when)}"


def utc_clock(utc: str | float) -> str:
    """``20:34`` in UTC, rounded to the minute."""
    return f"{local(utc, ZoneInfo('UTC')):%H:%M}"


def minutes_between(start_utc: str, end_utc: str) -> float:
    """Minutes from one ISO time to another."""
    return (moment(end_utc) - moment(start_utc)) / dt.timedelta(minutes=1)


def duration(minutes: float) -> str:
    """``9 h 26 min``, ``26 min``, or ``40 s`` below a minute."""
    if 0.0 < minutes < 0.995:
        return f"{minutes * 60.0:.0f} s"
    whole = round(minutes)
    hours, rest = divmod(whole, 60)
    if hours == 0:
        return f"{rest} min"
    return f"{hours} h {rest:02d} min"
