"""What a night is for: targets, train, angle and value as an experienced imager would have them.

What is expected here is common practice, no source; the sky behind it is checked elsewhere.
"""

from __future__ import annotations

import datetime
import itertools
import re

import numpy as np
import pytest

from nightplan.model.config import Config, parse_config
from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import starter_text
from nightplan.planning.choosing.night_targets import Candidates, candidates, named_targets
from nightplan.planning.choosing.selection import rank_targets
from nightplan.planning.framing.shared_angle import axis_apart_deg
from nightplan.planning.returning.earlier_nights import EarlierNights, GatheredHours
from nightplan.planning.schedule.schedule import ledger_min
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonights_plan.decision import Decision, decide, kept_curves
from nightplan.planning.tonights_plan.plan import make_plan
from nightplan.report.documents.plan import plan_document

NEW_MOON = datetime.date(2027, 2, 6)
FULL_MOON = datetime.date(2027, 2, 20)
"""Within a day of the phase (ephem: new 2027-02-06, full 2027-02-20)."""


def config_of(extra: str = "", **keys: str) -> Config:
    text = starter_text()
    for key, value in keys.items():
        text, count = re.subn(rf"(?m)^{key} = \S+", f"{key} = {value}", text)
        assert count == 1
    return parse_config(text + extra)


def decided(
    config: Config, date: datetime.date, names: list[str], earlier: EarlierNights | None = None
) -> Decision:
    catalog = catalog_for(config)
    chosen = Candidates.named(named_targets(catalog, names))
    return decide(config, compute_night(config.site, date), chosen, earlier or EarlierNights())


def clock_h(config: Config, found: Decision) -> dict[str, dict[str, float]]:
    assert found.choice is not None
    assert found.assessment is not None
    rows, wheel = found.assessment.rows, list(config.filter)
    assert rows is not None
    table: dict[str, dict[str, float]] = {}
    for row, hours in enumerate(found.choice.clock_h[0]):
        if hours > 0.0:
            name = found.assessment.targets[rows.target[row]].name
            table.setdefault(name, {})[wheel[rows.filter[row]]] = float(hours)
    return table


def test_the_dates_are_those_of_the_phases() -> None:
    import ephem

    new = ephem.next_new_moon("2027/2/1").datetime().date()
    full = ephem.next_full_moon("2027/2/10").datetime().date()
    assert abs((new - NEW_MOON).days) <= 1
    assert abs((full - FULL_MOON).days) <= 1


@pytest.mark.parametrize("target", ["NGC 2403", "M 81"])
def test_asking_for_more_of_a_filter_never_gets_less(target: str) -> None:
    got = []
    for hours in (1.5, 3.0, 6.0, 12.0):
        goal = f'[goal."{target}"]\nhours = {{ L = {hours}, R = 2.0, G = 2.0, B = 2.0, Ha = 2.0 }}'
        config = config_of("\n" + goal)
        table = clock_h(config, decided(config, NEW_MOON, [target]))[target]
        got.append(table.get("L", 0.0))
    one_sub = 0.1
    assert all(b >= a - one_sub for a, b in itertools.pairwise(got))
    assert got[-1] >= 0.35 * sum(table.values())


def test_what_was_begun_comes_first_and_two_share_a_night() -> None:
    config = config_of()
    earlier = EarlierNights((GatheredHours("NGC 2403", 1, "L", "flattener", 2.0),))
    names = ["NGC 2237", "M 81", "NGC 2403", "IC 443"]
    found = decided(config, NEW_MOON, names, earlier)
    shot = clock_h(config, found)
    assert "NGC 2403" in shot
    assert len(set(shot) - found.fillers) <= 2
    assert set(found.not_tonight) == set(names) - {target.name for target in found.targets}
    assert set(found.not_tonight)


def test_no_cluster_in_colours_under_a_full_moon() -> None:
    config = config_of()
    shot = clock_h(config, decided(config, FULL_MOON, ["M 35", "NGC 2237", "IC 443"]))
    hours: dict[str, float] = {}
    for table in shot.values():
        for name, value in table.items():
            hours[name] = hours.get(name, 0.0) + value
    # But for what is left once nothing in the night's train can be shot through H-alpha.
    assert sum(shot.get("M 35", {}).values()) <= 0.5
    assert hours["Ha"] > 0.8 * sum(hours.values())


def test_dark_hours_go_to_what_needs_them() -> None:
    # A galaxy that wants broadband only and a nebula whose H-alpha the moon hardly hurts.
    goals = '[goal."M 81"]\nhours = { L = 12.0, R = 4.0, G = 4.0, B = 4.0 }\n'
    goals += '[goal."NGC 2237"]\nhours = { Ha = 12.0 }\n'
    config = config_of("\n" + goals)
    dark = clock_h(config, decided(config, NEW_MOON, ["M 81", "NGC 2237"]))
    lit = clock_h(config, decided(config, FULL_MOON, ["M 81", "NGC 2237"]))
    whole = sum(sum(table.values()) for table in dark.values())
    assert sum(dark["M 81"].values()) > 0.6 * whole
    # It sets an hour and a half after midnight; until then the galaxy waits.
    assert lit["NGC 2237"]["Ha"] > 5.0


