"""Arrival, assembly, the way, heaters and a filter's own moon limit; expected times by hand."""

from __future__ import annotations

import datetime

import pytest

from nightplan.errors import ConfigError
from nightplan.model.config import Config
from nightplan.planning.tonight.limits import usable_margin_deg
from nightplan.planning.tonight.night import Night, compute_night
from nightplan.planning.tonight.night_end import latest_end
from nightplan.planning.tonight.setup_timeline import setup_timeline
from nightplan.planning.tonight.visibility import sky_tracks
from tests.own_config import configured

EVENING = datetime.date(2027, 10, 6)
STARTER_SETUP_MIN = 12 + 6 + 2 + 3 + 5
SETUP = "[preferences.setup]\n"


@pytest.fixture(scope="module")
def night(demo: Config) -> Night:
    return compute_night(demo.site, EVENING)


def test_nothing_given_is_as_ever(demo: Config, night: Night) -> None:
    steps = setup_timeline(demo, night).steps
    assert [step.name for step in steps][:2] == ["cooling", "polar alignment"]
    assert steps[0].start_utc_mjd == night.sunset.utc_mjd


def test_a_late_arrival_owes_the_whole_set_up(night: Night) -> None:
    """At 23:30 there, 20 minutes of assembly, then cooling (15) beside polar alignment (12), and
    16 minutes from first focus on once it is cold: 23:30 + 20 + 15 + 16 is 00:21."""
    late = configured((SETUP, SETUP + 'arrival = "23:30"\nassembly_min = 20\n'))
    timeline = setup_timeline(late, night)
    names = [step.name for step in timeline.steps]
    assert names[:3] == ["assembly", "cooling", "polar alignment"]
    done = night.local(timeline.steps[-1].end_utc_mjd)
    assert (done.day, done.hour, done.minute) == (7, 0, 21)
    window_start = night.window_start_utc_mjd
    assert window_start is not None
    spill_min = (timeline.steps[-1].end_utc_mjd - window_start) * 1440.0
    assert timeline.into_window_s == pytest.approx(60.0 * spill_min)
    # The battery is asked for power from the end of assembly on, not from sunset.
    assert timeline.power_on_utc_mjd == pytest.approx(timeline.steps[0].end_utc_mjd)


def test_leaving_late_is_arriving_late(night: Night) -> None:
    way = ("seeing_arcsec = 2.5", "seeing_arcsec = 2.5\ndrive_min = 75")
    by_way = configured((SETUP, SETUP + 'leave = "22:15"\n'), way)
    there = configured((SETUP, SETUP + 'arrival = "23:30"\n'))
    assert setup_timeline(by_way, night) == setup_timeline(there, night)


def test_an_early_arrival_changes_nothing_but_assembly(demo: Config, night: Night) -> None:
    early = configured((SETUP, SETUP + 'arrival = "17:00"\nassembly_min = 40\n'))
    timeline = setup_timeline(early, night)
    assert timeline.steps[1:] == setup_timeline(demo, night).steps
    assert timeline.into_window_s == setup_timeline(demo, night).into_window_s


def test_heaters_empty_the_battery_sooner(night: Night) -> None:
    """300 Wh less a fifth at 45 W + 15 W is 4 h."""
    small = ("battery_wh = 1000", "battery_wh = 300")
    heated = configured(small, ("draw_w = 45", "draw_w = 45\ndew_heater_w = 15"))
    start = night.sunset.utc_mjd
    assert start is not None
    end = latest_end(heated, night, start)
    assert end is not None
    assert (end.utc_mjd - start) * 24 == pytest.approx(4.0)
    assert "60 W" in end.reason


def test_a_filter_has_a_moon_limit_of_its_own(demo: Config) -> None:
    """From a full moon: R keeps 60°, L asks for 120°; 90° from it only R may be used."""
    own = configured(('role = "luminance"\n', 'role = "luminance"\nmoon_distance_deg = 120\n'))
    # Full moon of 15 October 2027 (USNO's tables of moon phases, remembered: 13:47 UTC).
    night = compute_night(own.site, datetime.date(2027, 10, 15))
    assert night.window_utc_mjd is not None
    middle = [sum(night.window_utc_mjd) / 2.0]
    ra = [float(degree) for degree in range(0, 360, 5)]
    tracks = sky_tracks(night, ra, [35.0] * len(ra), middle)
    full = tracks.moon_separation_deg[:, 0]
    red, luminance = (
        usable_margin_deg(own, night, tracks, role, name)[:, 0] >= 0.0
        for role, name in (("red", "R"), ("luminance", "L"))
    )
    plain = usable_margin_deg(demo, night, tracks, "luminance")[:, 0] >= 0.0
    assert (red == plain).all()
    between = (full > 62.0) & (full < 115.0)
    assert (red & between).any()
    assert not (luminance & between).any()


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ('arrival = "25:00"', "from 00:00 to 23:59"),
        ('arrival = "20:00"\nleave = "19:00"', "none beside arrival"),
        ("assembly_min = 900", "from 0 to 240"),
    ],
)
def test_faulty_evenings_name_key_and_range(lines: str, words: str) -> None:
    with pytest.raises(ConfigError) as caught:
        configured((SETUP, f"{SETUP}{lines}\n"))
    assert words in str(caught.value)
    assert "preferences.setup" in str(caught.value)


def test_a_night_brings_the_hours_wished_of_it() -> None:
    """Plain, IC 1396 gets no red of its stars; an hour wished comes before all else."""
    from nightplan.model.catalog_reading import load_catalog
    from nightplan.planning.tonights_plan.plan import make_plan

    wished = configured(("# [goal", '[goal."IC 1396"]\ntonight_hours = { R = 1.0 }\n# [goal'))
    plain = configured(("# [goal", '[goal."IC 1396"]\npriority = 1.0\n# [goal'))
    got = []
    for config in (plain, wished):
        night = compute_night(config.site, EVENING)
        plan = make_plan(config, night, load_catalog(), ["IC 1396", "M 33"], solve_s=3.0)
        assert plan.posed is not None
        assert plan.solution is not None
        tasks = plan.posed.problem.tasks
        got.append(
            sum(
                block.count * block.sub_s / 3600.0
                for block in plan.solution.schedule.blocks
                if (tasks[block.task].filter, plan.posed.problem.pointings[block.pointing].target)
                == ("R", "IC 1396")
            )
        )
    assert got[1] > got[0]
    assert got[1] >= 0.9


@pytest.mark.parametrize("clock_h", [-2.0, 0.25])
def test_set_up_that_is_still_owed_is_charged_on_a_replan(clock_h: float) -> None:
    """There at 23:30, ready at 00:21; planned from two hours before, or from a quarter of an hour
    after arrival, no sub begins sooner."""
    from nightplan.model.catalog_reading import load_catalog
    from nightplan.planning.schedule.replan import Replan
    from nightplan.planning.tonight.night_end import clock_utc_mjd
    from nightplan.planning.tonights_plan.plan import make_plan

    late = configured((SETUP, SETUP + 'arrival = "23:30"\nassembly_min = 20\n'))
    night = compute_night(late.site, EVENING)
    start = clock_utc_mjd(night, "23:30") + clock_h / 24.0
    plan = make_plan(late, night, load_catalog(), ["M 33"], again=Replan(start))
    assert plan.posed is not None
    assert plan.solution is not None
    ready = setup_timeline(late, night).steps[-1].end_utc_mjd
    blocks = plan.solution.schedule.blocks
    assert blocks
    first = plan.posed.problem.epoch_utc_mjd + min(block.start_s for block in blocks) / 86_400.0
    assert first >= ready - 1e-6
