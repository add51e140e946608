"""The window, the clock and the calendar of a night at ordinary and at awkward places.

Instants of clock changes: IANA time zone database, through zoneinfo.
"""

import datetime
import re
from types import SimpleNamespace

import numpy as np
import pytest
from astropy.time import Time
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.errors import InputError
from nightplan.planning.tonight.night import (
    EVENT_NAMES,
    compute_night,
    default_evening,
    sun_below_utc_mjd,
    utc_iso,
)
from nightplan.sky.sun_moon import moon, sun


def place(latitude, longitude, zone, elevation=0.0):
    return SimpleNamespace(
        name="test",
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=elevation,
        timezone=zone,
    )


RIDGE = place(38.60, -7.55, "Europe/Lisbon", 240.0)


def hours(night):
    return 24.0 * (night.next_noon_utc_mjd - night.noon_utc_mjd)


def test_an_ordinary_night_in_order():
    night = compute_night(RIDGE, datetime.date(2027, 10, 6))
    moments = [night.events[name].utc_mjd for name in EVENT_NAMES[:8]]
    assert moments == sorted(moments)
    assert night.window_kind == "astronomical"
    assert night.window_utc_mjd == (
        night.astronomical_dusk.utc_mjd,
        night.astronomical_dawn.utc_mjd,
    )
    assert night.dark_hours == pytest.approx(night.window_hours)
    assert night.noon_utc_mjd == Time("2027-10-06T11:00:00").mjd
    assert night.midnight_utc_mjd == Time("2027-10-06T23:00:00").mjd
    assert night.notices == ()
    assert night.local(night.midnight_utc_mjd).isoformat() == "2027-10-07T00:00:00+01:00"
    assert utc_iso(night.midnight_utc_mjd) == "2027-10-06T23:00:00Z"
    assert night.midnight_time.isot == "2027-10-06T23:00:00.000"


def test_moonless_hours_by_counting_samples():
    for day in (2, 9, 16, 23):
        night = compute_night(RIDGE, datetime.date(2027, 10, day))
        times = np.linspace(*night.window_utc_mjd, 20001)
        body = moon(night.frame, times)
        down = body.altitude_deg + body.semidiameter_deg < -34.0 / 60.0
        assert night.moonless_dark_hours == pytest.approx(down.mean() * night.dark_hours, abs=2e-3)


def test_moon_fraction_belongs_to_local_midnight():
    # Full moon 2027 October 15, 13:47 UTC; new moon September 30, 02:36 UTC (skyfield's
    # almanac.moon_phases with DE421).
    assert compute_night(
        RIDGE, datetime.date(2027, 10, 15)
    ).moon_illuminated_fraction == pytest.approx(1.0, abs=0.005)
    assert compute_night(RIDGE, datetime.date(2027, 9, 29)).moon_illuminated_fraction < 0.005


@pytest.mark.parametrize(
    ("site", "evening", "length", "word"),
    [
        # European summer time begins on 2027-03-28 and ends on 2027-10-31, both at 01:00 UTC.
        (RIDGE, datetime.date(2027, 3, 27), 23.0, "forward by 60 min"),
        (RIDGE, datetime.date(2027, 10, 30), 25.0, "back by 60 min"),
        # Lord Howe moves by half an hour: 2027-04-04 back, 2027-10-03 forward.
        (
            place(-31.55, 159.08, "Australia/Lord_Howe"),
            datetime.date(2027, 4, 3),
            24.5,
            "back by 30",
        ),
        (
            place(-31.55, 159.08, "Australia/Lord_Howe"),
            datetime.date(2027, 10, 2),
            23.5,
            "forward by 30",
        ),
        # Chile changes at midnight itself: 2027-09-04 24:00 does not exist.
        (place(-30.2, -70.8, "America/Santiago"), datetime.date(2027, 9, 4), 23.0, "forward by 60"),
        (place(-30.2, -70.8, "America/Santiago"), datetime.date(2027, 4, 3), 25.0, "back by 60"),
    ],
)
def test_clock_changes_in_the_night(site, evening, length, word):
    night = compute_night(site, evening)
    assert hours(night) == pytest.approx(length, abs=1e-6)
    assert any(word in notice for notice in night.notices)
    assert night.noon_utc_mjd < night.midnight_utc_mjd < night.next_noon_utc_mjd
    before, after = night.local(night.sunset.utc_mjd), night.local(night.sunrise.utc_mjd)
    change = (after.utcoffset() - before.utcoffset()).total_seconds() / 3600.0
    assert change == pytest.approx(24.0 - length)
    assert before.date() == evening
    assert after.date() == evening + datetime.timedelta(days=1)


