"""Time scales and clock text."""

import datetime

import pytest
from astropy.time import Time
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.sky.times import (
    datetime_from_mjd,
    mjd_from_datetime,
    tai_mjd,
    tt_mjd,
    utc_iso,
)


@pytest.mark.parametrize(
    "text", ["1973-03-01T05:00:00", "2016-12-31T23:59:00", "2027-10-06T01:02:03"]
)
def test_tai_and_tt_against_astropy(text):
    time = Time(text, scale="utc")
    assert float(tai_mjd(time.mjd)) == pytest.approx(time.tai.mjd, abs=1e-10)
    assert float(tt_mjd(time.mjd)) == pytest.approx(time.tt.mjd, abs=1e-10)


def test_utc_iso_against_astropy_and_rounds_to_the_second():
    mjd = Time("2027-10-06T23:59:59.6", scale="utc").mjd
    assert utc_iso(mjd) == "2027-10-07T00:00:00Z"
    assert utc_iso(Time("2027-03-05T21:14:09.3").mjd) == "2027-03-05T21:14:09Z"


@given(st.datetimes(datetime.datetime(1900, 1, 1), datetime.datetime(2199, 1, 1)))
@settings(max_examples=100, deadline=None)
def test_datetimes_round_trip(moment):
    aware = moment.replace(tzinfo=datetime.UTC)
    back = datetime_from_mjd(mjd_from_datetime(aware))
    assert abs(back - aware) <= datetime.timedelta(microseconds=10)


def test_a_datetime_of_a_zone_counts_by_its_instant():
    plus_two = datetime.timezone(datetime.timedelta(hours=2))
    local = datetime.datetime(2027, 7, 1, 1, 30, tzinfo=plus_two)
    assert mjd_from_datetime(local) == Time("2027-06-30T23:30:00").mjd


def test_naive_datetimes_are_refused():
    with pytest.raises(ValueError, match="time zone"):
        mjd_from_datetime(datetime.datetime(2027, 1, 1))
