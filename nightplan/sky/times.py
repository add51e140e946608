"""Time scales and clock text for bare UTC days.

Times in the numerics are `utc_mjd`: UTC as a modified Julian date in one float64, good to a
microsecond. A day with a leap second is 86401 s long in this scale, as in ERFA.
"""

from __future__ import annotations

import datetime
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

import erfa
import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats

MJD_ZERO = 2400000.5
TT_MINUS_TAI_DAYS = 32.184 / 86400.0
_MJD_EPOCH = datetime.datetime(1858, 11, 17, tzinfo=datetime.UTC)


@contextmanager
def quiet_far_years() -> Iterator[None]:
    """Silence ERFA on dates where UTC or the Earth's orbit is less sure: far past and future."""
    with warnings.catch_warnings():
        warnings.filterwarnings(
            "ignore", message=".*(dubious year|date outside)", category=erfa.ErfaWarning
        )
        yield


def tai_mjd(utc_mjd: ArrayLike) -> Floats:
    """International atomic time as MJD; before 1960, where UTC has no meaning, equal to UTC."""
    utc = np.asarray(utc_mjd, dtype=np.float64)
    with quiet_far_years():
        day, rest = erfa.utctai(MJD_ZERO, utc)
    return np.asarray((day - MJD_ZERO) + rest)


def tt_mjd(utc_mjd: ArrayLike) -> Floats:
    """Terrestrial time as MJD; stands in for TDB too (they differ by less than 2 ms)."""
    return tai_mjd(utc_mjd) + TT_MINUS_TAI_DAYS


def mjd_from_datetime(moment: datetime.datetime) -> float:
    """UTC modified Julian date of an aware datetime.

    Raises ValueError for a naive datetime, whose offset would be a guess.
    """
    if moment.tzinfo is None:
        raise ValueError("a datetime needs a time zone to become UTC")
    # Going by way of UTC: two datetimes of one zone subtract as wall-clock times.
    return (moment.astimezone(datetime.UTC) - _MJD_EPOCH) / datetime.timedelta(days=1)


def datetime_from_mjd(utc_mjd: float) -> datetime.datetime:
    """Aware UTC datetime, to the nearest 10 microseconds."""
    day, rest = divmod(float(utc_mjd), 1.0)
    microseconds = 10 * round(rest * 8.64e9)
    return _MJD_EPOCH + datetime.timedelta(days=day, microseconds=microseconds)


def utc_iso(utc_mjd: float) -> str:
    """ISO 8601 UTC to the nearest second, for instance `2027-03-05T21:14:09Z`."""
    moment = datetime_from_mjd(utc_mjd) + datetime.timedelta(microseconds=500_000)
    return moment.replace(microsecond=0, tzinfo=None).isoformat() + "Z"


def utc_iso_ms(utc_mjd: float) -> str:
    """ISO 8601 UTC to the nearest millisecond, as text that sorts: `2027-10-06T21:14:09.250Z`."""
    moment = datetime_from_mjd(utc_mjd) + datetime.timedelta(microseconds=500)
    return moment.replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


def now_iso_ms() -> str:
    """This moment, as `utc_iso_ms` writes it."""
    return utc_iso_ms(mjd_from_datetime(datetime.datetime.now(datetime.UTC)))


def mjd_from_iso(text: str) -> float:
    """UTC modified Julian date of ISO 8601 text that ends in Z or carries an offset.

    Raises ValueError for text that is no time, a time without an offset, or of a year so far
    off that moments around it may have none (datetime ends at the years 1 and 9999).
    """
    moment = datetime.datetime.fromisoformat(text)
    if not 1800 <= moment.year <= 2300:
        raise ValueError("a time from 1800 to 2300")
    return mjd_from_datetime(moment)
