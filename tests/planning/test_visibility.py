"""Tracks, limits, hours and transits against skyfield, astropy, and brute force."""

import datetime
from types import SimpleNamespace

import numpy as np
import pytest
import skyfield_data
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.time import Time
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from skyfield import almanac
from skyfield.api import Star, load, load_file, wgs84

from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonight.visibility import (
    best_moment,
    limit_margin_deg,
    meridian_transit_utc_mjd,
    sky_tracks,
    time_grid,
    usable_hours,
)
from nightplan.sky.airmass import kasten_young
from nightplan.sky.refraction import seen_altitude_deg

SITE = SimpleNamespace(
    name="Hollow Ridge",
    latitude_deg=38.60,
    longitude_deg=-7.55,
    elevation_m=240.0,
    timezone="Europe/Lisbon",
)
# Places from memory, to the arcminute: M 31, NGC 7000, M 42, M 8, a circumpolar and a southern one.
RA_DEG = np.array([10.685, 314.7, 83.82, 270.9, 30.0, 60.0])
DEC_DEG = np.array([41.269, 44.3, -5.39, -24.38, 85.0, -70.0])
FLAT = 0.0


@pytest.fixture(scope="module")
def night():
    return compute_night(SITE, datetime.date(2027, 10, 6))


@pytest.fixture(scope="module")
def tracks(night):
    return sky_tracks(night, RA_DEG, DEC_DEG, time_grid(night, 10.0))


@pytest.fixture(scope="module")
def sky():
    ephemeris = load_file(f"{skyfield_data.get_skyfield_data_path()}/de421.bsp")
    observer = ephemeris["earth"] + wgs84.latlon(
        SITE.latitude_deg, SITE.longitude_deg, elevation_m=SITE.elevation_m
    )
    return load.timescale(builtin=True), ephemeris, observer


def star(index):
    return Star(ra_hours=RA_DEG[index] / 15.0, dec_degrees=DEC_DEG[index])


def mjd_of(times):
    return np.array([Time(t.replace(tzinfo=None)).mjd for t in times.utc_datetime()])


def test_time_grid_spans_the_window_with_both_ends(night):
    grid = time_grid(night, 10.0)
    assert (grid[0], grid[-1]) == night.window_utc_mjd
    steps = np.diff(grid) * 1440.0
    assert steps.max() <= 10.0 + 1e-6
    np.testing.assert_allclose(steps, steps[0], rtol=1e-6)
    whole = time_grid(night, 10.0, whole_night=True)
    assert (whole[0], whole[-1], whole.size) == (night.noon_utc_mjd, night.next_noon_utc_mjd, 145)
    with pytest.raises(ValueError, match="positive"):
        time_grid(night, 0.0)


def test_no_window_means_no_times():
    bright = compute_night(
        SimpleNamespace(**{**vars(SITE), "latitude_deg": 66.0, "timezone": "UTC"}),
        datetime.date(2027, 6, 21),
    )
    grid = time_grid(bright, 5.0)
    assert grid.size == 0
    none = sky_tracks(bright, RA_DEG, DEC_DEG, grid)
    margin = limit_margin_deg(none, FLAT, 25.0)
    assert margin.shape == (RA_DEG.size, 0)
    np.testing.assert_array_equal(usable_hours(grid, margin), np.zeros(RA_DEG.size))
    assert np.all(np.isnan(best_moment(grid, none.altitude_deg, margin)[0]))
    assert np.all(np.isfinite(meridian_transit_utc_mjd(bright, RA_DEG, DEC_DEG)))


