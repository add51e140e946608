"""The offline policy for Earth-rotation data, in this one place.

UT1 - UTC and the pole's coordinates come from the table in the installed package
astropy-iers-data (IERS Bulletin A, `finals2000A.all`: measured since 1973, predicted for about a
year). Nothing is ever downloaded. Outside the table the nearest value holds, and a note says
what that may cost.
"""

from __future__ import annotations

import datetime
import warnings
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from nightplan.sky.times import datetime_from_mjd

# Largest drift of UT1 - TAI over a year, from the table itself, 2000 to 2026: 0.54 s.
DRIFT_S_PER_DAY = 0.0015
_DEGREES_PER_SECOND = 360.0 / 86164.0905


@dataclass(frozen=True)
class EarthOrientation:
    """UT1 - UTC and the pole at one time; `note` is None inside the table."""

    dut1_s: float
    polar_x_arcsec: float
    polar_y_arcsec: float
    note: str | None = None


@dataclass(frozen=True)
class _Table:
    """Columns of shape (day,), one row a day without gaps."""

    utc_mjd: NDArray[np.float64]
    dut1_s: NDArray[np.float64]
    polar_x_arcsec: NDArray[np.float64]
    polar_y_arcsec: NDArray[np.float64]


def lookup(utc_mjd: float) -> EarthOrientation:
    """Earth orientation at a time, linear between the table's days; never fails on a date."""
    table = _table()
    first, last = table.utc_mjd[0], table.utc_mjd[-1]
    at = float(np.clip(utc_mjd, first, last))
    row = min(int(at - first), table.utc_mjd.size - 2)
    share = at - table.utc_mjd[row]
    here, there = table.dut1_s[row], table.dut1_s[row + 1]
    # A leap second lifts UT1 - UTC by one second at midnight: until then the old count holds.
    there -= np.rint(there - here)
    dut1 = here + share * (there - here)
    if utc_mjd >= last:
        dut1 = table.dut1_s[-1]
    x = np.interp(at, table.utc_mjd, table.polar_x_arcsec)
    y = np.interp(at, table.utc_mjd, table.polar_y_arcsec)
    note = None
    if utc_mjd > last + 1.0:
        note = _note_beyond(utc_mjd - last, last)
    elif utc_mjd < first:
        # Keeping UT1 within a second of UTC is what UTC is for; before 1960 the two are one here.
        dut1 = 0.0
        note = (
            f"Earth-rotation data begin on {_day(first)}: before that UT1 is taken equal to UTC, "
            f"which may cost up to 1 s or {_DEGREES_PER_SECOND:.3f} degrees"
        )
    return EarthOrientation(float(dut1), float(x), float(y), note)


def table_end_utc_mjd() -> float:
    """Last day for which the installed table has a prediction."""
    return float(_table().utc_mjd[-1])


def configure_astropy() -> None:
    """Make astropy live by the same policy: bundled table only, no download, no age limit.

    To be called before astropy first converts a time; harmless when repeated.
    """
    import erfa
    from astropy.utils import iers
    from astropy.utils.exceptions import AstropyWarning

    iers.conf.auto_download = False
    iers.conf.auto_max_age = None
    # Beyond the table astropy holds UT1 - UTC as we do and takes a mean pole (0.3 arcsec).
    for category, message in (
        (erfa.ErfaWarning, r".*dubious year"),
        (AstropyWarning, r"Tried to get polar motions for times"),
    ):
        warnings.filterwarnings("ignore", message=message, category=category)


def _note_beyond(days: float, last: float) -> str:
    seconds = max(0.1, DRIFT_S_PER_DAY * days)
    return (
        f"Earth-rotation predictions end on {_day(last)}: later dates hold the last value, which "
        f"may cost up to {seconds:.1f} s or {seconds * _DEGREES_PER_SECOND:.4f} degrees here"
    )


def _day(utc_mjd: float) -> datetime.date:
    return datetime_from_mjd(utc_mjd).date()


@cache
def _table() -> _Table:
    from astropy_iers_data import IERS_A_FILE

    # Fixed columns, as described in ReadMe.finals2000A beside the file.
    rows = [
        (line[7:15], line[58:68], line[18:27], line[37:46])
        for line in Path(IERS_A_FILE).read_text(encoding="ascii").splitlines()
        if line[58:68].strip() and line[18:27].strip() and line[37:46].strip()
    ]
    mjd, dut1, x, y = np.array(rows, dtype="U10").astype(np.float64).T
    return _Table(mjd, dut1, x, y)
