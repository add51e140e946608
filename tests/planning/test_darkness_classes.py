"""How dark it must be for broad and for narrow filters: the window is the wider of the two, and
each class works in its own part of it. Twilights are held against skyfield (JPL DE421)."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pytest
import skyfield_data
from skyfield import almanac
from skyfield.api import load, load_file, wgs84

from nightplan.model.own_targets import catalog_for
from nightplan.model.preferences import Goal
from nightplan.model.starter import demo_config
from nightplan.planning.schedule.check import violations
from nightplan.planning.tonight.limits import planned_night, usable_margin_deg
from nightplan.planning.tonight.visibility import sky_tracks
from nightplan.planning.tonights_plan.plan import make_plan
from nightplan.sky.times import mjd_from_datetime

OCTOBER, AUGUST, JUNE = (
    datetime.date(2027, 10, 6),
    datetime.date(2027, 8, 8),
    datetime.date(2027, 6, 21),
)
TOLERANCE_D = 10.0 / 86400.0


def config_with(broad: str, narrow: str, latitude_deg: float = 52.0):
    base = demo_config()
    site = base.site.model_copy(
        update={"latitude_deg": latitude_deg, "longitude_deg": 0.0, "timezone": "Europe/London"}
    )
    wish = base.preferences.model_copy(
        update={"dark_broadband": broad, "dark_narrowband": narrow, "targets": ()}
    )
    return base.model_copy(update={"site": site, "preferences": wish})


def twilight(config, evening: datetime.date) -> dict[str, tuple[float, float]]:
    """Longest spans with the sun below -12 and -18 degrees, UTC as MJD, by skyfield."""
    place = wgs84.latlon(
        config.site.latitude_deg, config.site.longitude_deg, elevation_m=config.site.elevation_m
    )
    scale = load.timescale(builtin=True)
    ephemeris = load_file(f"{skyfield_data.get_skyfield_data_path()}/de421.bsp")
    noon = datetime.datetime.combine(evening, datetime.time(11), datetime.UTC)
    times, kinds = almanac.find_discrete(
        scale.from_datetime(noon),
        scale.from_datetime(noon + datetime.timedelta(days=1)),
        almanac.dark_twilight_day(ephemeris, place),
    )
    mjd = np.array([mjd_from_datetime(one.utc_datetime()) for one in times])
    found = {}
    # Kind 0 is full night, 1 astronomical twilight.
    for name, darkest in (("astronomical", 0), ("nautical", 1)):
        starts = [t for t, kind in zip(mjd, kinds, strict=True) if kind == darkest]
        ends = [t for t, kind in zip(mjd, kinds, strict=True) if kind == darkest + 1]
        if starts and ends:
            found[name] = (min(starts), max(ends))
    return found


@pytest.mark.parametrize("evening", [OCTOBER, AUGUST])
@pytest.mark.parametrize(
    ("broad", "narrow", "window"),
    [
        ("astronomical", "astronomical", "astronomical"),
        ("astronomical", "nautical", "nautical"),
        ("nautical", "astronomical", "nautical"),
        ("nautical", "nautical", "nautical"),
    ],
)
def test_the_window_is_the_wider_and_each_class_has_its_part(
    evening: datetime.date, broad: str, narrow: str, window: str
) -> None:
    config = config_with(broad, narrow)
    night, spans = planned_night(config, evening), twilight(config, evening)
    assert night.window_kind == window
    assert night.window_utc_mjd == pytest.approx(spans[window], abs=TOLERANCE_D)
    assert night.dark_hours == pytest.approx(
        24.0 * float(np.diff(spans["astronomical"])[0]), abs=24.0 * 2.0 * TOLERANCE_D
    )
    minute = 1.0 / 1440.0
    tracks = sky_tracks(night, [310.0], [75.0], np.arange(*night.window_utc_mjd, 0.25 * minute))
    moonless = replace(tracks, moon_altitude_deg=np.full(tracks.utc_mjd.shape, -40.0))
    for role, wish in (("luminance", broad), ("H-alpha", narrow)):
        usable = usable_margin_deg(config, night, moonless, role)[0] >= 0.0
        times = tracks.utc_mjd[usable]
        assert (times[0], times[-1]) == pytest.approx(spans[wish], abs=0.6 * minute)
        assert usable[np.searchsorted(tracks.utc_mjd, times[0]) :][: times.size].all()


def test_lines_gain_an_hour_in_october_and_two_in_august() -> None:
    for evening, least_h in ((OCTOBER, 1.1), (AUGUST, 2.0)):
        narrow, wide = (
            planned_night(config_with("astronomical", one), evening).window_hours
            for one in ("astronomical", "nautical")
        )
        spans = twilight(config_with("astronomical", "nautical"), evening)
        lengths = {name: 24.0 * (end - start) for name, (start, end) in spans.items()}
        assert wide - narrow == pytest.approx(
            lengths["nautical"] - lengths["astronomical"], abs=0.01
        )
        assert wide - narrow > least_h


@pytest.mark.parametrize("wish", ["astronomical", "nautical"])
def test_where_it_never_gets_dark_the_nautical_night_serves_all(wish: str) -> None:
    config = config_with(wish, wish)
    night = planned_night(config, JUNE)
    assert (night.window_kind, night.dark_hours) == ("nautical", 0.0)
    assert night.window_utc_mjd == pytest.approx(twilight(config, JUNE)["nautical"], abs=2e-4)
    assert any("No astronomical darkness" in one for one in night.notices)
    tracks = sky_tracks(night, [310.0], [75.0], np.linspace(*night.window_utc_mjd, 50))
    for role in ("luminance", "O III"):
        assert (usable_margin_deg(config, night, tracks, role)[0, 1:-1] >= -60.0).all()


def test_without_narrow_filters_their_wish_widens_nothing() -> None:
    config = config_with("astronomical", "nautical")
    broad = {name: one for name, one in config.filter.items() if not one.is_narrow}
    lrgb = config.model_copy(update={"filter": broad})
    assert planned_night(lrgb, OCTOBER).window_kind == "astronomical"
    assert planned_night(config, OCTOBER).window_kind == "nautical"


def test_a_plan_shoots_lines_in_twilight_and_colours_in_the_dark() -> None:
    goal = {"NGC 7000": Goal(hours={"Ha": 20.0, "R": 2.0, "G": 2.0, "B": 2.0})}
    base = config_with("astronomical", "nautical")
    config = base.model_copy(update={"goal": goal})
    night = planned_night(config, AUGUST)
    plan = make_plan(config, night, catalog_for(config), ["NGC 7000"], solve_s=2.0)
    assert plan.posed is not None
    assert plan.solution is not None
    problem, schedule = plan.posed.problem, plan.solution.schedule
    assert violations(problem, schedule) == []
    dark = [(t - problem.epoch_utc_mjd) * 86400.0 for t in twilight(config, AUGUST)["astronomical"]]
    outside = {"Ha": 0.0, "R": 0.0, "G": 0.0, "B": 0.0}
    for block in schedule.blocks:
        inside = max(0.0, min(block.end_s, dark[1]) - max(block.start_s, dark[0]))
        outside[problem.tasks[block.task].filter] += block.end_s - block.start_s - inside
    assert outside["Ha"] > 1800.0
    # A minute's grid, and the download after the last sub.
    assert max(outside["R"], outside["G"], outside["B"]) < 70.0