def test_the_first_of_pick_opens_an_automatic_night() -> None:
    config = config_of()
    catalog = catalog_for(config)
    night = compute_night(config.site, NEW_MOON)
    first = rank_targets(config, night, catalog, most=1).ranked[0].target.name
    found = decide(config, night, candidates(config, [night], catalog, {}), EarlierNights())
    assert first in clock_h(config, found)


def test_an_empty_evening_is_offered_to_a_filler() -> None:
    # From 30° south the first of this night in May rises hours after dusk.
    config = config_of(latitude_deg="-30.2", longitude_deg="-70.7", timezone='"America/Santiago"')
    catalog = catalog_for(config)
    night = compute_night(config.site, datetime.date(2027, 5, 6))
    plan = make_plan(config, night, catalog, solve_s=1.0)
    assert plan.posed is not None
    assert plan.solution is not None
    ledger = ledger_min(plan.posed.problem, plan.solution.schedule)
    assert ledger["idle"] < 60.0
    for task in plan.posed.problem.tasks:
        name = plan.posed.problem.pointings[task.pointing].target
        if name in plan.decision.barred:
            others = [
                other.usable
                for other in plan.posed.problem.tasks
                if plan.posed.problem.pointings[other.pointing].target not in plan.decision.barred
            ]
            assert not (task.usable & np.any(others, axis=0)).any()


def test_one_camera_angle_wherever_tolerances_overlap() -> None:
    config = config_of(tonight_most_targets="3")
    found = decided(config, datetime.date(2027, 10, 6), ["M 33", "NGC 281", "NGC 7331"])
    assert len(found.framings) == 3
    angles = [framing.position_angle_deg for framing in found.framings]
    for framing, angle in zip(found.framings, angles, strict=True):
        assert axis_apart_deg(angle, angles[0]) <= max(
            0.5, framing.position_angle_tolerance_deg - 1e-6
        )
    assert len({round(angle, 1) for angle in angles}) == 1


def test_a_target_nearly_done_is_finished_without_idling() -> None:
    hours = {"Ha": 5.0, "OIII": 7.0, "SII": 7.0}
    wanted = ", ".join(f"{name} = {value}" for name, value in hours.items())
    had = ", ".join(f"{name} = {0.88 * value:.2f}" for name, value in hours.items())
    goal = f'[goal."IC 443"]\nhours = {{ {wanted} }}\ngathered_hours = {{ {had} }}\n'
    config = config_of("\n" + goal)
    night = compute_night(config.site, NEW_MOON)
    plan = make_plan(config, night, catalog_for(config), ["IC 443"], solve_s=1.0)
    assert plan.solution is not None
    assert plan.posed is not None
    shot = {row.filter for row in plan.solution.evaluation.progress if row.tonight_h > 0.0}
    assert shot == set(hours)
    problem, schedule = plan.posed.problem, plan.solution.schedule
    usable = np.any([task.usable for task in problem.tasks], axis=0)
    idle = 0.0
    for event in schedule.events:
        if event.kind == "idle":
            inside = (problem.grid_s >= event.start_s) & (problem.grid_s < event.end_s)
            step = float(problem.grid_s[1] - problem.grid_s[0])
            idle += float((usable & inside).sum()) * step
    assert idle < 15.0 * 60.0


def test_the_published_curves_add_up_to_the_objective_and_come_back() -> None:
    config = config_of()
    night = compute_night(config.site, NEW_MOON)
    plan = make_plan(config, night, catalog_for(config), ["M 81", "NGC 2237"], solve_s=1.0)
    document = plan_document(plan).model_dump(mode="json")
    total = 0.0
    for row in document["progress"]:
        points = np.array(row["value_curve"])
        assert points[0] == pytest.approx([row["gathered_h"], 0.0])
        total += np.interp(row["gathered_h"] + row["tonight_h"], points[:, 0], points[:, 1])
    assert total - document["change_cost"] == pytest.approx(document["objective"], abs=1e-6)
    assert document["bound"] >= document["objective"]
    curves = kept_curves(document)
    for key, curve in plan.decision.curves.items():
        if key in curves:
            assert curves[key].value == pytest.approx(curve.value)


def test_two_decisions_are_the_same() -> None:
    config = config_of()
    one, other = (decided(config, NEW_MOON, ["M 81", "NGC 2237", "IC 443"]) for _ in range(2))
    assert one.curves == other.curves
    assert [target.name for target in one.targets] == [target.name for target in other.targets]
