"""The ranking of the catalogue: limits kept, parts explained, astroplan constraints taken."""

from __future__ import annotations

import datetime
import math

import numpy as np
import pytest
from astropy.coordinates import AltAz, SkyCoord, get_body
from astropy.time import Time

from nightplan.errors import InputError, TargetError
from nightplan.model.catalog import Catalog
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.config import Config, parse_config
from nightplan.model.starter import starter_text
from nightplan.planning.choosing.night_targets import candidates
from nightplan.planning.choosing.selection import Ranking, rank_targets
from nightplan.planning.choosing.wishes import Wishes
from nightplan.planning.tonight.night import Night, compute_night
from nightplan.planning.tonight.visibility import sky_tracks, time_grid

EVENING = datetime.date(2027, 10, 6)


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


@pytest.fixture(scope="module")
def night(demo: Config) -> Night:
    return compute_night(demo.site, EVENING)


@pytest.fixture(scope="module")
def ranking(demo: Config, night: Night, catalog: Catalog) -> Ranking:
    return rank_targets(demo, night, catalog)


def test_the_score_is_the_product_of_its_parts_best_first(ranking: Ranking) -> None:
    scores = [entry.score for entry in ranking.ranked]
    assert scores == sorted(scores, reverse=True)
    for entry in ranking.ranked:
        assert entry.score == pytest.approx(math.prod(entry.score_parts.values()))
        assert set(entry.score_parts) == {"tonight", "framing", "contrast", "priority", "begun"}
        assert all(0.0 <= value <= 1.0 for value in entry.score_parts.values())


