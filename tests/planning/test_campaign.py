"""Campaigns under real skies, against ephem's moon and twilights and the plan of a single night."""

from __future__ import annotations

import datetime
import math

import numpy as np
import pytest

from nightplan.errors import InputError, TargetError
from nightplan.model.config import Config, parse_config
from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import starter_text
from nightplan.planning.campaign.campaign import Campaign, make_campaign
from nightplan.planning.returning.earlier_nights import EarlierNights, GatheredHours

FIRST = datetime.date(2027, 10, 6)
NARROW = {"Ha", "OIII", "SII"}


@pytest.fixture(scope="module")
def catalog(demo: Config):
    return catalog_for(demo)


@pytest.fixture(scope="module")
def demo() -> Config:
    """The demo scenario with the goals that these nights were chosen for."""
    return with_keys(
        hours=("# goal_hours = 12", "goal_hours = 12"),
        stars=("star_colour_min = 20", "star_colour_min = 0"),
    )


@pytest.fixture(scope="module")
def autumn(demo: Config, catalog) -> Campaign:
    """Two galaxies and a nebula over 40 nights, first quarter to first quarter and on."""
    return make_campaign(demo, FIRST, 40, catalog, ["M 33", "NGC 7000", "M 31"])


@pytest.fixture(scope="module")
def clear(demo: Config, catalog) -> Campaign:
    """The first ten nights of it, all clear."""
    return make_campaign(demo, FIRST, 10, catalog, ["M 33", "NGC 7000", "M 31"], chance=1.0)


def with_keys(**lines: str) -> Config:
    text = starter_text()
    for old, new in lines.values():  # type: ignore[misc]
        assert old in text
        text = text.replace(old, new)
    return parse_config(text)


def outlook(campaign: Campaign, target: str):
    return next(row for row in campaign.finished if row.target == target)


def ephem_site(demo: Config, horizon: str):
    import ephem

    site = ephem.Observer()
    site.lat, site.lon = math.radians(demo.site.latitude_deg), math.radians(demo.site.longitude_deg)
    site.elevation, site.pressure, site.horizon = demo.site.elevation_m, 0.0, horizon
    return site


def test_no_night_is_longer_than_its_darkness_by_ephem(demo: Config, autumn: Campaign) -> None:
    # ephem: rise and set of the sun's centre at -18 degrees as the outside.
    import ephem

    site = ephem_site(demo, "-18")
    by_date: dict[datetime.date, float] = {}
    for row in autumn.nights:
        by_date[row.date] = by_date.get(row.date, 0.0) + row.hours
        assert row.hours == pytest.approx(sum(part.hours for part in row.filters))
        # An hour above the site's own zenith air is worth a little more than one.
        assert 0.0 < row.equivalent_h <= 1.1 * row.hours
    assert len(by_date) > 20
    for date, hours in by_date.items():
        site.date = ephem.Date(datetime.datetime(date.year, date.month, date.day, 12))
        dusk = site.next_setting(ephem.Sun(), use_center=True)
        dawn = site.next_rising(ephem.Sun(), use_center=True)
        assert hours <= 24.0 * (dawn - dusk) + 1.0 / 60.0


def test_one_train_a_night_and_one_row_a_target(autumn: Campaign) -> None:
    for date in {row.date for row in autumn.nights}:
        rows = [row for row in autumn.nights if row.date == date]
        assert len({row.train for row in rows}) == 1
        assert len({row.target for row in rows}) == len(rows)
    for end in autumn.finished:
        assert {row.train for row in autumn.nights if row.target == end.target} == {end.train}


def test_moonlit_nights_are_for_narrowband_by_ephem(autumn: Campaign) -> None:
    # ephem's illuminated part at midnight UTC, which is local midnight to an hour here.
    import ephem

    lit: dict[str, list[tuple[float, float]]] = {}
    for row in autumn.nights:
        midnight = datetime.datetime.combine(row.date + datetime.timedelta(days=1), datetime.time())
        phase = ephem.Moon(ephem.Date(midnight)).phase / 100.0
        assert row.moon_illuminated_fraction == pytest.approx(phase, abs=0.01)
        for part in row.filters:
            lit.setdefault(f"{row.target} {part.filter}", []).append((phase, part.equivalent_h))
    mean = {
        name: sum(phase * hours for phase, hours in pairs) / sum(hours for _, hours in pairs)
        for name, pairs in lit.items()
    }
    assert mean["NGC 7000 Ha"] > mean["NGC 7000 OIII"] + 0.25
    assert mean["NGC 7000 Ha"] > max(mean["M 31 L"], mean["M 33 L"]) + 0.15
    full = [row for row in autumn.nights if row.moon_illuminated_fraction > 0.95]
    assert full
    assert {part.filter for row in full for part in row.filters} <= NARROW