@pytest.mark.parametrize(
    ("site", "offset_h"),
    [
        (place(1.9, -157.4, "Pacific/Kiritimati"), 14.0),
        (place(-13.8, -171.8, "Pacific/Apia"), 13.0),
        (place(-14.3, -170.7, "Pacific/Pago_Pago"), -11.0),
        (place(-16.8, 179.99, "Pacific/Fiji"), 12.0),
    ],
)
def test_beside_the_date_line(site, offset_h):
    evening = datetime.date(2027, 5, 5)
    night = compute_night(site, evening)
    noon = datetime.datetime(2027, 5, 5, 12) - datetime.timedelta(hours=offset_h)
    assert night.noon_utc_mjd == Time(noon).mjd
    for name in ("sunset", "astronomical_dusk"):
        assert night.local(night.events[name].utc_mjd).date() == evening
    for name in ("sunrise", "astronomical_dawn"):
        assert night.local(night.events[name].utc_mjd).date() == evening + datetime.timedelta(1)
    assert night.window_kind == "astronomical"


def test_a_date_that_the_calendar_skipped():
    # Samoa crossed the date line at the end of 2011-12-29 and had no December 30.
    apia = place(-13.8, -171.8, "Pacific/Apia")
    with pytest.raises(InputError, match="2011-12-30"):
        compute_night(apia, datetime.date(2011, 12, 30))
    night = compute_night(apia, datetime.date(2011, 12, 29))
    assert hours(night) == pytest.approx(24.0)
    assert night.local(night.sunrise.utc_mjd).date() == datetime.date(2011, 12, 31)


def test_no_astronomical_darkness_falls_back_with_a_notice():
    # 52.0 N at the June solstice: the sun's lowest is 90 - 52 - 23.4 = 14.6 degrees down.
    site = place(52.0, 5.0, "Europe/Amsterdam")
    night = compute_night(site, datetime.date(2027, 6, 21))
    assert night.window_kind == "nautical"
    assert night.window_utc_mjd == (night.nautical_dusk.utc_mjd, night.nautical_dawn.utc_mjd)
    assert night.astronomical_dusk.reason == "always_up"
    assert night.dark_hours == night.moonless_dark_hours == 0.0
    assert any("nautical" in notice for notice in night.notices)


def test_midsummer_at_sixty_north_has_no_window():
    night = compute_night(place(60.2, 10.7, "Europe/Oslo"), datetime.date(2027, 6, 21))
    assert night.window_kind == "none"
    assert night.window_utc_mjd is None
    assert night.sunset.utc_mjd is not None
    # The sun's lowest is 90 - 60.2 - 23.4 = 6.4 degrees down.
    assert night.civil_dusk.utc_mjd is not None
    assert night.nautical_dusk.reason == "always_up"
    assert any("No dark window" in notice for notice in night.notices)


def test_the_last_minutes_of_darkness():
    # About the first night of summer without it, astronomical darkness is minutes long: found,
    # and shorter than the search's step.
    site = place(48.6, 8.0, "Europe/Berlin")
    lengths = [
        compute_night(site, datetime.date(2027, 6, 1) + datetime.timedelta(days=k)).dark_hours
        for k in range(45)
    ]
    none = [length == 0.0 for length in lengths]
    assert none == sorted(none[:22]) + sorted(none[22:], reverse=True)
    shortest = min(length for length in lengths if length > 0.0)
    assert shortest < 0.75


def test_a_polar_winters_noon_is_no_dawn_after_its_dusk():
    """Troll, 21 June: the clock is 2 h ahead of the sun, and noon's twilight lies after noon.

    The civil dawn at 10:52 UTC comes before the dusk at 12:51; the next one is past the next noon.
    """
    night = compute_night(place(-72.01, 2.53, "Antarctica/Troll"), datetime.date(2027, 6, 21))
    assert night.civil_dusk.utc_mjd is not None
    assert night.civil_dawn.utc_mjd is None
    assert night.civil_dawn.reason == "outside_interval"
    assert night.nautical_dawn.utc_mjd > night.nautical_dusk.utc_mjd


