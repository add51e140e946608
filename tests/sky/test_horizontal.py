"""The geometry core against Meeus's examples and against astropy's full transformation."""

import erfa
import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.time import Time

from nightplan.planning.tonight.earth_orientation import configure_astropy, lookup
from nightplan.sky.apparent import apparent_place, local_sidereal_time_deg, site_frame
from nightplan.sky.horizontal import altitude_deg, horizontal

ALTAZ_TOLERANCE_DEG = 0.0005
# Apparent and catalogue directions differ by aberration, 20 arcsec, and so do angles drawn
# between them; a camera angle is good to 0.1 degrees.
PARALLACTIC_TOLERANCE_DEG = 0.015

SITES = {
    "north": (38.6, -7.55, 240.0),
    "south": (-30.17, -70.8, 2200.0),
    "equator at the date line": (0.1, 179.9, 0.0),
    "high north": (78.2, 15.6, 450.0),
    "north pole": (90.0, 0.0, 0.0),
    "south pole": (-90.0, 0.0, 2835.0),
}


@pytest.fixture(autouse=True, scope="module")
def _offline():
    configure_astropy()


def frame_for(latitude_deg, longitude_deg, elevation_m, utc_mjd):
    earth = lookup(utc_mjd)
    return site_frame(
        latitude_deg,
        longitude_deg,
        elevation_m,
        utc_mjd,
        earth.dut1_s,
        earth.polar_x_arcsec,
        earth.polar_y_arcsec,
    )


def all_sky(count, seed=5):
    rng = np.random.default_rng(seed)
    ra = np.concatenate((rng.uniform(0.0, 360.0, count), [0.0, 359.9999, 10.0, 200.0]))
    dec = np.degrees(np.arcsin(rng.uniform(-1.0, 1.0, count)))
    return ra, np.concatenate((dec, [0.0, 0.0, 89.99, -89.99]))


def test_sidereal_time_at_greenwich():
    # Meeus, Astronomical Algorithms 2nd ed., example 12.a, p. 88: 1987 April 10, 0h UT, apparent
    # sidereal time 13h 10m 46.1351s. His precession and nutation are the IAU's of 1976 and 1980,
    # ours those of 2006 and 2000A, which differ by 0.004 s here; his UT is UT1.
    day = Time("1987-04-10T00:00:00").mjd
    frame = site_frame(51.5, 0.0, 0.0, day, dut1_s=0.0)
    expected = (13.0 + 10.0 / 60.0 + 46.1351 / 3600.0) * 15.0
    difference_s = (float(local_sidereal_time_deg(frame, day)) - expected) * 240.0
    assert abs(difference_s) < 0.006


def test_sidereal_time_against_astropy_through_a_night():
    frame = frame_for(38.6, -7.55, 240.0, 61684.96)
    times = 61684.96 + np.linspace(-0.5, 0.5, 9)
    ours = local_sidereal_time_deg(frame, times)
    theirs = Time(times, format="mjd").sidereal_time("apparent", longitude=-7.55 * u.deg).deg
    # UT1 - UTC changes by under a millisecond in half a day; the equation of the origins by 0.06".
    np.testing.assert_allclose(ours, theirs, atol=4e-5)


def test_venus_at_washington():
    # Meeus, example 13.b, p. 95: 1987 April 10 at 19:21:00 UT, apparent place 23h 09m 16.641s,
    # -6 deg 43' 11.61"; azimuth 68.0337 degrees *from the south*, altitude 15.1249.
    moment = Time("1987-04-10T19:21:00").mjd
    latitude = 38.0 + 55.0 / 60.0 + 17.0 / 3600.0
    longitude = -(77.0 + 3.0 / 60.0 + 56.0 / 3600.0)
    frame = site_frame(latitude, longitude, 0.0, moment, dut1_s=0.0)
    ra = np.radians((23.0 + 9.0 / 60.0 + 16.641 / 3600.0) * 15.0)
    dec = -np.radians(6.0 + 43.0 / 60.0 + 11.61 / 3600.0)
    # His place counts from the equinox, ours from the celestial intermediate origin.
    place = horizontal(frame, ra + frame.equation_of_origins_rad, dec, moment)
    # Diurnal aberration, which he leaves out, is at most 0.3 arcsec.
    tolerance = 1.5e-4
    assert place.azimuth_deg[0, 0] == pytest.approx(68.0337 + 180.0, abs=tolerance)
    assert place.altitude_deg[0, 0] == pytest.approx(15.1249, abs=tolerance)
    assert place.hour_angle_deg[0, 0] == pytest.approx(64.352133, abs=tolerance)