@pytest.mark.filterwarnings("ignore:.*has expired")
def test_tracks_against_skyfield(tracks, sky):
    # Stars and moon of skyfield with DE421, all topocentric; its UT1 is 0.3 s off in 2027.
    scale, ephemeris, observer = sky
    at = observer.at(scale.utc(1858, 11, 17.0 + tracks.utc_mjd))
    moon = at.observe(ephemeris["moon"]).apparent()
    tolerance = 6.0 / 3600.0
    for i in range(RA_DEG.size):
        seen = at.observe(star(i)).apparent()
        altitude, azimuth, _ = seen.altaz()
        np.testing.assert_allclose(tracks.altitude_deg[i], altitude.degrees, atol=tolerance)
        across = tracks.azimuth_deg[i] - azimuth.degrees
        across = (across - 360.0 * np.rint(across / 360.0)) * np.cos(altitude.radians)
        np.testing.assert_allclose(across, 0.0, atol=tolerance)
        np.testing.assert_allclose(
            tracks.moon_separation_deg[i], moon.separation_from(seen).degrees, atol=0.005
        )
    moon_altitude, _, moon_distance = moon.altaz()
    np.testing.assert_allclose(tracks.moon_altitude_deg, moon_altitude.degrees, atol=0.005)
    np.testing.assert_allclose(tracks.moon_distance_km, moon_distance.km, rtol=2e-4)
    sun_altitude = at.observe(ephemeris["sun"]).apparent().altaz()[0].degrees
    np.testing.assert_allclose(tracks.sun_altitude_deg, sun_altitude, atol=tolerance)


def test_airmass_takes_the_seen_altitude(tracks):
    seen = seen_altitude_deg(tracks.altitude_deg, 1013.25 * (1 - 2.25577e-5 * 240.0) ** 5.25588)
    np.testing.assert_allclose(tracks.airmass, kasten_young(seen))
    assert np.all(np.isinf(tracks.airmass[tracks.altitude_deg < -1.0]))


@pytest.mark.filterwarnings("ignore:.*has expired")
def test_transits_against_skyfield(night, sky):
    scale, _, observer = sky
    middle = 0.5 * sum(night.window_utc_mjd)
    ours = meridian_transit_utc_mjd(night, RA_DEG, DEC_DEG)
    start = scale.utc(1858, 11, 17.0 + middle - 0.6)
    end = scale.utc(1858, 11, 17.0 + middle + 0.6)
    for i in range(RA_DEG.size):
        theirs = mjd_of(almanac.find_transits(observer, star(i), start, end))
        nearest = theirs[np.argmin(np.abs(theirs - middle))]
        assert abs(ours[i] - nearest) * 86400.0 < 1.0
    assert np.all(np.abs(ours - middle) <= 0.4987)
    culminating = sky_tracks(night, RA_DEG, DEC_DEG, np.sort(ours))
    assert np.abs(culminating.hour_angle_deg).min(axis=1) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.filterwarnings("ignore:.*has expired")
def test_hours_above_a_minimum_altitude_against_skyfield(night, tracks, sky):
    # skyfield's risings and settings of a star through 25 degrees, cut to the window.
    scale, _, observer = sky
    start, end = night.window_utc_mjd
    margin = limit_margin_deg(tracks, -90.0, 25.0)
    hours = usable_hours(tracks.utc_mjd, margin)
    for i in range(4):
        span = scale.utc(1858, 11, 17.0 + start - 1.0), scale.utc(1858, 11, 17.0 + end + 1.0)
        rises, crosses = almanac.find_risings(observer, star(i), *span, horizon_degrees=25.0)
        sets, _ = almanac.find_settings(observer, star(i), *span, horizon_degrees=25.0)
        if not crosses.any():
            assert hours[i] == 0.0
            continue
        stretches = []
        for rise in mjd_of(rises):
            after = [s for s in mjd_of(sets) if s > rise]
            if after:
                stretches.append((max(rise, start), min(after[0], end)))
        inside = [(a, b) for a, b in stretches if b > a]
        expected = 24.0 * sum(b - a for a, b in inside)
        assert hours[i] == pytest.approx(expected, abs=10.0 / 3600.0)
    assert hours[4] == pytest.approx(night.window_hours)
    assert hours[5] == 0.0


