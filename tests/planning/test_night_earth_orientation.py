"""The offline Earth-rotation policy against astropy's reader of the same table, and its edges."""

import datetime
import warnings
from types import SimpleNamespace

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.time import Time
from astropy.utils import iers

from nightplan.planning.tonight.earth_orientation import (
    DRIFT_S_PER_DAY,
    configure_astropy,
    lookup,
    table_end_utc_mjd,
)
from nightplan.planning.tonight.night import compute_night

SITE = SimpleNamespace(
    name="test",
    latitude_deg=38.6,
    longitude_deg=-7.55,
    elevation_m=240.0,
    timezone="Europe/Lisbon",
)


def test_values_against_astropy_of_the_same_table():
    # astropy.utils.iers, IERS_A of the installed package; where it prefers Bulletin B the two
    # bulletins agree to 0.5 ms and 4 mas since 1986.
    table = iers.IERS_A.open(iers.IERS_A_FILE)
    for mjd in np.linspace(46500.0, table_end_utc_mjd() - 0.01, 60):
        time = Time(mjd, format="mjd")
        ours = lookup(mjd)
        assert ours.dut1_s == pytest.approx(table.ut1_utc(time).to_value(u.s), abs=5e-4)
        x, y = table.pm_xy(time)
        assert ours.polar_x_arcsec == pytest.approx(x.to_value(u.arcsec), abs=4e-3)
        assert ours.polar_y_arcsec == pytest.approx(y.to_value(u.arcsec), abs=4e-3)
        assert ours.note is None


@pytest.mark.parametrize("after_s", [-3600.0, -1.0, 1.0, 3600.0])
def test_around_a_leap_second(after_s):
    # 2016-12-31 ended with a leap second: UT1 - UTC leaps from -0.41 s to +0.59 s (IERS
    # Bulletin C 52).
    mjd = Time("2017-01-01T00:00:00").mjd + after_s / 86400.0
    assert lookup(mjd).dut1_s == pytest.approx(-0.408 if after_s < 0.0 else 0.592, abs=0.002)


def test_the_end_of_the_table_is_noted_with_its_cost():
    end = table_end_utc_mjd()
    assert lookup(end).note is None
    held = lookup(end + 100.0)
    assert held.dut1_s == lookup(end).dut1_s
    assert "predictions end on" in held.note
    assert "0.1 s or 0.0006 degrees" in held.note
    assert f"{DRIFT_S_PER_DAY * 26000.0:.1f} s" in lookup(end + 26000.0).note


@pytest.mark.parametrize("year", [1900, 1955, 1965, 1971, 2027, 2028, 2100, 2199])
def test_no_date_crashes_or_warns(year):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        night = compute_night(SITE, datetime.date(year, 12, 24))
    noted = [n for n in night.notices if "Earth-rotation" in n]
    assert len(noted) == 1
    assert night.window_kind == "astronomical"
    # A December night at 38.6 N has about 11.5 hours between dusk and dawn in any century.
    assert night.dark_hours == pytest.approx(11.4, abs=0.3)


def test_the_stated_drift_holds_in_the_table():
    # Since 2000, UT1 - TAI has drifted by less than the stated rate over any year.
    mjd = np.arange(51544.0, table_end_utc_mjd(), 30.0)
    values = np.array([lookup(m).dut1_s for m in mjd])
    steps = np.diff(values)
    continuous = values - np.concatenate(([0.0], np.cumsum(np.rint(steps))))
    year = 12
    assert np.abs(continuous[year:] - continuous[:-year]).max() < DRIFT_S_PER_DAY * 365.0


def test_astropy_follows_offline_beyond_its_table():
    configure_astropy()
    assert iers.conf.auto_download is False
    assert iers.conf.auto_max_age is None
    location = EarthLocation(lat=38.6 * u.deg, lon=-7.55 * u.deg)
    view = AltAz(obstime=Time("2031-03-01T22:00:00"), location=location)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        configure_astropy()
        altitude = SkyCoord(100.0 * u.deg, 20.0 * u.deg).transform_to(view).alt.deg
    assert np.isfinite(altitude)