def test_what_waits_waits_about_full_moon_by_ephem(autumn: Campaign) -> None:
    import ephem

    full = ephem.next_full_moon(ephem.Date("2027/10/6")).datetime().date()
    names = [target.name for target in autumn.targets]
    assert {names[wait.target] for wait in autumn.waits} == {"M 33", "NGC 7000", "M 31"}
    for wait in autumn.waits:
        assert wait.wait_from <= full <= wait.wait_to
        assert wait.good_from is not None
        assert wait.good_to is not None
        assert wait.wait_to < wait.good_from <= wait.good_to
        new = ephem.next_new_moon(ephem.Date(full.isoformat())).datetime().date()
        assert wait.good_from <= new <= wait.good_to
        assert 0.0 <= wait.bright_share < 0.5
    nebula = next(wait for wait in autumn.waits if names[wait.target] == "NGC 7000")
    assert nebula.others == ("Ha",)
    assert "OIII" in nebula.filters
    galaxy = next(wait for wait in autumn.waits if names[wait.target] == "M 33")
    assert {"L", "R", "G", "B"} <= set(galaxy.filters)


def test_dates_and_chances_hang_together(autumn: Campaign) -> None:
    last = FIRST + datetime.timedelta(days=39)
    for end in autumn.finished:
        assert 0.0 <= end.chance <= 1.0
        assert (end.expected_date is None) == (end.chance < 0.5)
        assert (end.reason is None) == (end.expected_date is not None)
        if end.expected_date is not None:
            assert FIRST < end.expected_date <= last
        for part in end.filters:
            assert part.expected_h >= 0.0


def test_a_longer_campaign_holds_the_shorter_one(demo: Config, catalog, autumn: Campaign) -> None:
    part = make_campaign(demo, FIRST, 12, catalog, ["M 33", "NGC 7000", "M 31"])
    last = FIRST + datetime.timedelta(days=11)
    assert part.nights == tuple(row for row in autumn.nights if row.date <= last)
    for short in part.finished:
        assert short.chance <= outlook(autumn, short.target).chance


def test_the_first_clear_night_is_what_the_plan_makes_of_it(demo: Config, catalog) -> None:
    from nightplan.planning.tonight.night import compute_night
    from nightplan.planning.tonights_plan.plan import make_plan

    names = ["M 33", "NGC 7000", "M 31"]
    plan = make_plan(demo, compute_night(demo.site, FIRST), catalog, names)
    found = make_campaign(demo, FIRST, 2, catalog, names)
    assert plan.solution is not None
    shot: dict[str, dict[str, float]] = {}
    for row in plan.solution.evaluation.progress:
        if row.tonight_clock_h > 0.0:
            own = shot.setdefault(row.target, {})
            own[row.filter] = own.get(row.filter, 0.0) + row.tonight_clock_h
    first = [row for row in found.nights if row.date == FIRST]
    assert {row.target: {part.filter: part.hours for part in row.filters} for row in first} == {
        target: pytest.approx(hours) for target, hours in shot.items()
    }
    assert {row.train for row in first} == {plan.train.train}


def test_no_policy_is_worth_more_than_the_bound(autumn: Campaign, clear: Campaign) -> None:
    for found in (autumn, clear):
        assert found.simulation is not None
        assert 0.0 < found.simulation.value <= found.simulation.bound


def test_no_dark_night_is_left_empty(autumn: Campaign) -> None:
    # The three targets are up for hours on each of these nights (ephem, test above).
    dark = [
        evening
        for evening, lit in zip(
            autumn.asked.evenings, autumn.asked.moon_illuminated_fraction, strict=True
        )
        if lit < 0.25
    ]
    assert set(dark) <= {row.date for row in autumn.nights}


def test_rates_are_those_of_a_minute_grid(demo: Config, catalog) -> None:
    # The same limits and photons as the plan's, sampled every minute instead of every ten.
    from nightplan.planning.ahead.nights_ahead import nights_ahead, offers
    from nightplan.planning.choosing.night_targets import named_targets
    from nightplan.planning.photons.photon_budget import photon_budget
    from nightplan.planning.schedule.night_problem import overheads
    from nightplan.planning.tonight.limits import usable_margin_deg
    from nightplan.planning.tonight.visibility import sky_tracks

    targets = named_targets(catalog, ["M 33", "NGC 7000", "M 31"])
    nights = nights_ahead(demo, FIRST, 6)
    (offer,), _ = offers(demo, nights, targets, ["flattener"])
    for index in (0, 5):
        night = nights.nights[index]
        assert night is not None
        start, end = nights.start_utc_mjd[index], nights.end_utc_mjd[index]
        times = np.linspace(start, end, 601)
        tracks = sky_tracks(night, [t.ra_deg for t in targets], [t.dec_deg for t in targets], times)
        budget = photon_budget(demo, "flattener", targets, tracks)
        rules = overheads(demo, night, "flattener")
        for column, name in enumerate(budget.filter_names):
            role = demo.filter[name].role
            usable = usable_margin_deg(demo, night, tracks, role) >= 0.0
            worth = np.where(usable, np.nan_to_num(budget.worth[:, column]), 0.0)
            sub = budget.sub_s[column]
            shutter = sub / (sub + rules.download_s + rules.dither_s / rules.dither_every)
            fine = 24.0 * shutter * np.trapezoid(worth, times, axis=1)
            coarse = offer.rate[index, :, :, column].sum(axis=0) * nights.slot_h[index]
            # at most one flip of 15 minutes is charged in the rates
            assert (coarse <= fine * 1.005 + 0.02).all()
            assert (coarse >= fine * 0.995 - 0.27).all()


