"""How the journal writes moments: ISO 8601 UTC with milliseconds, as text that sorts."""

from __future__ import annotations

import datetime

from nightplan.sky.times import datetime_from_mjd, mjd_from_datetime


def iso_from_mjd(utc_mjd: float) -> str:
    """`2027-10-06T21:14:09.250Z`."""
    moment = datetime_from_mjd(utc_mjd) + datetime.timedelta(microseconds=500)
    return moment.replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


def mjd_from_iso(text: str) -> float:
    """UTC MJD of what `iso_from_mjd` wrote."""
    return mjd_from_datetime(datetime.datetime.fromisoformat(text))


def now_iso() -> str:
    """This moment."""
    moment = datetime.datetime.now(datetime.UTC).replace(tzinfo=None)
    return moment.isoformat(timespec="milliseconds") + "Z"