@pytest.mark.parametrize("latitude", [-90.0, -80.0, -72.0, -66.0, 66.0, 72.0, 80.0, 90.0])
def test_no_dawn_comes_before_its_dusk_near_the_poles(latitude):
    for month in range(1, 13):
        for zone in ("UTC", "Antarctica/Troll", "Europe/Oslo"):
            night = compute_night(place(latitude, 2.53, zone), datetime.date(2027, month, 21))
            for dusk, dawn in zip(EVENT_NAMES[:4], EVENT_NAMES[7:3:-1], strict=True):
                first, last = night.events[dusk].utc_mjd, night.events[dawn].utc_mjd
                cut = night.noon_cuts_window
                assert cut or first is None or last is None or first < last, (dusk, night.evening)


def test_polar_day_and_polar_night():
    summer = compute_night(place(80.0, 15.0, "Arctic/Longyearbyen"), datetime.date(2027, 6, 21))
    assert summer.window_kind == "none"
    assert any("Polar day" in notice for notice in summer.notices)
    assert {summer.events[name].reason for name in EVENT_NAMES[:8]} == {"always_up"}

    # 86 N in December: the sun is at least 90 - 86 + ... = 19.4 degrees down at noon.
    winter = compute_night(place(86.0, 15.0, "UTC"), datetime.date(2027, 12, 20))
    assert winter.window_kind == "astronomical"
    assert winter.window_utc_mjd == (winter.noon_utc_mjd, winter.next_noon_utc_mjd)
    assert winter.dark_hours == pytest.approx(24.0)
    assert {winter.events[name].reason for name in EVENT_NAMES[:8]} == {"always_down"}
    assert any("Polar night" in notice for notice in winter.notices)


@pytest.mark.parametrize("latitude", [90.0, -90.0])
def test_the_poles_themselves(latitude):
    for month in range(1, 13):
        night = compute_night(place(latitude, 0.0, "UTC", 2835.0), datetime.date(2027, month, 5))
        altitude = sun(night.frame, [night.noon_utc_mjd, night.next_noon_utc_mjd]).altitude_deg
        dark = np.all(altitude < -18.0)
        assert (night.window_kind == "astronomical") == bool(dark)


def test_moon_always_up_and_always_down():
    site = place(80.0, 15.0, "Arctic/Longyearbyen")
    seen = set()
    for k in range(28):
        night = compute_night(site, datetime.date(2027, 1, 1) + datetime.timedelta(days=k))
        seen.add(night.moonrise.reason)
        if night.moonrise.reason == "always_up":
            assert night.moonless_dark_hours == 0.0
            assert night.moon_up_utc_mjd == ((night.noon_utc_mjd, night.next_noon_utc_mjd),)
        if night.moonrise.reason == "always_down":
            assert night.moonless_dark_hours == pytest.approx(night.dark_hours)
            assert night.moon_up_utc_mjd == ()
    assert {"always_up", "always_down", None} <= seen


def test_a_zone_that_disagrees_with_the_longitude():
    # Civil noon is solar midnight: noon cuts the night in two, and the longer part is the window.
    night = compute_night(place(38.6, 172.4, "Europe/Lisbon"), datetime.date(2027, 10, 6))
    start, end = night.window_utc_mjd
    assert night.window_kind == "astronomical"
    assert start == night.noon_utc_mjd or end == night.next_noon_utc_mjd
    middle = 0.5 * (start + end)
    assert sun(night.frame, middle).altitude_deg[0] < -18.0
    assert night.noon_cuts_window
    (notice,) = [notice for notice in night.notices if "noon cuts the night" in notice]
    # What is left out and the window together are the darkness of the right clock's night.
    right = compute_night(place(38.6, 172.4, "Pacific/Auckland"), datetime.date(2027, 10, 6))
    left_out = float(re.search(r"([\d.]+) h of darkness", notice)[1])
    assert night.dark_hours + left_out == pytest.approx(right.dark_hours, abs=0.15)
    assert not right.noon_cuts_window
    for name in EVENT_NAMES[:8]:
        moment = night.events[name].utc_mjd
        assert moment is not None
        assert night.noon_utc_mjd <= moment <= night.next_noon_utc_mjd


