"""The year in one pass against astropy night by night, and against this project's own nights."""

from __future__ import annotations

import datetime
import itertools

import numpy as np
import pytest

from nightplan.model.config import parse_config
from nightplan.model.own_targets import catalog_for
from nightplan.model.site import Site
from nightplan.model.starter import starter_text
from nightplan.planning.choosing.merits import Merits, best_merits, catalog_merits
from nightplan.planning.choosing.selection import rank_targets
from nightplan.planning.choosing.wishes import Wishes
from nightplan.planning.season import season as se
from nightplan.planning.season.ranking import rank_month
from nightplan.planning.tonight.limits import geometry_margin_deg
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonight.visibility import sky_tracks, time_grid, usable_hours

FIRST = datetime.date(2027, 1, 1)
HOURS_TOLERANCE = 0.012


@pytest.fixture(scope="module")
def year(demo):
    return se.year_nights(demo.site, FIRST)


TARGETS = {
    "equator": (83.82, -5.39),
    "north": (314.75, 44.4),
    "circumpolar": (150.0, 85.0),
    "south": (266.4, -29.0),
    "never": (10.0, -70.0),
}


@pytest.fixture(scope="module")
def table(demo, year):
    ra, dec = zip(*TARGETS.values(), strict=True)
    return se.season(demo, year, ra, dec)


@pytest.mark.parametrize("index", [0, 33, 100, 172, 250, 279, 364])
def test_windows_and_moon_are_those_of_single_nights(demo, year, index):
    night = compute_night(demo.site, year.evenings[index])
    assert year.window_kind[index] == night.window_kind
    assert np.abs(year.window_utc_mjd[index] - night.window_utc_mjd).max() * 86400 < 0.5
    moonless = 24.0 * np.nansum(np.diff(year.moonless_utc_mjd[index], axis=-1))
    assert moonless == pytest.approx(night.moonless_dark_hours, abs=0.001)
    assert year.moon_illuminated_fraction[index] == pytest.approx(night.moon_illuminated_fraction)


@pytest.mark.parametrize("index", [5, 95, 172, 279, 360])
def test_hours_are_those_of_single_nights_behind_the_hill(demo, year, table, index):
    night = compute_night(demo.site, year.evenings[index])
    times = time_grid(night, 1.0)
    ra, dec = zip(*TARGETS.values(), strict=True)
    tracks = sky_tracks(night, ra, dec, times)
    direct = usable_hours(times, geometry_margin_deg(demo, tracks))
    assert np.abs(table.usable_hours[:, index] - direct).max() < HOURS_TOLERANCE


@pytest.mark.parametrize(
    ("name", "evening"),
    [("equator", datetime.date(2027, 2, 9)), ("north", datetime.date(2027, 10, 12))],
)
def test_hours_against_astropy(demo, name, evening):
    """astropy's airless AltAz of target, sun and moon, minute by minute; flat horizon, 30°.

    Counting minutes is good to one minute an edge; the moon's upper limb sets at -34′ less its
    semidiameter, 15.5′.
    """
    from astropy import units as u
    from astropy.coordinates import AltAz, SkyCoord, get_body, get_sun
    from astropy.time import Time

    from nightplan.model.site import HorizonProfile
    from nightplan.planning.tonight.earth_orientation import configure_astropy

    configure_astropy()
    plain = demo.model_copy(update={"horizon": HorizonProfile()})
    ra, dec = TARGETS[name]
    ours = se.season(plain, se.year_nights(plain.site, datetime.date(2027, 1, 1)), ra, dec)
    row = ours.nights.evenings.index(evening)
    noon = Time(evening.isoformat() + "T12:00:00")
    times = noon + np.arange(1440) * u.min
    frame = AltAz(obstime=times, location=plain.site.location)
    dark = get_sun(times).transform_to(frame).alt.deg < -18.0
    altitude = SkyCoord(ra * u.deg, dec * u.deg).transform_to(frame).alt.deg
    usable = dark & (altitude >= 30.0) & (altitude <= 87.0)
    moon = get_body("moon", times, plain.site.location).transform_to(frame).alt.deg
    moonless = usable & (moon < -(34.0 + 15.5) / 60.0)
    assert 2.0 < usable.sum() / 60.0 < 11.0
    assert ours.usable_hours[0, row] == pytest.approx(usable.sum() / 60.0, abs=0.06)
    assert ours.moonless_hours[0, row] == pytest.approx(moonless.sum() / 60.0, abs=0.06)
    assert not moonless.all()