def test_pruning_by_bounds_leaves_the_order_as_it_is(
    demo: Config, night: Night, catalog: Catalog, ranking: Ranking, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("nightplan.planning.choosing.selection.FIRST_LOOK", 40)
    short = rank_targets(demo, night, catalog, most=20)
    assert [e.row for e in short.ranked] == [e.row for e in ranking.ranked[:20]]


def test_every_ranked_target_keeps_its_limits_at_its_best_moment(
    demo: Config, night: Night, ranking: Ranking
) -> None:
    assert night.window_utc_mjd is not None
    start, end = night.window_utc_mjd
    for entry in ranking.ranked:
        assert start - 1e-9 <= entry.best_utc_mjd <= end + 1e-9
        assert entry.max_altitude_deg >= demo.preferences.minimum_altitude_deg - 0.002
        assert entry.max_altitude_deg <= demo.mount.highest_altitude_deg + 0.002
        assert 0.25 <= entry.hours <= night.window_hours + 1e-6


def test_hours_agree_with_a_minute_by_minute_count_by_astropy(
    demo: Config, night: Night, ranking: Ranking, catalog: Catalog
) -> None:
    # astropy.coordinates AltAz and get_body as the outside: altitude, skyline, moon distance.
    from astropy import units as u
    from astropy.coordinates import AltAz, get_body
    from astropy.time import Time

    from nightplan.planning.tonight.earth_orientation import configure_astropy

    configure_astropy()
    utc_mjd = time_grid(night, 2.0)
    times = Time(utc_mjd, format="mjd", scale="utc")
    frame = AltAz(obstime=times, location=demo.site.location)
    refracted = AltAz(
        obstime=times, location=demo.site.location, pressure=985 * u.hPa, temperature=10 * u.deg_C
    )
    moon = get_body("moon", times, demo.site.location, ephemeris="builtin")
    moon_alt = moon.transform_to(frame).alt.deg
    lit = 0.5 * (1 - np.cos(np.radians(180 - 82.0)))  # the fraction is checked elsewhere
    galaxies = [e for e in ranking.ranked if e.target.kind == "galaxy"][:3]
    assert galaxies
    for entry in galaxies:
        coord = entry.target.coord
        place = coord.transform_to(frame)
        seen = coord.transform_to(refracted).alt.deg
        apart = place.separation(moon.transform_to(frame)).deg
        ok = (place.alt.deg >= 30.0) & (place.alt.deg <= 87.0)
        ok &= seen >= demo.horizon.altitude_deg(place.az.deg)
        ok &= (moon_alt < -1.0) | (apart >= 60.0 * lit)
        share = ok[:-1] & ok[1:]
        assert entry.hours == pytest.approx(float(share.sum()) * 2.0 / 60.0, abs=0.15)


def test_named_targets_alone_are_ranked(demo: Config, night: Night, catalog: Catalog) -> None:
    ranking = rank_targets(demo, night, catalog, Wishes(names=("m 31", "ngc7000")))
    assert {entry.target.name for entry in ranking.ranked} == {"M 31", "NGC 7000"}
    with pytest.raises(TargetError):
        rank_targets(demo, night, catalog, Wishes(names=("no such thing at all",)))


def test_wishes_narrow_and_bad_ones_say_what_is_accepted(
    demo: Config, night: Night, catalog: Catalog
) -> None:
    wishes = Wishes(kinds=("galaxy",), constellations=("and",), larger_arcmin=10.0, brighter_mag=11)
    for entry in rank_targets(demo, night, catalog, wishes).ranked:
        assert entry.target.kind == "galaxy"
        assert entry.target.constellation == "And"
        assert (entry.target.major_arcmin or 0.0) >= 10.0
    with pytest.raises(InputError, match=r"kind = 'galxy'.*galaxy"):
        rank_targets(demo, night, catalog, Wishes(kinds=("galxy",)))
    with pytest.raises(InputError, match="constellation"):
        rank_targets(demo, night, catalog, Wishes(constellations=("Xyz",)))


def test_an_astroplan_constraint_joins_the_limits(
    demo: Config, night: Night, catalog: Catalog
) -> None:
    from astroplan import AltitudeConstraint
    from astropy import units as u

    names = ("M 31", "M 33", "NGC 7000", "M 45")
    free = rank_targets(demo, night, catalog, Wishes(names=names))
    above = demo.constrained([AltitudeConstraint(min=60 * u.deg)])
    high = rank_targets(above, night, catalog, Wishes(names=names))
    hours = {entry.target.name: entry.hours for entry in free.ranked}
    for entry in high.ranked:
        assert entry.hours < hours[entry.target.name]
        tracks = sky_tracks(
            night, [entry.target.ra_deg], [entry.target.dec_deg], time_grid(night, 1.0)
        )
        minutes = int((tracks.altitude_deg[0] >= 60.0).sum())
        assert entry.hours <= minutes / 60.0 + 0.2


def test_gathered_hours_leave_less_to_add_but_put_a_target_first(
    demo: Config, night: Night, catalog: Catalog
) -> None:
    wishes = Wishes(names=("M 33",))
    free = rank_targets(demo, night, catalog, wishes).ranked[0]
    half = rank_targets(
        demo, night, catalog, wishes, gathered_h={"M 33": {"L": 100.0, "R": 100.0}}
    ).ranked[0]
    assert free.score_parts["begun"] == 1.0
    assert half.score_parts["begun"] > 1.0
    assert half.score_parts["tonight"] < free.score_parts["tonight"]


def test_no_darkness_is_an_answer_with_a_reason(demo: Config, catalog: Catalog) -> None:
    north = demo.site.model_copy(update={"latitude_deg": 70.0})
    bright = compute_night(north, datetime.date(2027, 6, 21))
    ranking = rank_targets(demo.model_copy(update={"site": north}), bright, catalog)
    assert ranking.ranked == ()
    assert ranking.empty_reason == "no_darkness"


def test_what_keeps_a_target_from_the_list_is_told(demo: Config, catalog: Catalog) -> None:
    only = Wishes(names=("M 33",))
    bright = compute_night(demo.site, datetime.date(2027, 10, 13))
    # astropy: that midnight M 33 stands high, and nearer the moon than the rule's 60° × 0.97.
    middle = Time(bright.window_utc_mjd[0] + 0.2, format="mjd")
    place = demo.site.location
    target = SkyCoord(23.4621, 30.6599, unit="deg")
    moon = get_body("moon", middle, place)
    assert target.transform_to(AltAz(obstime=middle, location=place)).alt.deg > 45.0
    assert moon.separation(target, origin_mismatch="ignore").deg < 55.0
    assert rank_targets(demo, bright, catalog, only).empty_reason == "no_usable_time"
    # From 31° south it culminates at 28°.
    site = demo.site.model_copy(update={"latitude_deg": -31.3})
    south = demo.model_copy(update={"site": site})
    dark = compute_night(site, EVENING)
    assert rank_targets(south, dark, catalog, only).empty_reason == "never_up"
    goal = '[goal."M 33"]\nhours = { L = 2.0 }\ngathered_hours = { L = 2.0 }\n'
    done = parse_config(starter_text() + goal, "done.toml")
    night = compute_night(done.site, EVENING)
    assert rank_targets(done, night, catalog, only).empty_reason == "all_goals_are_reached"


def test_candidates_are_different_pictures(demo: Config, night: Night, catalog: Catalog) -> None:
    chosen = candidates(demo, [night], catalog, {}).targets
    assert len(chosen) > demo.preferences.tonight_most_targets
    for i, one in enumerate(chosen):
        for other in chosen[i + 1 :]:
            assert one.coord.separation(other.coord).deg > 0.7


def test_a_score_in_each_train_and_the_best_of_them(ranking: Ranking) -> None:
    for entry in ranking.ranked:
        assert entry.train_scores[entry.train] == pytest.approx(entry.score)
        assert max(entry.train_scores.values()) == pytest.approx(entry.score)


def test_what_is_wanted_and_begun_comes_before_the_ranking(night: Night, catalog: Catalog) -> None:
    config = parse_config(starter_text() + '\n[goal."M 33"]\npriority = 1.0\n')
    found = candidates(config, [night], catalog, {"NGC 281": {"Ha": 1.0}})
    assert [target.name for target in found.targets[:2]] == ["M 33", "NGC 281"]
    assert found.wanted[:3] == (True, True, False)
