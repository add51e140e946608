"""When work has to stop, set-up, and how long a focus holds."""

from __future__ import annotations

import datetime
from itertools import pairwise

import pytest

from nightplan.model.config import Config
from nightplan.planning.schedule.refocus import refocus_rule
from nightplan.planning.tonight.night import Night, compute_night
from nightplan.planning.tonight.night_end import clock_utc_mjd, latest_end
from nightplan.planning.tonight.setup_timeline import setup_timeline
from tests.own_config import configured

EVENING = datetime.date(2027, 10, 6)


@pytest.fixture(scope="module")
def night(demo: Config) -> Night:
    return compute_night(demo.site, EVENING)


def test_tear_down_is_local_time_after_the_evenings_noon(night: Night) -> None:
    # Lisbon keeps UTC+1 until the end of October (IANA time zone database).
    at = night.local(clock_utc_mjd(night, "05:30"))
    assert (at.date(), at.hour, at.minute) == (datetime.date(2027, 10, 7), 5, 30)
    assert night.local(clock_utc_mjd(night, "23:00")).date() == EVENING


def test_the_earliest_of_dawn_tear_down_and_battery_binds(night: Night) -> None:
    start = night.sunset.utc_mjd
    assert start is not None
    plenty = configured(("battery_wh = 1000", "battery_wh = 9000"))
    end = latest_end(plenty, night, start)
    assert end is not None
    assert end.utc_mjd == night.window_end_utc_mjd
    early = configured(
        ("battery_wh = 1000", "battery_wh = 9000"), ('# tear_down = "05:30"', 'tear_down = "02:00"')
    )
    end = latest_end(early, night, start)
    assert end is not None
    assert night.local(end.utc_mjd).hour == 2
    assert "02:00" in end.reason
    # 300 Wh less a fifth at 45 W is 5.33 h.
    flat = latest_end(configured(("battery_wh = 1000", "battery_wh = 300")), night, start)
    assert flat is not None
    assert (flat.utc_mjd - start) * 24 == pytest.approx(240 / 45)
    assert "240 Wh" in flat.reason


def test_set_up_follows_its_order_and_charges_only_what_runs_into_the_window(night: Night) -> None:
    config = configured()
    timeline = setup_timeline(config, night)
    assert [step.name for step in timeline.steps][:2] == ["cooling", "polar alignment"]
    chain = timeline.steps[1:]
    assert all(a.end_utc_mjd <= b.start_utc_mjd + 1e-12 for a, b in pairwise(chain))
    last = timeline.steps[-1].end_utc_mjd
    assert night.window_start_utc_mjd is not None
    spill = max(0.0, (last - night.window_start_utc_mjd) * 86400.0)
    assert timeline.into_window_s == pytest.approx(spill, abs=0.01)
    slow = setup_timeline(
        configured(("polar_alignment_min = 12", "polar_alignment_min = 72")), night
    )
    # What an early set-up does once more before the window is no part of its own order.
    ends = [
        max(step.end_utc_mjd for step in one.steps if step.name != "focus again")
        for one in (timeline, slow)
    ]
    grown = ends[1] - ends[0]
    assert grown * 1440 == pytest.approx(60.0, abs=1e-6)
    assert slow.into_window_s > timeline.into_window_s


def test_a_night_without_a_window_needs_no_set_up(demo: Config) -> None:
    bright = demo.site.model_copy(update={"latitude_deg": 68.0})
    night = compute_night(bright, datetime.date(2027, 6, 21))
    assert night.window_utc_mjd is None
    assert setup_timeline(demo, night).steps == ()
    assert latest_end(demo, night, 0.0) is None


def test_the_refocus_step_matches_the_practice_of_every_few_degrees(night: Night) -> None:
    # Common practice, no source: refocus every two to five degrees with an aluminium tube.
    rule = refocus_rule(configured(), night, "flattener")
    assert 2.0 <= rule.step_k <= 5.0
    # The zone shrinks with the square of the factor, and so does the shift: the same step.
    assert refocus_rule(configured(), night, "reducer").step_k == pytest.approx(rule.step_k)


def test_a_steep_night_refocuses_by_temperature(night: Night) -> None:
    steep = configured(("temperature_dusk_c = 15.0", "temperature_dusk_c = 40.0"))
    rule = refocus_rule(steep, night, "flattener")
    assert rule.every_s < 90 * 60
    assert "K" in rule.reason
    measured = configured(
        ("step_um = 4.0", "step_um = 4.0\nsteps_per_k = 10"),
        ("temperature_dusk_c = 15.0", "temperature_dusk_c = 40.0"),
    )
    # 10 steps of 4 µm a degree against the model's 18 µm: a zone of 108 µm lasts 2.7 K / 2 less.
    assert refocus_rule(measured, night, "flattener").shift_um_per_k == pytest.approx(40.0)
