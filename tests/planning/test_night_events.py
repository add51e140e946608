"""Rise, set, twilight and moon events of 2027 against skyfield (JPL DE421) and ephem (XEphem's
VSOP87 and its own lunar theory), at northern, southern, equatorial and polar sites.

Convention on all sides: sun's centre at -50 arcmin, moon's centre at -34 arcmin less its
topocentric semidiameter, sea-level horizon, twilights airless at -6, -12, -18 degrees.
"""

import datetime
from types import SimpleNamespace

import ephem
import numpy as np
import pytest
import skyfield_data
from skyfield import almanac
from skyfield.api import load, load_file, wgs84

from nightplan.planning.tonight.night import EVENT_NAMES, compute_night

TOLERANCE_S = 5.0
# A body that changes altitude slower than this turns a lunar error of 10 arcsec into 7 s.
GRAZING_DEG_H = 0.4
SITES = {
    "Hollow Ridge": (38.60, -7.55, 240.0, "Europe/Lisbon"),
    "midsummer twilight": (60.2, 10.7, 100.0, "Europe/Oslo"),
    "southern": (-30.2, -70.8, 2200.0, "America/Santiago"),
    "equatorial": (0.2, 36.8, 1600.0, "Africa/Nairobi"),
    "date line": (1.9, -157.4, 2.0, "Pacific/Kiritimati"),
    "arctic": (78.2, 15.6, 10.0, "Arctic/Longyearbyen"),
    "antarctic": (-78.46, 106.8, 3488.0, "Antarctica/Vostok"),
}
EVENINGS = [datetime.date(2027, 1, 1) + datetime.timedelta(days=9 * k) for k in range(41)]
LEVELS_DEG = {
    "sunset": -50.0 / 60.0,
    "sunrise": -50.0 / 60.0,
    "civil": -6.0,
    "nautical": -12.0,
    "astronomical": -18.0,
}
MJD_EPOCH = datetime.datetime(1858, 11, 17, tzinfo=datetime.UTC)


def site_of(name):
    latitude, longitude, elevation, zone = SITES[name]
    return SimpleNamespace(
        name=name,
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=elevation,
        timezone=zone,
    )


@pytest.fixture(scope="module")
def nights():
    return {name: [compute_night(site_of(name), day) for day in EVENINGS] for name in SITES}


@pytest.fixture(scope="module")
def sky():
    ephemeris = load_file(f"{skyfield_data.get_skyfield_data_path()}/de421.bsp")
    return load.timescale(builtin=True), ephemeris


def is_rise(event):
    return event.endswith(("rise", "dawn"))


def level_of(event):
    return LEVELS_DEG[event if event in LEVELS_DEG else event.split("_")[0]]


def skyfield_events(sky, observer, event):
    """All events of the year, and the speed in altitude (deg/h) at each."""
    scale, ephemeris = sky
    body = ephemeris["moon" if event.startswith("moon") else "sun"]
    search = almanac.find_risings if is_rise(event) else almanac.find_settings
    horizon = {} if event.startswith("moon") else {"horizon_degrees": level_of(event)}
    times, happens = search(
        observer, body, scale.utc(2026, 12, 31), scale.utc(2028, 1, 2), **horizon
    )
    moments = np.array([(t - MJD_EPOCH) / datetime.timedelta(days=1) for t in times.utc_datetime()])
    moments = moments[happens]
    if moments.size == 0:
        return moments, moments

    def altitude(offset_days):
        when = scale.utc(1858, 11, 17.0 + moments + offset_days)
        return observer.at(when).observe(body).apparent().altaz()[0].degrees

    minute = 1.0 / 1440.0
    return moments, np.abs(altitude(minute) - altitude(-minute)) * 30.0


PAIRS = {"sunset": "sunrise", "civil_dusk": "civil_dawn", "nautical_dusk": "nautical_dawn",
         "astronomical_dusk": "astronomical_dawn"}  # fmt: skip


def on_the_far_side(night, event, moments):
    """Whether a dusk comes only after this night's dawn, or a dawn only before its dusk."""
    if event in PAIRS:
        other = night.events[PAIRS[event]].utc_mjd
        return other is not None and np.all(moments > other)
    other = night.events[{dawn: dusk for dusk, dawn in PAIRS.items()}[event]].utc_mjd
    return other is not None and np.all(moments < other)


