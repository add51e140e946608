"""How many hours are wanted of a target, and where they come from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.light.source_brightness import OWN_SOURCE
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.config import Config
from nightplan.model.starter import demo_config
from nightplan.model.target import KINDS, Target
from nightplan.planning.photons.goals import (
    FAINT_SHELL_CEILING_H,
    HOURS_BY_KIND,
    hours_range,
    target_goals,
    wanted_filters,
)
from nightplan.planning.photons.photon_budget import photon_budget
from nightplan.planning.photons.time_to_snr import time_to_snr
from nightplan.planning.tonight.visibility import sky_tracks

CONFIG = demo_config()
TRAIN = "reducer"


def with_preferences(**changes: object) -> Config:
    changed = CONFIG.preferences.model_copy(update=changes)
    return CONFIG.model_copy(update={"preferences": changed})


def of_brightness(kind: str, mag_arcsec2: float) -> Target:
    return Target(
        name="test", ra_deg=10.0, dec_deg=40.0, kind=kind, major_arcmin=20.0,
        surface_brightness_mag_arcsec2=mag_arcsec2, surface_brightness_band="V",
        surface_brightness_source=OWN_SOURCE, radial_velocity_km_s=0.0,
    )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(KINDS), st.floats(15.0, 27.0), st.floats(0.0, 4.0))
def test_more_brightness_never_asks_for_more_hours(kind: str, mag: float, brighter: float) -> None:
    faint, bright = (
        target_goals(CONFIG, [of_brightness(kind, one)], TRAIN)[0] for one in (mag, mag - brighter)
    )
    assert bright.hours <= faint.hours + 1e-9
    assert bright.lead_h <= faint.lead_h
    for one, other in zip(bright.wanted, faint.wanted, strict=True):
        assert one.filter == other.filter
        assert one.goal_h <= other.goal_h + 1e-9


def test_hours_are_those_to_the_wanted_signal_through_the_leading_filter() -> None:
    # (wanted S/N / S/N of one hour)², spread over L : R : G : B = 2 : 1 : 1 : 1.
    target = of_brightness("reflection_nebula", 22.3)
    goal = target_goals(CONFIG, [target], TRAIN)[0]
    hours = time_to_snr(CONFIG, target, TRAIN).hours
    wanted = {item.filter: item for item in goal.wanted}
    assert goal.origin == "brightness"
    assert goal.recipe.leading == "L"
    assert goal.lead_h == pytest.approx(hours)
    assert wanted["L"].goal_h == pytest.approx(hours)
    assert wanted["R"].goal_h == pytest.approx(hours / 2.0)
    assert goal.reached_snr == pytest.approx(CONFIG.preferences.wanted_snr)
    assert goal.hours == pytest.approx(2.5 * hours)


def test_floor_and_ceiling_hold_and_the_ceiling_says_what_it_reaches() -> None:
    for kind in HOURS_BY_KIND:
        floor, ceiling = hours_range(of_brightness(kind, 12.0))
        low = target_goals(CONFIG, [of_brightness(kind, 12.0)], TRAIN)[0]
        high = target_goals(CONFIG, [of_brightness(kind, 29.0)], TRAIN)[0]
        stars_h = sum(part.fixed_h for part in low.recipe.parts)
        if low.origin == "floor":
            assert low.hours == pytest.approx(floor + stars_h)
            assert low.reached_snr > low.wanted_snr
        if high.origin == "ceiling":
            assert high.hours == pytest.approx(ceiling + stars_h)
            lead = next(i for i in high.wanted if i.filter == high.recipe.leading)
            # S/N grows with the root of the time.
            expected = high.wanted_snr * np.sqrt(lead.goal_h / high.lead_h)
            assert high.reached_snr == pytest.approx(expected)
    assert {"brightness", "floor", "ceiling"} >= {low.origin, high.origin}


def test_a_faint_shell_of_o_iii_may_take_longest() -> None:
    shell = Target(
        name="shell", ra_deg=10.0, dec_deg=40.0, kind="emission_nebula", lines=("O III",)
    )
    goal = target_goals(CONFIG, [shell], TRAIN)[0]
    assert goal.origin == "ceiling"
    assert goal.hours == pytest.approx(FAINT_SHELL_CEILING_H + 1.0)
    assert next(i.share for i in goal.wanted if i.filter == "OIII") >= 0.7


def test_the_preferences_override_brightness() -> None:
    target = of_brightness("reflection_nebula", 22.3)
    assert target_goals(with_preferences(goal_hours=9.0), [target], TRAIN)[0].hours == (
        pytest.approx(9.0)
    )
    less = target_goals(with_preferences(wanted_snr=15.0), [target], TRAIN)[0]
    more = target_goals(CONFIG, [target], TRAIN)[0]
    assert less.hours == pytest.approx(more.hours / 4.0, rel=0.2) or less.origin == "floor"
    nebula = replace(target, kind="emission_nebula", lines=("H-alpha", "O III", "S II"))
    given_hours = target_goals(with_preferences(goal_hours=9.0), [nebula], TRAIN)[0]
    assert given_hours.hours == pytest.approx(9.0)
    assert given_hours.origin == "goal_hours"
    tight = target_goals(with_preferences(goal_hours=0.5), [nebula], TRAIN)[0]
    assert tight.hours == pytest.approx(0.5)
    assert all(item.goal_h > 0.0 for item in tight.wanted)


def test_a_goal_overrides_them_all() -> None:
    from nightplan.model.preferences import Goal

    target = of_brightness("galaxy", 22.3)
    own = CONFIG.model_copy(update={"goal": {"test": Goal(goal_hours=7.0)}})
    goal = target_goals(own, [target], TRAIN)[0]
    assert (goal.origin, goal.hours) == ("target_hours", pytest.approx(7.0))
    snr = CONFIG.model_copy(update={"goal": {"test": Goal(snr={"L": 60.0}, hours={"R": 2.0})}})
    by_snr = target_goals(snr, [target], TRAIN)[0]
    wanted = {item.filter: item.goal_h for item in by_snr.wanted}
    # Twice the configured S/N takes four times its hours.
    assert wanted["L"] == pytest.approx(4.0 * time_to_snr(CONFIG, target, TRAIN).hours)
    assert (by_snr.origin, wanted["R"]) == ("goal", 2.0)


def test_a_budget_at_hand_gives_the_same_goals() -> None:
    catalog = load_catalog()
    rows = [catalog.find(name) for name in ("M 31", "NGC 7000", "M 13", "M 27", "Ou4", "M 45")]
    targets = catalog.targets(rows)
    tracks = sky_tracks(
        CONFIG.site, catalog.ra_deg[rows], catalog.dec_deg[rows], np.array([62_000.9])
    )
    budget = photon_budget(CONFIG, TRAIN, targets, tracks)
    with_it = target_goals(CONFIG, targets, TRAIN, budget)
    without = target_goals(CONFIG, targets, TRAIN)
    for one, other in zip(with_it, without, strict=True):
        assert one.hours == pytest.approx(other.hours)
        assert one.origin == other.origin
    assert wanted_filters(CONFIG, targets[0], TRAIN) == without[0].wanted
