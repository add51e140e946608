"""A moment of the night as typed: against the tz database by Python's zoneinfo, and by hand.

Summer time in the European Union ends on the last Sunday of October at 01:00 UTC and begins on the
last Sunday of March at 01:00 UTC (Directive 2000/84/EC): 2027-10-31 and 2027-03-28.
"""

from __future__ import annotations

import datetime as dt

import pytest

from nightplan.errors import InputError
from nightplan.model.starter import demo_config
from nightplan.planning.tonight.clock_time import is_clock_time, moment_utc_mjd
from nightplan.sky.times import mjd_from_datetime, utc_iso

EVENING = dt.date(2027, 10, 6)
NOW = dt.datetime(2027, 10, 6, 22, 40, 30, tzinfo=dt.UTC)


def moment(text: str, evening: dt.date = EVENING) -> str:
    return utc_iso(moment_utc_mjd(text, demo_config().site, evening, NOW))


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("now", "2027-10-06T22:40:30Z"),
        # Lisbon keeps UTC+1 in summer.
        ("23:40", "2027-10-06T22:40:00Z"),
        ("01:10", "2027-10-07T00:10:00Z"),
        ("1:10", "2027-10-07T00:10:00Z"),
        ("12:00", "2027-10-06T11:00:00Z"),
        ("11:59:59", "2027-10-07T10:59:59Z"),
        ("23:40+01:00", "2027-10-06T22:40:00Z"),
        ("01:10Z", "2027-10-07T01:10:00Z"),
        ("08:00+09:00", "2027-10-06T23:00:00Z"),
        ("2027-10-07T01:10:00Z", "2027-10-07T01:10:00Z"),
        ("2027-10-07T02:10+01:00", "2027-10-07T01:10:00Z"),
    ],
)
def test_times_of_a_plain_night(text: str, utc: str) -> None:
    assert moment(text) == utc


def test_the_hour_that_comes_twice_asks_and_its_answers_can_be_typed() -> None:
    evening = dt.date(2027, 10, 30)
    with pytest.raises(InputError) as caught:
        moment("01:30", evening)
    assert caught.value.key == "start"
    assert caught.value.accepted.startswith("01:30+01:00 or 01:30+00:00:")
    assert moment("01:30+01:00", evening) == "2027-10-31T00:30:00Z"
    assert moment("01:30+00:00", evening) == "2027-10-31T01:30:00Z"
    assert moment("00:59", evening) == "2027-10-30T23:59:00Z"
    assert moment("02:00", evening) == "2027-10-31T02:00:00Z"


def test_the_hour_that_is_left_out_is_refused() -> None:
    evening = dt.date(2027, 3, 27)
    with pytest.raises(InputError, match="Hollow Ridge show in the night of 2027-03-27"):
        moment("01:30", evening)
    assert moment("02:00", evening) == "2027-03-28T01:00:00Z"
    assert moment("00:59", evening) == "2027-03-28T00:59:00Z"


@pytest.mark.parametrize(
    "text", ["", "24:00", "23:60", "2340", "tonight", "2027-10-07T01:10", "²:10"]
)
def test_what_is_no_time_tells_the_forms(text: str) -> None:
    with pytest.raises(InputError, match="the site's clock such as 23:40"):
        moment(text)


def test_clock_times_need_an_evening() -> None:
    assert is_clock_time("23:40")
    assert is_clock_time("23:40+01:00")
    assert not is_clock_time("now")
    assert not is_clock_time("2027-10-07T01:10:00Z")


def test_every_minute_of_the_long_night_is_found_once_or_twice() -> None:
    site, evening = demo_config().site, dt.date(2027, 10, 30)
    start = dt.datetime(2027, 10, 30, 12, tzinfo=site.zone).astimezone(dt.UTC)
    for minute in range(0, 25 * 60, 7):
        when = start + dt.timedelta(minutes=minute)
        text = when.astimezone(site.zone).strftime("%H:%M%z")
        text = f"{text[:-2]}:{text[-2:]}"
        found = moment_utc_mjd(text, site, evening, NOW)
        assert found == pytest.approx(mjd_from_datetime(when), abs=1e-9)
