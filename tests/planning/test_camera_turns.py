"""Turning the camera between targets of different angle takes time, in every part alike."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest

from nightplan.model.config import parse_config
from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import starter_text
from nightplan.planning.returning.earlier_nights import EarlierNights, with_configured
from nightplan.planning.schedule.blocks import Schedule
from nightplan.planning.schedule.check import violations
from nightplan.planning.schedule.night_problem import overheads
from nightplan.planning.schedule.problem import Overheads
from nightplan.planning.schedule.rules import RigNow
from nightplan.planning.schedule.schedule import evaluate
from nightplan.planning.schedule.solver import solve
from nightplan.planning.schedule.solving.annealing import carry_out
from nightplan.planning.schedule.solving.building import order_of, schedule_of
from nightplan.planning.schedule.solving.placing import room_for
from nightplan.planning.schedule.solving.search import Effort
from nightplan.planning.schedule.solving.tables import tables_of
from nightplan.planning.tonight.night import compute_night

TURNING = Overheads(slew_centre_s=180.0, settle_s=20.0, turn_s=30.0, turn_s_per_deg=2.0)


def _at(problem, *ups: float | None, angles: tuple[float, ...] = (0.0, 0.0)):
    pointings = tuple(
        replace(pointing, image_up_angle_deg=up, position_angle_deg=angle)
        for pointing, up, angle in zip(problem.pointings, ups, angles, strict=True)
    )
    return replace(problem, pointings=pointings)


def lead(problem, before: int, task: int, flip: bool = False) -> dict[str, float]:
    return dict(problem.rules.lead(RigNow(before), task, flip))


@pytest.mark.parametrize(
    ("ups", "angles", "seconds"),
    [
        # The shorter way of a line: 80 to 110 degrees is a turn of 30, 175 to 5 one of 10.
        ((350.0, 20.0), (80.0, 110.0), 30.0 + 60.0),
        ((None, None), (175.0, 5.0), 30.0 + 20.0),
        # Two images that differ by half a turn are one framing.
        ((0.0, 180.0), (90.0, 90.0), None),
        ((None, None), (40.0, 40.9), None),
    ],
)
def test_a_turn_is_an_event_before_the_slew(invented_night, ups, angles, seconds):
    problem = invented_night(targets=2, filters=2, seed=3, overheads=TURNING)
    problem = _at(problem, *ups, angles=angles)
    for before, after in ((0, 2), (3, 1)):
        steps = lead(problem, before, after)
        assert steps["slew_centre"] == pytest.approx(200.0)
        assert steps.get("turn") == (None if seconds is None else pytest.approx(seconds))
    # Other filters of the field, and its other side of the pier, turn nothing.
    assert "slew_centre" not in lead(problem, 0, 1)
    assert "turn" not in lead(problem, 0, 0, flip=True)


def test_each_change_of_the_piers_side_is_a_flip_between_targets_too(invented_night):
    problem = invented_night(targets=2, filters=1, seed=3)
    steps = problem.rules.lead(RigNow(0, False), 1, True)
    assert [kind for kind, _ in steps][:2] == ["flip", "slew_centre"]
    assert ("focus", 240.0) in steps
    assert "flip" not in dict(problem.rules.lead(RigNow(0, True), 1, True))


def test_flats_come_before_a_turn_by_hand_and_not_before_a_rotators(invented_night):
    for by_hand in (True, False):
        rules = replace(TURNING, turned_by_hand=by_hand, flats_s=150.0)
        problem = invented_night(targets=2, filters=2, seed=3, overheads=rules)
        problem = _at(problem, 0.0, 40.0, angles=(0.0, 40.0))
        pointings = tuple(replace(one, new_angle=True) for one in problem.pointings)
        problem = replace(problem, pointings=pointings)
        steps = problem.rules.lead(RigNow(1), 2, False, flats=2)
        assert (("flats", 300.0) in steps) is by_hand
        if by_hand:
            kinds = [kind for kind, _ in steps]
            assert kinds.index("flats") < kinds.index("turn") < kinds.index("slew_centre")


def test_panels_of_a_mosaic_share_their_angle(invented_night):
    problem = invented_night(targets=2, filters=1, seed=3, overheads=TURNING)
    first, second = problem.pointings
    panels = (first, replace(second, target=first.target, panel=2, position_angle_deg=3.0))
    assert "turn" not in lead(replace(problem, pointings=panels), 0, 1)


def test_schedules_without_the_turn_are_caught(invented_night):
    """A schedule made without turns breaks the rules of the night with them, and one with them
    keeps them; the bound of the dearer night is no higher."""
    free = invented_night(
        targets=3, filters=2, hours=6.0, seed=12, overheads=replace(TURNING, turn_s=0.0,
        turn_s_per_deg=0.0),
    )  # fmt: skip
    dear = replace(free, overheads=replace(TURNING, turn_s=300.0))
    effort = Effort(tries=30_000, seeds=2, steps_s=(60.0, 20.0), paths=(30, 20))
    cheap, paid = solve(free, effort=effort), solve(dear, effort=effort)
    assert cheap.evaluation.changes["target_change"] >= 1
    assert any("lacks turn" in broken for broken in violations(dear, cheap.schedule))
    assert violations(dear, paid.schedule) == []
    assert paid.objective <= cheap.bound
    assert paid.bound <= cheap.bound * 1.01


def test_search_and_check_agree_to_the_second(invented_night):
    problem = invented_night(targets=2, filters=1, hours=6.0, seed=5, overheads=TURNING)
    tasks = tuple(replace(task, usable=task.usable | True) for task in problem.tasks)
    problem = replace(_at(problem, 10.0, 75.0, angles=(10.0, 75.0)), tasks=tasks)
    pointings = tuple(replace(one, transit_s=1e9) for one in problem.pointings)
    problem = replace(problem, pointings=pointings)
    tables = tables_of(problem)
    placed = room_for(tables)
    order, size = order_of([(0, 6, 0.0), (1, 6, 0.0)])
    value = carry_out(tables, placed, order, size)
    schedule = schedule_of(problem, tables, placed)
    assert violations(problem, schedule) == []
    assert value == pytest.approx(evaluate(problem, schedule).value, abs=1e-5)
    turn = next(event for event in schedule.events if event.kind == "turn")
    assert turn.end_s - turn.start_s == pytest.approx(30.0 + 2.0 * 65.0)
    late = tuple(replace(e, start_s=e.start_s + 1.0) if e is turn else e for e in schedule.events)
    assert violations(problem, Schedule(schedule.blocks, late))


def test_a_rotator_turns_in_seconds_and_a_hand_in_minutes():
    text = starter_text()
    night = compute_night(parse_config(text).site, datetime.date(2027, 10, 6))
    driven = overheads(parse_config(text), night, "flattener")
    assert driven.turning_s(90.0) == pytest.approx(30.0)  # 3 degrees a second
    start = text.index("[rotator]")
    by_hand = text[:start] + text[text.index("[guider]", start) :]
    hand = overheads(parse_config(by_hand), night, "flattener")
    assert hand.turning_s(90.0) == hand.turning_s(5.0) == pytest.approx(300.0)
    longer = by_hand.replace("[preferences]\n", "[preferences]\nturn_by_hand_min = 8\n")
    assert overheads(parse_config(longer), night, "flattener").turning_s(9.0) == 480.0
    assert hand.train_change_s is None


def test_configured_hours_are_those_of_each_panel():
    config = parse_config(
        starter_text() + '[goal."M 31"]\nhours = { L = 6.0 }\ngathered_hours = { L = 2.0 }\n'
    )
    catalog = catalog_for(config)
    known = with_configured(config, EarlierNights(), [catalog.target(catalog.find("M 31"))])
    for train in config.train:
        assert [known.gathered_h("M 31", panel, "L", train) for panel in (1, 2, 3)] == [2.0] * 3
    assert known.gathered_h("M 31", 1, "R", "flattener") == 0.0