@pytest.mark.filterwarnings("ignore:.*has expired")
@pytest.mark.parametrize("name", SITES)
def test_events_against_skyfield(nights, sky, name):
    site = site_of(name)
    observer = sky[1]["earth"] + wgs84.latlon(
        site.latitude_deg, site.longitude_deg, elevation_m=site.elevation_m
    )
    compared = 0
    for event in EVENT_NAMES:
        moments, speed = skyfield_events(sky, observer, event)
        for night in nights[name]:
            inside = (moments >= night.noon_utc_mjd) & (moments < night.next_noon_utc_mjd)
            ours = night.events[event].utc_mjd
            where = (name, event, night.evening)
            grazing = np.any(speed[inside] < GRAZING_DEG_H)
            if night.events[event].reason == "outside_interval" and inside.any():
                assert on_the_far_side(night, event, moments[inside]), where
                continue
            if ours is None or not inside.any():
                assert ours is None or grazing, where
                assert not inside.any() or grazing, where
                assert night.events[event].reason is not None or ours is not None, where
                continue
            off_s = np.abs(moments[inside] - ours) * 86400.0
            nearest = np.argmin(off_s)
            if speed[inside][nearest] >= GRAZING_DEG_H:
                assert off_s[nearest] < TOLERANCE_S, (where, off_s)
                compared += 1
    assert compared > (70 if abs(site.latitude_deg) > 70.0 else 300)


@pytest.mark.parametrize("name", ["Hollow Ridge", "southern", "equatorial", "arctic"])
def test_events_against_ephem(nights, name):
    site = site_of(name)
    observer = ephem.Observer()
    observer.lat, observer.lon = str(site.latitude_deg), str(site.longitude_deg)
    observer.elevation, observer.pressure = 0.0, 0.0
    compared = 0
    for night in nights[name][::2]:
        for event in EVENT_NAMES:
            ours = night.events[event].utc_mjd
            if ours is None:
                continue
            lunar = event.startswith("moon")
            observer.horizon = "-0:34" if lunar else str(level_of(event))
            observer.date = ephem.Date(ours - 15019.5 - 0.2)
            body = ephem.Moon() if lunar else ephem.Sun()
            search = observer.next_rising if is_rise(event) else observer.next_setting
            try:
                theirs = float(search(body, use_center=not lunar)) + 15019.5
            except ephem.CircumpolarError:
                # It judges by the altitude at transit, which for the moon near the pole is a
                # different question; only trust it away from there.
                assert name == "arctic"
                continue
            observer.date = ephem.Date(ours - 15019.5)
            body.compute(observer)
            before = float(body.alt)
            observer.date = ephem.Date(ours - 15019.5 + 1.0 / 1440.0)
            body.compute(observer)
            speed_deg_h = abs(np.degrees(float(body.alt) - before)) * 60.0
            if speed_deg_h < GRAZING_DEG_H:
                continue
            assert abs(theirs - ours) * 86400.0 < TOLERANCE_S, (event, night.evening)
            compared += 1
    assert compared > 60


def test_missing_events_say_why(nights):
    """Polar reasons, against the altitudes that skyfield and plain geometry give."""
    midsummer = compute_night(site_of("arctic"), datetime.date(2027, 6, 21))
    assert midsummer.sunset.reason == midsummer.astronomical_dawn.reason == "always_up"
    midwinter = compute_night(site_of("arctic"), datetime.date(2027, 12, 21))
    assert midwinter.sunset.reason == midwinter.sunrise.reason == "always_down"
    assert midwinter.civil_dusk.reason == "always_down"
    # At 78.2 N the sun reaches 11.6 degrees below the horizon at noon: nautical twilight.
    assert midwinter.nautical_dusk.utc_mjd is not None
    # The moon follows its declination: always up or down for days at a time.
    reasons = {night.moonrise.reason for night in nights["arctic"]}
    assert {"always_up", "always_down"} <= reasons
    for night in nights["Hollow Ridge"]:
        assert night.moonrise.reason in (None, "outside_interval")
        assert night.moonset.reason in (None, "outside_interval")


def test_a_night_without_moonrise_in_temperate_latitudes():
    # A lunar day lasts 24 h 50 min, so once a month no moonrise falls between noon and noon.
    site = site_of("Hollow Ridge")
    nights = [
        compute_night(site, datetime.date(2027, 3, 1) + datetime.timedelta(days=k))
        for k in range(30)
    ]
    missing = [night for night in nights if night.moonrise.utc_mjd is None]
    assert len(missing) == 1
    assert missing[0].moonrise.reason == "outside_interval"
    assert missing[0].moonset.utc_mjd is not None