def test_bounds(year, table):
    window = 24.0 * np.diff(year.window_utc_mjd, axis=1)[:, 0]
    assert np.all(table.usable_hours <= window + 1e-6)
    assert np.all(table.moonless_hours <= table.usable_hours)
    assert np.all(table.usable_hours >= 0.0)
    assert np.all(table.usable_hours[list(TARGETS).index("never")] == 0.0)
    circumpolar = table.usable_hours[list(TARGETS).index("circumpolar")]
    assert circumpolar == pytest.approx(window, abs=0.01)
    # Orion's season is winter, NGC 7000's summer and autumn.
    months, sums = se.month_sums(year, table.usable_hours)
    assert months == [(2027, month) for month in range(1, 13)]
    assert np.argmax(sums[0]) + 1 in (12, 1)
    assert np.argmax(sums[1]) + 1 in (8, 9, 10)


def site(latitude, longitude=0.0, zone="UTC"):
    return Site(name="x", latitude_deg=latitude, longitude_deg=longitude, elevation_m=0.0,
                timezone=zone, sky_mag_arcsec2=21.0)  # fmt: skip


@pytest.mark.parametrize(
    ("place", "summer"),
    [
        (site(69.6, 19.0, "Europe/Oslo"), "none"),
        (site(52.0), "nautical"),
        (site(0.0), "astronomical"),
    ],
)
def test_summers_without_darkness(demo, place, summer):
    nights = se.year_nights(place, datetime.date(2027, 6, 1), 40)
    index = nights.evenings.index(datetime.date(2027, 6, 21))
    assert nights.window_kind[index] == summer
    single = compute_night(place, nights.evenings[index])
    assert single.window_kind == summer
    config = demo.model_copy(update={"site": place})
    hours = se.season(config, nights, 150.0, 85.0).usable_hours[0, index]
    assert (hours == 0.0) == (summer == "none" or place.latitude_deg == 0.0)


@pytest.mark.parametrize(
    "place",
    [
        site(-33.9, 151.2, "Australia/Sydney"),
        site(-18.0, 178.4, "Pacific/Fiji"),
        site(-78.0, 166.0),
    ],
)
def test_the_far_side_of_the_world(place):
    nights = se.year_nights(place, FIRST)
    for index in (20, 171, 300):
        single = compute_night(place, nights.evenings[index])
        assert nights.window_kind[index] == single.window_kind
        if single.window_utc_mjd is not None:
            gap = np.abs(nights.window_utc_mjd[index] - single.window_utc_mjd)
            assert gap.max() * 86400 < 2.0


def test_the_order_of_targets_does_not_matter(demo, year, monkeypatch):
    random = np.random.default_rng(3)
    ra, dec = random.uniform(0, 360, 30), np.degrees(np.arcsin(random.uniform(-1, 1, 30)))
    whole = se.season(demo, year, ra, dec)
    monkeypatch.setattr(se, "CHUNK", 7)
    calls = []
    pieces = se.season(demo, year, ra[::-1], dec[::-1], lambda *done: calls.append(done))
    assert np.array_equal(whole.usable_hours, pieces.usable_hours[::-1])
    assert calls[-1] == (30, 30)