@pytest.mark.parametrize(
    ("longitude_deg", "timezone", "told"),
    [
        # Mean solar noon is at 12:00 less 4 min a degree east; offsets from the IANA database.
        (-7.55, "Europe/Lisbon", None),
        (75.99, "Asia/Shanghai", None),  # Kashgar (from memory), 2.9 h ahead of its sun
        (-157.4, "Pacific/Kiritimati", None),  # 14 h ahead of UTC: a day and half an hour
        (-105.0, "UTC", None),  # a clock meant to keep UTC
        (7.55, "America/Denver", "6.5 h behind"),
        (105.0, "America/Denver", "11.0 h ahead of"),  # west taken as positive
    ],
)
def test_a_clock_far_from_the_sun_is_told(longitude_deg, timezone, told):
    night = compute_night(place(38.6, longitude_deg, timezone), datetime.date(2027, 10, 6))
    found = [notice for notice in night.notices if notice.startswith("Clocks of")]
    assert len(found) == (told is not None)
    assert told is None or told in found[0]


@pytest.mark.parametrize(
    ("utc", "evening"),
    [
        ("2027-10-07T01:00:00+00:00", datetime.date(2027, 10, 6)),  # 02:00 at the site
        ("2027-10-07T10:59:59+00:00", datetime.date(2027, 10, 6)),
        ("2027-10-07T11:00:00+00:00", datetime.date(2027, 10, 7)),
        ("2027-10-07T21:30:00+00:00", datetime.date(2027, 10, 7)),
    ],
)
def test_default_evening(utc, evening):
    assert default_evening(RIDGE, datetime.datetime.fromisoformat(utc)) == evening


@given(
    moment=st.datetimes(
        datetime.datetime(1990, 1, 1),
        datetime.datetime(2060, 1, 1),
        timezones=st.just(datetime.UTC),
    ),
    zone=st.sampled_from(
        ["Pacific/Kiritimati", "Pacific/Apia", "Australia/Lord_Howe", "America/Santiago", "UTC"]
    ),
)
@settings(max_examples=60, deadline=None)
def test_the_default_evening_holds_now(moment, zone):
    site = place(0.0, 0.0, zone)
    evening = default_evening(site, moment)
    try:
        night = compute_night(site, evening)
    except InputError:
        assert zone == "Pacific/Apia"
        return
    now = Time(moment).mjd
    assert night.noon_utc_mjd - 1e-9 <= now < night.next_noon_utc_mjd + 1e-9


@given(
    latitude=st.floats(-90.0, 90.0),
    longitude=st.floats(-180.0, 180.0),
    zone=st.sampled_from(["UTC", "Asia/Kathmandu", "America/St_Johns", "Pacific/Kiritimati"]),
    day=st.dates(datetime.date(1900, 1, 1), datetime.date(2199, 12, 30)),
)
@settings(max_examples=100, deadline=None)
def test_any_night_anywhere_keeps_its_word(latitude, longitude, zone, day):
    night = compute_night(place(latitude, longitude, zone), day)
    for event in night.events.values():
        assert (event.utc_mjd is None) == (event.reason is not None)
        if event.utc_mjd is not None:
            assert night.noon_utc_mjd <= event.utc_mjd <= night.next_noon_utc_mjd
    assert 0.0 <= night.moonless_dark_hours <= night.dark_hours <= hours(night)
    assert 0.0 <= night.moon_illuminated_fraction <= 1.0
    assert (night.window_kind == "none") == (night.window_utc_mjd is None)
    if night.window_utc_mjd is not None:
        limit = {"astronomical": -18.0, "nautical": -12.0}[night.window_kind]
        inside = np.linspace(*night.window_utc_mjd, 7)
        assert np.all(sun(night.frame, inside).altitude_deg < limit + 1e-4)


def test_sun_below_any_altitude_before_the_window():
    night = compute_night(RIDGE, datetime.date(2027, 10, 6))
    assert sun_below_utc_mjd(night, -6.0) == pytest.approx(night.civil_dusk.utc_mjd, abs=1e-8)
    moment = sun_below_utc_mjd(night, -9.0)
    assert sun(night.frame, moment).altitude_deg[0] == pytest.approx(-9.0, abs=1e-5)
    assert sun_below_utc_mjd(night, -80.0) is None