def test_all_clear_is_all_or_nothing(clear: Campaign) -> None:
    assert {end.chance for end in clear.finished} <= {0.0, 1.0}
    assert clear.simulation is not None
    assert clear.simulation.histories == 1
    gained = {end.target: sum(part.expected_h for part in end.filters) for end in clear.finished}
    for target, hours in gained.items():
        rows = [row for row in clear.nights if row.target == target]
        assert sum(row.equivalent_h for row in rows) == pytest.approx(hours)


def test_a_target_that_never_rises_has_a_reason(demo: Config, catalog) -> None:
    found = make_campaign(demo, FIRST, 5, catalog, ["NGC 104"])
    assert found.nights == ()
    assert found.empty_reason == "never_up"
    (end,) = found.finished
    assert (end.expected_date, end.reason, end.chance) == (None, "never_up", 0.0)


def test_no_darkness_is_an_answer(catalog) -> None:
    config = with_keys(
        place=("latitude_deg = 38.60", "latitude_deg = 69.0"), zone=("Europe/Lisbon", "Europe/Oslo")
    )
    found = make_campaign(config, datetime.date(2027, 6, 1), 10, catalog, ["M 31"])
    assert found.nights == ()
    assert found.empty_reason == "no_darkness"
    assert outlook(found, "M 31").reason == "no_darkness"
    assert found.notices[0].startswith("10 of 10 nights")
    nobody = make_campaign(config, datetime.date(2027, 6, 1), 10, catalog)
    assert (nobody.nights, nobody.finished, nobody.empty_reason) == ((), (), "no_darkness")


@pytest.mark.parametrize(
    ("lines", "target", "reason"),
    [
        # 60 Wh, a fifth kept back, at 45 W from sunset: 64 minutes, the twilight takes longer.
        ({"power": ("battery_wh = 1000", "battery_wh = 60")}, "M 31", "battery_ends_first"),
        ({"end": ('# tear_down = "05:30"', 'tear_down = "19:30"')}, "M 31",
         "tear_down_comes_first"),
        # 200 Wh last 3.6 h: M 45 comes above 30 degrees an hour after that, by ephem.
        ({"power": ("battery_wh = 1000", "battery_wh = 200")}, "M 45", "battery_ends_first"),
        ({"end": ('# tear_down = "05:30"', 'tear_down = "21:30"')}, "M 45",
         "tear_down_comes_first"),
        # 38.6 degrees north: declination -72 culminates 21 degrees below the horizon.
        ({"power": ("battery_wh = 1000", "battery_wh = 200")}, "NGC 104", "never_up"),
    ],
)  # fmt: skip
def test_a_reason_names_the_limit_that_binds(catalog, lines, target: str, reason: str) -> None:
    found = make_campaign(with_keys(**lines), FIRST, 3, catalog, [target])
    assert found.nights == ()
    assert found.empty_reason == reason
    assert outlook(found, target).reason == reason


def test_a_set_up_that_outlasts_the_short_night_is_the_reason(catalog) -> None:
    longest = {"polar_alignment_min": (12, 120), "first_focus_min": (6, 60)}
    longest |= {"plate_solution_min": (2, 60), "angle_min": (3, 60)}
    longest |= {"guider_calibration_min": (5, 60)}
    lines = {key: (f"{key} = {old}", f"{key} = {new}") for key, (old, new) in longest.items()}
    lines["place"] = ("latitude_deg = 38.60", "latitude_deg = 46.0")
    found = make_campaign(with_keys(**lines), datetime.date(2027, 6, 18), 3, catalog, ["M 31"])
    assert (found.nights, found.empty_reason) == ((), "setup_takes_the_window")