def test_limits_as_function_and_array_and_their_sense(tracks):
    def hill(azimuth_deg):
        return np.where((azimuth_deg > 250.0) & (azimuth_deg < 300.0), 40.0, 0.0)

    by_function = limit_margin_deg(tracks, hill, 25.0, 75.0)
    by_array = limit_margin_deg(tracks, hill(tracks.azimuth_deg), 25.0, 75.0)
    np.testing.assert_array_equal(by_function, by_array)
    # The horizon is as seen, the other limits are airless: just under a 25 degree skyline a
    # target counts, as refraction (2.1 arcmin) lifts it.
    altitude = np.array([[24.98, 25.01, 75.01]])
    stub = SimpleNamespace(
        altitude_deg=altitude,
        azimuth_deg=np.zeros_like(altitude),
        seen_altitude_deg=seen_altitude_deg(altitude),
    )
    assert (limit_margin_deg(stub, 25.0, 0.0) >= 0.0).tolist() == [[True, True, True]]
    assert (limit_margin_deg(stub, 0.0, 25.0) >= 0.0).tolist() == [[False, True, True]]
    below_75 = limit_margin_deg(stub, 0.0, 25.0, 75.0) >= 0.0
    assert below_75.tolist() == [[False, True, False]]


margins = arrays(
    np.float64,
    st.tuples(st.integers(1, 4), st.integers(2, 12)),
    elements=st.floats(-5.0, 5.0).map(lambda x: round(x, 3)),
)


@given(margins)
@settings(max_examples=100, deadline=None)
def test_hours_against_dense_sampling(margin):
    times = 61684.0 + np.arange(margin.shape[1]) / 144.0
    hours = usable_hours(times, margin)
    dense = np.linspace(times[0], times[-1], 40001)
    for i, row in enumerate(margin):
        # A knot of exactly zero among negatives is usable for no time at all.
        usable = np.interp(dense, times, row) >= 0.0
        assert hours[i] == pytest.approx(usable.mean() * 24.0 * (times[-1] - times[0]), abs=0.002)


def test_best_moment_against_a_fine_grid(night):
    rng = np.random.default_rng(3)
    ra, dec = rng.uniform(0.0, 360.0, 80), rng.uniform(-50.0, 85.0, 80)

    def hill(azimuth_deg):
        return 20.0 + 15.0 * np.cos(np.radians(azimuth_deg - 200.0))

    moments = {}
    for step in (10.0, 0.25):
        grid = time_grid(night, step)
        tracks = sky_tracks(night, ra, dec, grid)
        margin = limit_margin_deg(tracks, hill, 25.0, 78.0)
        moments[step] = best_moment(grid, tracks.altitude_deg, margin)
    (when, height), (true_when, true_height) = moments[10.0], moments[0.25]
    np.testing.assert_array_equal(np.isnan(when), np.isnan(true_when))
    known = ~np.isnan(when)
    assert known.sum() > 30
    np.testing.assert_allclose(height[known], true_height[known], atol=0.03)
    # Near culmination the altitude is flat, so the time itself is looser than the altitude; a
    # target cut at 78 degrees on both sides has two equal moments.
    far = np.abs(when - true_when)[known] * 1440.0 > 2.0
    assert np.all(np.abs(height[known][far] - 78.0) < 0.03)
    np.testing.assert_array_less(height[known], 78.03)


def test_best_moment_of_very_short_grids():
    altitude = np.array([[30.0, 40.0], [30.0, 40.0]])
    margin = np.array([[1.0, 1.0], [-1.0, -2.0]])
    when, height = best_moment(np.array([1.0, 2.0]), altitude, margin)
    assert (when[0], height[0]) == (2.0, 40.0)
    assert np.isnan(when[1])


def test_altitudes_against_astropy(tracks):
    location = EarthLocation(lat=38.6 * u.deg, lon=-7.55 * u.deg, height=240.0 * u.m)
    theirs = SkyCoord(RA_DEG[0] * u.deg, DEC_DEG[0] * u.deg).transform_to(
        AltAz(obstime=tracks.time, location=location)
    )
    np.testing.assert_allclose(tracks.altitude_deg[0], theirs.alt.deg, atol=5e-4)


def test_times_of_another_night_are_refused(night):
    with pytest.raises(ValueError, match="night by night"):
        sky_tracks(night, RA_DEG, DEC_DEG, [night.midnight_utc_mjd + 1.5])
    with pytest.raises(ValueError, match="ra, dec"):
        sky_tracks(night, RA_DEG, DEC_DEG[:2], [night.midnight_utc_mjd])
    with pytest.raises(ValueError, match="near_utc_mjd"):
        meridian_transit_utc_mjd(SITE, RA_DEG, DEC_DEG)
