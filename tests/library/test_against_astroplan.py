"""Night, tracks, transits and constraints against astroplan and astropy (the packages)."""

from __future__ import annotations

import numpy as np
import pytest
from astroplan import (
    AirmassConstraint,
    AltitudeConstraint,
    Constraint,
    MoonSeparationConstraint,
    Observer,
)
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.time import Time

import nightplan
from nightplan.model.config import Config

EVENING = "2027-10-06"
PLACES = [
    ("north", -7.55, 38.60, 240.0, "Europe/Lisbon"),
    ("south", 151.0, -33.0, 400.0, "Australia/Sydney"),
    ("dateline", -171.8, -13.8, 5.0, "Pacific/Apia"),
]


def observer(name: str, lon: float, lat: float, height: float, zone: str) -> Observer:
    return Observer(
        location=EarthLocation.from_geodetic(lon * u.deg, lat * u.deg, height * u.m),
        name=name,
        timezone=zone,
    )


@pytest.mark.parametrize("place", PLACES, ids=lambda place: place[0])
def test_twilights_agree_with_astroplan(place: tuple[str, float, float, float, str]) -> None:
    # astroplan takes a grid of n points over a day and interpolates: seconds at n = 1500.
    night = nightplan.night(observer(*place), EVENING)
    theirs = observer(*place)
    middle = night.midnight
    for ours, call in (
        (night.astronomical_dusk, theirs.twilight_evening_astronomical),
        (night.nautical_dusk, theirs.twilight_evening_nautical),
    ):
        expected = call(middle, which="previous", n_grid_points=1500)
        assert ours is not None
        assert abs(ours - Time(expected)) < 5 * u.s
    expected = theirs.twilight_morning_astronomical(middle, which="next", n_grid_points=1500)
    assert abs(night.astronomical_dawn - Time(expected)) < 5 * u.s
    expected = theirs.sun_set_time(
        middle, which="previous", horizon=-50 * u.arcmin, n_grid_points=1500
    )
    assert abs(night.sunset - Time(expected)) < 5 * u.s


@pytest.mark.parametrize("place", PLACES, ids=lambda place: place[0])
def test_transits_agree_with_astroplan(place: tuple[str, float, float, float, str]) -> None:
    # astroplan seeks the highest altitude on a grid and interpolates, so not quite the meridian.
    night = nightplan.night(observer(*place), EVENING)
    names = ["M 31", "NGC 253"]
    targets = [nightplan.target(name).fixed_target for name in names]
    ours = nightplan.transit(observer(*place), names, near=night.midnight)
    assert ours.shape == (2,)
    for target, mine in zip(targets, ours, strict=True):
        theirs = observer(*place).target_meridian_transit_time(
            night.midnight, target, which="nearest", n_grid_points=600
        )
        assert abs(mine - Time(theirs)) < 20 * u.s


def test_transit_of_one_target_is_one_time(demo: Config) -> None:
    near = Time("2027-10-07T00:00:00")
    one = nightplan.transit(demo, SkyCoord(10.68 * u.deg, 41.27 * u.deg), near)
    assert one.isscalar
    altaz = SkyCoord(10.68 * u.deg, 41.27 * u.deg).transform_to(
        AltAz(obstime=one, location=demo.site.location)
    )
    # Two degrees and two thirds north of the zenith, azimuth turns fast: 1 arcmin is 0.2 s.
    assert min(altaz.az.deg, 360.0 - altaz.az.deg) < 0.1


def test_tracks_agree_with_astropy(demo: Config) -> None:
    targets = SkyCoord([10.6848, 83.82, 201.7] * u.deg, [41.269, -5.39, -43.02] * u.deg)
    times = Time("2027-10-06T18:00:00") + np.linspace(0.0, 11.0, 12) * u.hour
    table = nightplan.tracks(demo, targets, times)
    assert len(table) == 36
    assert table["altitude"].unit == u.deg
    frame = AltAz(obstime=table["time"], location=demo.site.location)
    theirs = SkyCoord(np.repeat(targets.ra, 12), np.repeat(targets.dec, 12)).transform_to(frame)
    ours = SkyCoord(
        AltAz(
            az=table["azimuth"],
            alt=table["altitude"],
            obstime=table["time"],
            location=demo.site.location,
        )
    )
    assert ours.separation(theirs).max() < 0.0005 * u.deg
    by_observer = nightplan.tracks(demo.site.observer, targets, times)
    assert np.allclose(by_observer["altitude"], table["altitude"], rtol=0.0, atol=1e-9 * u.deg)


def test_tracks_of_a_night_without_a_window_are_empty() -> None:
    north = observer("polar day", 18.9, 69.6, 10.0, "Europe/Oslo")
    table = nightplan.tracks(north, "M 31", evening="2027-06-21")
    assert len(table) == 0
    assert table["altitude"].unit == u.deg