def test_best_weeks_and_span(year, table):
    row = list(TARGETS).index("north")
    usable, moonless = table.usable_hours[row], table.moonless_hours[row]
    weeks = se.best_weeks(year, usable, moonless)
    assert len(weeks) == 4
    sums = [moonless[i : i + 7].sum() for i in range(359)]
    assert max(week.moonless_hours for week in weeks) == pytest.approx(max(sums))
    starts = [week.first for week in weeks]
    assert starts == sorted(starts)
    assert min(b - a for a, b in itertools.pairwise(starts)).days >= 7
    first, last = se.useful_span(year, usable, 2.0)
    # Around the ring: the nights outside the run fall below two hours.
    assert first < last
    outside = [
        hours for day, hours in zip(year.evenings, usable, strict=True) if not first <= day <= last
    ]
    assert max(outside) < 2.0
    orion = se.useful_span(year, table.usable_hours[0], 2.0)
    assert orion[0] > orion[1]  # through new year
    never = list(TARGETS).index("never")
    assert se.useful_span(year, table.usable_hours[never], 2.0) is None
    assert se.best_weeks(year, table.usable_hours[never], table.moonless_hours[never]) == []
    circumpolar = table.usable_hours[list(TARGETS).index("circumpolar")]
    assert se.useful_span(year, circumpolar, 2.0) == (year.evenings[0], year.evenings[-1])


def test_a_month_is_ranked_by_what_pick_sees_in_a_target() -> None:
    """The parts are those of `pick` with the same train alone, and the faint come after."""
    text = starter_text()
    start, end = text.index("[train.flattener]"), text.index("[train.reducer]")
    config = parse_config(text[:start] + text[end:])
    catalog = catalog_for(config)
    night = compute_night(config.site, datetime.date(2027, 12, 5))
    names = ["M 42", "NGC 2237", "M 35", "M 33", "IC 443"]
    ranking = rank_targets(config, night, catalog, Wishes(names=names))
    rows = np.array([entry.row for entry in ranking.ranked])
    assert rows.size == len(names)
    merits = catalog_merits(config, catalog.subset(rows), "reducer", night.midnight_utc_mjd)
    for number, entry in enumerate(ranking.ranked):
        assert merits.framing[number] == pytest.approx(entry.score_parts["framing"], rel=1e-9)
        assert merits.contrast[number] == pytest.approx(entry.score_parts["contrast"], rel=1e-9)


def test_each_target_of_a_month_is_ranked_in_its_best_train() -> None:
    config = parse_config(starter_text())
    catalog = catalog_for(config)
    names = ("M 51", "M 97", "NGC 1499", "NGC 7000", "M 33", "IC 1848")
    few = catalog.subset([catalog.find(name) for name in names])
    night = compute_night(config.site, datetime.date(2027, 12, 5))
    alone = {
        train: catalog_merits(config, few, train, night.midnight_utc_mjd) for train in config.train
    }
    every = np.ones(len(few), dtype=bool)
    best = best_merits(config, few, dict.fromkeys(config.train, every), night.midnight_utc_mjd)
    for row, train in enumerate(best.train):
        own = alone[train]
        assert best.framing[row] == own.framing[row]
        value = {name: one.framing[row] * one.contrast[row] for name, one in alone.items()}
        assert value[train] == max(value.values())
    # Common practice, no source: small galaxies at the native focal length, wide nebulae reduced.
    trains = dict(zip(names, best.train, strict=True))
    assert trains["M 51"] == "flattener"
    assert trains["NGC 1499"] == trains["NGC 7000"] == "reducer"
    none = {"flattener": ~every, "reducer": every}
    only = best_merits(config, few, none, night.midnight_utc_mjd)
    assert set(only.train) == {"reducer"}


def test_hours_beyond_the_goal_and_lesser_merits_rank_lower(year) -> None:
    month = (year.evenings[0].year, year.evenings[0].month)
    hours = np.tile(np.where([d.month == month[1] for d in year.evenings], 6.0, 2.0), (4, 1))
    table = se.Season(year, hours, hours)
    merits = Merits(
        framing=np.array([1.0, 1.0, 0.5, 1.0]),
        contrast=np.array([0.8, 0.4, 0.8, 0.8]),
        goal_h=np.array([12.0, 12.0, 12.0, 1.5]),
        train=np.full(4, "reducer", dtype=object),
    )
    found = rank_month(table, np.arange(4), merits, month, 4, 1.0)
    nights = sum((d.year, d.month) == month for d in year.evenings)
    assert [rank.row for rank in found] == [0, 1, 2, 3]
    share = found[0].share_of_best_month
    expected = [6.0 * 0.8, 6.0 * 0.4, 6.0 * 0.4, 1.5 * 0.8]
    assert [rank.score for rank in found] == pytest.approx(
        [nights * share * one for one in expected]
    )