@pytest.mark.parametrize("site", SITES.values(), ids=SITES.keys())
@pytest.mark.parametrize("night", [61450.0, 61640.3])
def test_against_astropy_over_a_night(site, night):
    # astropy.coordinates, ICRS -> AltAz, pressure 0, with its own Earth-rotation tables.
    frame = frame_for(*site, night)
    ra, dec = all_sky(60)
    times = night + np.linspace(-0.5, 0.5, 13)
    ours = horizontal(frame, *apparent_place(frame, ra, dec), times)

    location = EarthLocation(lat=site[0] * u.deg, lon=site[1] * u.deg, height=site[2] * u.m)
    stars = SkyCoord(ra[:, None] * u.deg, dec[:, None] * u.deg)
    view = AltAz(obstime=Time(times, format="mjd"), location=location)
    theirs = stars.transform_to(AltAz(obstime=view.obstime[None, :], location=location))
    apart = SkyCoord(ours.azimuth_deg * u.deg, ours.altitude_deg * u.deg).separation(
        SkyCoord(theirs.az.deg * u.deg, theirs.alt.deg * u.deg)
    )
    assert apart.deg.max() < ALTAZ_TOLERANCE_DEG
    np.testing.assert_allclose(
        altitude_deg(frame, *apparent_place(frame, ra, dec), times), ours.altitude_deg, atol=1e-9
    )
    assert ours.altitude_deg.shape == (ra.size, times.size)
    assert np.all((ours.azimuth_deg >= 0.0) & (ours.azimuth_deg < 360.0))

    # Position angle of the zenith, north through east in ICRS.
    overhead = SkyCoord(
        AltAz(
            alt=np.full(13, 90.0) * u.deg, az=0.0 * u.deg, obstime=view.obstime, location=location
        )
    ).icrs
    turned = stars.position_angle(overhead[None, :]).deg - ours.parallactic_angle_deg
    turned -= 360.0 * np.rint(turned / 360.0)
    # Near the zenith and near the pole the angle is loose: weigh it by the arc it turns.
    arc = np.cos(np.radians(ours.altitude_deg)) * np.cos(np.radians(dec))[:, None]
    assert np.abs(turned * arc).max() < PARALLACTIC_TOLERANCE_DEG


def test_hour_angle_and_parallactic_angle_against_erfa():
    # ERFA hd2pa, with the pole of date; ours refers to the ICRS pole and so differs by precession
    # of 27 years, 0.15 degrees times sec(dec) at most.
    frame = frame_for(38.6, -7.55, 240.0, 61684.96)
    ra, dec = np.arange(5.0, 360.0, 30.0), np.linspace(-50.0, 70.0, 12)
    cirs_ra, cirs_dec = apparent_place(frame, ra, dec)
    times = 61684.96 + np.linspace(-0.4, 0.4, 5)
    ours = horizontal(frame, cirs_ra, cirs_dec, times)
    theirs = np.degrees(
        erfa.hd2pa(np.radians(ours.hour_angle_deg), cirs_dec[:, None], np.radians(38.6))
    )
    difference = ours.parallactic_angle_deg - theirs
    difference -= 360.0 * np.rint(difference / 360.0)
    assert np.abs(difference * np.cos(cirs_dec)[:, None]).max() < 0.17
    east = (ours.hour_angle_deg < -1.0) & (dec < 30.0)[:, None]
    assert np.all(ours.parallactic_angle_deg[east] < 0.0)
    assert np.all(np.abs(ours.hour_angle_deg) <= 180.0)
    # Hour angle and azimuth tell the same side of the sky: erfa hd2ae.
    azimuth, altitude = erfa.hd2ae(
        np.radians(ours.hour_angle_deg), cirs_dec[:, None], np.radians(38.6)
    )
    np.testing.assert_allclose(np.degrees(altitude), ours.altitude_deg, atol=3e-4)
    np.testing.assert_allclose(
        np.cos(altitude) * np.sin(azimuth - np.radians(ours.azimuth_deg)), 0.0, atol=5e-6
    )


def test_polar_motion_and_diurnal_aberration_are_in():
    night, times = 61640.0, 61640.0 + np.linspace(-0.5, 0.5, 25)
    ra, dec = all_sky(200)
    for longitude in (-66.0, 40.0, 150.0):
        full = site_frame(0.1, longitude, 0.0, night, 0.0, 0.22, 0.5)
        bare = site_frame(0.1, longitude, 0.0, night, 0.0, 0.0, 0.0)
        shift = np.abs(
            altitude_deg(full, *apparent_place(full, ra, dec), times)
            - altitude_deg(bare, *apparent_place(bare, ra, dec), times)
        ).max()
        # Explanatory Supplement to the Astronomical Almanac: latitude moves by
        # x cos(longitude) - y sin(longitude); a star in the meridian moves by all of it.
        angle = np.radians(longitude)
        expected = np.abs(0.22 * np.cos(angle) - 0.5 * np.sin(angle))
        assert shift * 3600.0 == pytest.approx(expected, rel=0.02)
    # ERFA apio13 holds the magnitude of diurnal aberration too: 0.32 arcsec on the equator.
    for latitude, height in ((0.0, 0.0), (-60.0, 3000.0)):
        theirs = erfa.apio13(
            2400000.5, night, 0.0, 0.0, np.radians(latitude), height, 0, 0, 0, 0, 0, 0.5
        )["diurab"]
        ours = site_frame(latitude, 0.0, height, night).diurnal_aberration
        assert ours == pytest.approx(float(theirs), rel=1e-4)


def test_a_leap_second_inside_the_night_does_no_harm():
    # 2016-12-31 ended with a leap second: sidereal time an hour later, astropy's own UT1.
    middle = Time("2016-12-31T23:00:00").mjd
    frame = frame_for(0.0, 0.0, 0.0, middle)
    after = Time("2017-01-01T01:00:00")
    ours = float(local_sidereal_time_deg(frame, after.mjd))
    theirs = after.sidereal_time("apparent", longitude=0.0 * u.deg).deg
    assert abs(ours - theirs) * 240.0 < 0.005


@pytest.mark.parametrize("count", [0, 1])
def test_empty_and_single(count):
    frame = site_frame(38.6, -7.55, 240.0, 61684.96)
    ra, dec = apparent_place(frame, np.zeros(count), np.zeros(count))
    assert horizontal(frame, ra, dec, [61685.0]).altitude_deg.shape == (count, 1)
    assert horizontal(frame, ra, dec, np.empty(0)).azimuth_deg.shape == (count, 0)