def test_altitude_constraint_changes_hours(demo: Config) -> None:
    free = nightplan.pick(demo, EVENING, only=["M 33", "M 31"])
    tight = nightplan.pick(
        demo, EVENING, only=["M 33", "M 31"], constraints=[AltitudeConstraint(min=60 * u.deg)]
    )
    for row in free:
        (other,) = [one for one in tight if one["name"] == row["name"]]
        assert other["clock_time"] < row["clock_time"]
        # The hours above 60 degrees by astropy alone, on a grid of minutes.
        night = nightplan.night(demo, EVENING)
        start, end = night.window
        times = start + np.arange(0.0, (end - start).to_value("min"), 1.0) * u.min
        altitude = row["coord"].transform_to(AltAz(obstime=times, location=demo.site.location)).alt
        # Neither the skyline nor the moon (under 60 degrees from neither) binds above 60.
        moon_free = altitude >= 60 * u.deg
        highest = altitude <= demo.mount.highest_altitude_deg * u.deg
        expected = np.count_nonzero(moon_free & highest) / 60.0
        assert other["clock_time"].to_value("h") == pytest.approx(expected, abs=0.06)


def test_every_place_of_a_constrained_ranking_keeps_the_constraint(demo: Config) -> None:
    wishes = [AirmassConstraint(max=1.3), MoonSeparationConstraint(min=70 * u.deg)]
    table = nightplan.pick(demo, EVENING, count=10, kinds=["galaxy"], constraints=wishes)
    assert len(table) == 10
    assert np.all(table["altitude"] > 50.0 * u.deg)  # airmass 1.3 is 50.3 degrees
    assert np.all(table["moon_separation"] > 69.9 * u.deg)


class NorthernHalf(Constraint):
    """A constraint of one's own: grades by declination."""

    def compute_constraint(self, times, observer, targets):  # type: ignore[no-untyped-def]
        value = np.where(targets.dec > 35 * u.deg, 1.0, 0.25)
        return np.broadcast_to(value, np.broadcast_shapes(value.shape, times.shape))


def test_a_grading_constraint_weighs_the_time(demo: Config) -> None:
    free = nightplan.pick(demo, EVENING, only=["M 33"])
    graded = nightplan.pick(demo, EVENING, only=["M 33"], constraints=[NorthernHalf()])
    assert graded["clock_time"][0] == free["clock_time"][0]  # nothing is forbidden
    ratio = graded["equivalent_time"][0] / free["equivalent_time"][0]
    assert ratio.to_value("") == pytest.approx(0.25)  # M 33 stands at declination +30.7


def test_a_plan_keeps_constraints_and_says_when_one_bars_a_target(demo: Config) -> None:
    """Altitudes of the blocks' ends by astropy; the limits alone would let M 33 begin at 25°."""
    high = [AltitudeConstraint(min=55 * u.deg)]
    free = nightplan.plan(demo, EVENING, ["M 33"], journal=False)
    held = nightplan.plan(demo, EVENING, ["M 33"], journal=False, constraints=high)
    lowest = []
    for plan in (free, held):
        blocks = plan.blocks
        assert len(blocks) > 0
        place = SkyCoord(blocks["coord"][0])
        ends = [time for row in blocks for time in (row["start"], row["end"])]
        frame = AltAz(obstime=Time(ends), location=demo.site.location)
        lowest.append(place.transform_to(frame).alt.deg.min())
    assert lowest[0] < 50.0
    assert lowest[1] > 54.9
    never = nightplan.plan(
        demo, EVENING, ["M 33"], journal=False, constraints=[AltitudeConstraint(min=89 * u.deg)]
    )
    assert len(never.blocks) == 0
    assert "a constraint given for it" in never.document.model_dump_json()


def test_a_season_with_a_constraint_counts_what_astropy_does(demo: Config) -> None:
    """Four nights of M 33 above 60°, hours from astropy's altitudes on a grid of minutes; a
    constraint that never binds leaves the sidereal integral's hours."""
    days = 4
    plain = nightplan.season(demo, "M 33", EVENING, days)
    loose = nightplan.season(
        demo, "M 33", EVENING, days, constraints=[AltitudeConstraint(min=1 * u.deg)]
    )
    np.testing.assert_allclose(loose["usable"], plain["usable"], atol=0.02)
    np.testing.assert_allclose(loose["usable_moonless"], plain["usable_moonless"], atol=0.05)
    tight = nightplan.season(
        demo, "M 33", EVENING, days, constraints=[AltitudeConstraint(min=60 * u.deg)]
    )
    for row in tight:
        start, end = nightplan.night(demo, row["date"]).window
        times = start + np.arange(0.0, (end - start).to_value("min"), 1.0) * u.min
        place = SkyCoord(23.4621 * u.deg, 30.6599 * u.deg)  # of M 33, J2000
        altitude = place.transform_to(AltAz(obstime=times, location=demo.site.location)).alt
        allowed = (altitude >= 60 * u.deg) & (altitude <= demo.mount.highest_altitude_deg * u.deg)
        assert row["usable"].to_value("h") == pytest.approx(allowed.sum() / 60.0, abs=0.1)


def test_a_campaign_keeps_constraints(demo: Config) -> None:
    """A constraint of one's own that holds on no night but one leaves that night alone."""
    third = "2027-10-08"

    class OnlyThat(Constraint):
        def compute_constraint(self, times, observer, targets):  # type: ignore[no-untyped-def]
            start, end = nightplan.night(demo, third).window
            inside = (times > start) & (times < end)
            return np.broadcast_to(inside, np.broadcast_shapes(targets.shape, times.shape))

    found = nightplan.campaign(
        demo, ["M 33"], EVENING, 4, chance=1.0, journal=False, constraints=[OnlyThat()]
    )
    assert {str(row["date"]) for row in found.nights if row["target"]} == {third}