def test_m45_is_up_only_after_the_battery_by_ephem(demo: Config) -> None:
    # ephem: M 45's place from memory (ICRS 56.6, +24.1), sunset as the start of cooling.
    import ephem

    site = ephem_site(demo, "-0:50")
    site.date = ephem.Date("2027/10/6 12:00")
    empty = site.next_setting(ephem.Sun(), use_center=True) + 200.0 * 0.8 / 45.0 / 24.0
    star = ephem.FixedBody()
    star._ra, star._dec, star._epoch = math.radians(56.6), math.radians(24.1), ephem.J2000
    site.horizon, site.date = "30", ephem.Date("2027/10/6 18:00")
    assert site.next_rising(star) > empty


def test_earlier_nights_count_and_keep_their_train(demo: Config, catalog) -> None:
    earlier = EarlierNights(gathered=(GatheredHours("M 33", 1, "L", "reducer", 2.0),))
    found = make_campaign(demo, FIRST, 2, catalog, ["M 33"], earlier=earlier, chance=1.0)
    end = outlook(found, "M 33")
    assert end.train == "reducer"
    assert "begun" in end.train_reason
    assert {part.filter: part.gathered_h for part in end.filters}["L"] == 2.0
    assert {row.train for row in found.nights} == {"reducer"}


def test_goals_are_the_targets_and_what_is_reached_is_done() -> None:
    config = with_keys(
        goals=(
            '# [goal."M 31"]',
            '[goal."m33"]\nhours = { L = 1.0 }\ngathered_hours = { L = 1.5 }\n# [goal."M 31"]',
        )
    )
    found = make_campaign(config, FIRST, 3, catalog_for(config), ["M 33"])
    assert [target.name for target in found.targets] == ["M 33"]
    end = outlook(found, "M 33")
    assert (end.chance, end.expected_date) == (1.0, FIRST)
    # A usable target beats an idle rig even beyond its goal.
    assert {row.target for row in found.nights} == {"M 33"}
    assert found.waits == ()
    # Without names the nights are filled with what the season has beside it.
    filled = make_campaign(config, FIRST, 3, catalog_for(config))
    assert filled.targets[0].name == "M 33"
    assert {row.target for row in filled.nights} - {"M 33"}


def test_a_wanted_signal_to_noise_sets_the_goal() -> None:
    config = with_keys(
        goals=('# [goal."M 31"]', '[goal."M 33"]\nsnr = { L = 20.0 }\n# [goal."M 31"]')
    )
    twice = with_keys(
        goals=('# [goal."M 31"]', '[goal."M 33"]\nsnr = { L = 40.0 }\n# [goal."M 31"]')
    )
    goals = [
        outlook(make_campaign(one, FIRST, 1, catalog_for(one)), "M 33").filters[0].goal_h
        for one in (config, twice)
    ]
    # Signal to noise grows with the root of time (CCD equation, Howell, eq. 4.4, from memory).
    assert goals[1] == pytest.approx(4.0 * goals[0])


def test_without_names_the_best_of_the_season(demo: Config, catalog) -> None:
    found = make_campaign(demo, FIRST, 20, catalog)
    assert len(found.targets) > demo.preferences.tonight_most_targets
    by_night: dict[datetime.date, int] = {}
    for row in found.nights:
        by_night[row.date] = by_night.get(row.date, 0) + 1
    # A third one may fill hours that the two of the night cannot use.
    assert max(by_night.values()) <= demo.preferences.tonight_most_targets + 1


@pytest.mark.parametrize(
    ("nights", "chance", "key"), [(0, 0.5, "nights"), (401, 0.5, "nights"), (5, 1.5, "chance")]
)
def test_ranges(demo: Config, catalog, nights: int, chance: float, key: str) -> None:
    with pytest.raises(InputError) as caught:
        make_campaign(demo, FIRST, nights, catalog, ["M 33"], chance=chance)
    assert caught.value.key == key
    with pytest.raises(TargetError):
        make_campaign(demo, FIRST, 1, catalog, ["NGC 99999x"])


def test_progress_rises_to_its_end(demo: Config, catalog) -> None:
    steps: list[tuple[int, int]] = []
    make_campaign(demo, FIRST, 2, catalog, ["M 33"], progress=lambda a, b: steps.append((a, b)))
    assert [done for done, _ in steps] == sorted(done for done, _ in steps)
    assert steps[-1][0] == steps[-1][1]


def test_only_nights_without_astronomical_darkness_are_told_of(demo):
    """Summer at 38.6 N has astronomical darkness, at 52 N none about midsummer (any almanac)."""
    from types import SimpleNamespace

    from nightplan.planning.campaign.campaign import _notices
    from nightplan.planning.tonight.limits import planned_night

    for latitude_deg, told in ((38.6, False), (52.0, True)):
        site = demo.site.model_copy(update={"latitude_deg": latitude_deg})
        config = demo.model_copy(update={"site": site})
        night = planned_night(config, datetime.date(2027, 6, 21))
        words = _notices(SimpleNamespace(nights=(night, night)))  # type: ignore[arg-type]
        assert any("2 of 2 nights without astronomical" in text for text in words) is told
