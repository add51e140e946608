"""Sun and moon against skyfield with JPL's DE421, against astropy, and Meeus's example."""

import numpy as np
import pytest
import skyfield_data
from astropy import units as u
from astropy.coordinates import EarthLocation, get_body, solar_system_ephemeris
from astropy.time import Time
from skyfield.api import load, load_file, wgs84

from nightplan.planning.tonight.earth_orientation import configure_astropy, lookup
from nightplan.sky.apparent import site_frame
from nightplan.sky.sun_moon import (
    equinox_ra_dec_deg,
    icrs_ra_dec_deg,
    moon,
    moon_phase,
    phase_from_elongation,
    sun,
)

# skyfield's built-in table of UT1 is 0.3 s off in 2027: 4.7 arcsec of hour angle. The lunar series
# adds up to 10 arcsec over 2027.
SUN_TOLERANCE_ARCSEC = 6.0
MOON_TOLERANCE_ARCSEC = 14.0
SITES = [(38.6, -7.55, 240.0), (-30.2, -70.8, 2200.0), (0.0, 179.9, 0.0), (90.0, 0.0, 0.0)]
NIGHTS = 61406.0 + np.arange(0.0, 365.0, 12.3)


@pytest.fixture(scope="module")
def sky():
    ephemeris = load_file(f"{skyfield_data.get_skyfield_data_path()}/de421.bsp")
    return load.timescale(builtin=True), ephemeris


def frame_for(site, utc_mjd):
    earth = lookup(utc_mjd)
    return site_frame(*site, utc_mjd, earth.dut1_s, earth.polar_x_arcsec, earth.polar_y_arcsec)


@pytest.mark.parametrize("site", SITES)
@pytest.mark.filterwarnings("ignore:.*has expired")
def test_places_against_skyfield(sky, site):
    scale, ephemeris = sky
    observer = ephemeris["earth"] + wgs84.latlon(site[0], site[1], elevation_m=site[2])
    offsets = np.array([-0.45, -0.1, 0.2, 0.48])
    for place_of, body, tolerance in (
        (sun, ephemeris["sun"], SUN_TOLERANCE_ARCSEC),
        (moon, ephemeris["moon"], MOON_TOLERANCE_ARCSEC),
    ):
        times = (NIGHTS[:, None] + offsets).ravel()
        ours = [place_of(frame_for(site, night), night + offsets) for night in NIGHTS]
        seen = observer.at(scale.utc(1858, 11, 17.0 + times)).observe(body).apparent()
        altitude, azimuth, distance = seen.altaz()
        our_altitude = np.concatenate([o.altitude_deg for o in ours])
        our_azimuth = np.concatenate([o.azimuth_deg for o in ours])
        our_distance = np.concatenate([o.distance_km for o in ours])
        off = our_altitude - altitude.degrees
        across = our_azimuth - azimuth.degrees
        across = (across - 360.0 * np.rint(across / 360.0)) * np.cos(altitude.radians)
        assert np.abs(off).max() * 3600.0 < tolerance
        assert np.abs(across).max() * 3600.0 < tolerance
        np.testing.assert_allclose(our_distance, distance.km, rtol=2e-4)


def test_phase_of_the_moon():
    # Meeus, Astronomical Algorithms 2nd ed., example 48.a, p. 347: 1992 April 12, 0h TD, every
    # intermediate: psi 110.7929, i 69.0756, k 0.6786.
    given = phase_from_elongation(110.7929, 149971520.0, 368410.0)
    assert float(given.phase_angle_deg) == pytest.approx(69.0756, abs=1e-3)
    assert float(given.illuminated_fraction) == pytest.approx(0.6786, abs=5e-5)
    own = moon_phase(Time("1992-04-12T00:00:00", scale="tt").utc.mjd)
    assert own.elongation_deg[0] == pytest.approx(110.7929, abs=0.005)
    assert own.phase_angle_deg[0] == pytest.approx(69.0756, abs=0.005)
    assert own.illuminated_fraction[0] == pytest.approx(0.6786, abs=1e-4)


def test_illuminated_fraction_against_skyfield(sky):
    scale, ephemeris = sky
    at = ephemeris["earth"].at(scale.utc(1858, 11, 17.0 + NIGHTS))
    theirs = at.observe(ephemeris["moon"]).apparent().fraction_illuminated(ephemeris["sun"])
    np.testing.assert_allclose(moon_phase(NIGHTS).illuminated_fraction, theirs, atol=2e-4)


def test_right_ascension_of_date_against_meeus():
    # Meeus, example 47.a, p. 342: moon on 1992 April 12, 0h TD, geocentric apparent place
    # alpha 134.688470, delta 13.768368. Seen from the pole at the Earth's centre distance the
    # parallax would enter, so put the observer at the centre of the Earth.
    moment = Time("1992-04-12T00:00:00", scale="tt").utc.mjd
    frame = site_frame(0.0, 0.0, -6378137.0, moment, 0.0)
    ra, dec = equinox_ra_dec_deg(frame, moon(frame, moment).cirs_direction)
    assert ra[0] == pytest.approx(134.688470, abs=3.0 / 3600.0)
    assert dec[0] == pytest.approx(13.768368, abs=3.0 / 3600.0)


def test_icrs_direction_against_astropy():
    # astropy get_body("moon") in GCRS as seen from a site, 'builtin' ephemeris.
    configure_astropy()
    moment = Time("2027-05-20T22:00:00")
    location = EarthLocation(lat=38.6 * u.deg, lon=-7.55 * u.deg, height=240.0 * u.m)
    with solar_system_ephemeris.set("builtin"):
        theirs = get_body("moon", moment, location)
    frame = frame_for(SITES[0], moment.mjd)
    ra, dec = icrs_ra_dec_deg(frame, moon(frame, moment.mjd).cirs_direction)
    # They keep annual aberration out of GCRS and light-time in: 20.5 arcsec apart at most.
    apart = np.hypot((ra[0] - theirs.ra.deg) * np.cos(theirs.dec.rad), dec[0] - theirs.dec.deg)
    assert apart * 3600.0 < 25.0


def test_semidiameters():
    # Common values: sun 15' 59.6" at 1 au, moon 15' 32.6" at its mean distance (Allen's
    # Astrophysical Quantities, from memory).
    times = NIGHTS
    frame_of = [frame_for(SITES[0], t) for t in times]
    sun_size = np.array([sun(f, f.utc_mjd).semidiameter_deg[0] for f in frame_of]) * 60.0
    moon_size = np.array([moon(f, f.utc_mjd).semidiameter_deg[0] for f in frame_of]) * 60.0
    assert sun_size.min() == pytest.approx(15.73, abs=0.03)
    assert sun_size.max() == pytest.approx(16.27, abs=0.03)
    assert 14.6 < moon_size.min() < 15.0
    assert 16.2 < moon_size.max() < 17.1


def test_answers_do_not_depend_on_the_company_they_are_in():
    frame = frame_for(SITES[0], 61684.5)
    times = 61684.0 + np.linspace(0.0, 1.0, 7)
    together = sun(frame, times).altitude_deg
    alone = np.array([sun(frame, t).altitude_deg[0] for t in times])
    np.testing.assert_array_equal(together, alone)
