"""A change of train in the night: chosen where it pays, paid in minutes, told; else one train."""

from __future__ import annotations

import datetime
import itertools
from dataclasses import replace

import numpy as np
import pytest

from nightplan.model.config import parse_config
from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import starter_text
from nightplan.planning.ahead.assessment import assess
from nightplan.planning.choosing.train_assignment import best_assignment
from nightplan.planning.choosing.train_choice import rank_trains
from nightplan.planning.returning.earlier_nights import EarlierNights, GatheredHours
from nightplan.planning.schedule.check import violations
from nightplan.planning.schedule.problem import Overheads, RigState
from nightplan.planning.schedule.rules import standing_of
from nightplan.planning.schedule.schedule import evaluate, ledger_min
from nightplan.planning.schedule.solver import solve
from nightplan.planning.schedule.solving.resume import resume
from nightplan.planning.schedule.solving.search import Effort
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonights_plan.plan import make_plan
from nightplan.report.documents.plan import plan_document
from nightplan.report.wording.order_of_work import order_of_work, trains_in_order

EVENING = datetime.date(2027, 10, 6)
WIDE, SMALL = "NGC 7000", "NGC 7331"
CHANGE_MIN = 10.0
GOALS = '\n[goal."NGC 7000"]\npriority = 2.0\nhours = { Ha = 3.0, OIII = 3.0 }\n'
GOALS += '[goal."NGC 7331"]\npriority = 2.0\nhours = { L = 3.7, R = 2.8, G = 2.8, B = 2.8 }\n'


def config_with(*lines: str, goals: str = GOALS):
    text = starter_text()
    assert "\nallow_train_change = false" in text
    return parse_config(
        text.replace("\nallow_train_change = false", "\n" + "\n".join(lines)) + goals
    )


ALLOWED = config_with(
    "allow_train_change = true",
    f"train_change_min = {CHANGE_MIN}",
    "change_cost.train_change = 0.0",
)


@pytest.fixture(scope="module")
def night():
    return compute_night(ALLOWED.site, EVENING)


@pytest.fixture(scope="module")
def plan(night):
    """A nebula for the reducer, high at dusk, and a small galaxy for the flattener after it."""
    return make_plan(ALLOWED, night, catalog_for(ALLOWED), (WIDE, SMALL))


def test_each_target_is_shot_in_its_train_alone(plan):
    problem, schedule = plan.posed.problem, plan.solution.schedule
    assert {f.target: f.train for f in plan.framings} == {WIDE: "reducer", SMALL: "flattener"}
    shot = {
        (problem.pointings[block.pointing].target, problem.tasks[block.task].train)
        for block in schedule.blocks
    }
    assert shot == {(WIDE, "reducer"), (SMALL, "flattener")}
    assert violations(problem, schedule) == []
    assert plan.solution.bound >= plan.solution.objective
    # Sub lengths are each train's own: f/5.25 fills a sub faster than f/7 (exposure model).
    subs = {(t.train, t.filter): t.sub_s for t in problem.tasks}
    alone = make_plan(
        config_with(goals=""), plan.night, catalog_for(ALLOWED), (SMALL,), solve_s=1.0
    )
    own = {t.filter: t.sub_s for t in alone.posed.problem.tasks}
    assert {name: subs["flattener", name] for name in own} == own


def test_a_change_is_paid_for_in_full(plan):
    """Flats of what was shot; 10 min of set-up; then the longest turn, 90° at 3°/s, 3 min of
    centring and 20 s of settling, a focus run of 4 min: the starter's figures."""
    schedule, problem = plan.solution.schedule, plan.posed.problem
    blocks = schedule.blocks
    swaps = [
        (before, after)
        for before, after in itertools.pairwise(blocks)
        if problem.tasks[before.task].train != problem.tasks[after.task].train
    ]
    assert len(swaps) == 1
    before, after = swaps[0]
    between = [e for e in schedule.events if before.end_s <= e.start_s < after.start_s]
    spent = [(e.kind, round(e.end_s - e.start_s, 3)) for e in between if e.kind != "idle"]
    kinds = [kind for kind, _ in spent]
    assert kinds.index("flats") < kinds.index("setup") < kinds.index("turn")
    assert dict(spent)["setup"] == CHANGE_MIN * 60.0
    assert dict(spent)["turn"] == 30.0
    assert dict(spent)["slew_centre"] == 180.0 + 20.0
    assert spent[-1] == ("focus", 240.0)
    ledger = ledger_min(problem, schedule)
    assert ledger["setup"] == pytest.approx(problem.setup_s / 60.0 + CHANGE_MIN)
    assert sum(ledger.values()) == pytest.approx(problem.window_s / 60.0)


def test_the_document_and_the_order_of_work_show_the_change(plan):
    document = plan_document(plan).model_dump(mode="json")
    assert document["train"] == document["blocks"][0]["train"]
    assert document["train_reason"].startswith(
        f"reducer for {WIDE}, then flattener for {SMALL}. Each target"
    )
    assert {row["target"]: row["train"] for row in document["targets"]} == {
        WIDE: "reducer", SMALL: "flattener"
    }  # fmt: skip
    assert [train for train, _ in trains_in_order(document)] == ["reducer", "flattener"]
    words = [item.words for item in order_of_work(document)]
    assert words.count("change train to flattener") == 1
    assert "set-up" not in words[1:]


def test_flats_are_owed_for_both_trains_before_the_camera_comes_off(plan):
    from nightplan.planning.calibration.owed_tonight import calibration_night

    blocks = plan_document(plan).model_dump(mode="json")["blocks"]
    owed = calibration_night(ALLOWED, plan.night, blocks)
    flats = [row for row in owed.rows if row["kind"] == "flat"]
    assert {row["train"] for row in flats} == {"reducer", "flattener"}
    for row in flats:
        off = "before the camera comes off for the flattener" in row["reason"]
        assert off == (row["train"] == "reducer")


def test_a_change_that_does_not_pay_is_left(night):
    """At two hours a change cannot pay in a night of nine and a half."""
    config = config_with("allow_train_change = true", "train_change_min = 120")
    plan = make_plan(config, night, catalog_for(config), (WIDE, SMALL), solve_s=1.0)
    trains = {framing.train for framing in plan.framings}
    assert len(trains) == 1
    assert ledger_min(plan.posed.problem, plan.solution.schedule)["setup"] == pytest.approx(
        plan.posed.problem.setup_s / 60.0
    )


def test_targets_that_agree_or_were_begun_need_no_trial(night):
    catalog = catalog_for(ALLOWED)
    one = make_plan(ALLOWED, night, catalog, ("M 33", SMALL), solve_s=1.0)
    assert {framing.train for framing in one.framings} == {"flattener"}
    begun = EarlierNights(gathered=(GatheredHours(SMALL, 1, "L", "reducer", 2.0),))
    kept = make_plan(ALLOWED, night, catalog, (WIDE, SMALL), earlier=begun, solve_s=1.0)
    assert {framing.train for framing in kept.framings} == {"reducer"}


def test_a_replan_keeps_the_trains_and_finishes_a_change_under_way(plan):
    problem, schedule = plan.posed.problem, plan.solution.schedule
    change = next(e for e in schedule.events if e.kind == "setup" and e.pointing is not None)
    rest = resume(problem, schedule, 0.5 * (change.start_s + change.end_s))
    assert problem.tasks[rest.state.task].train == "flattener"
    again = solve(rest, effort=Effort(tries=5_000, seeds=1, steps_s=(60.0,), paths=(10,)))
    assert violations(rest, again.schedule) == []
    assert ledger_min(rest, again.schedule)["setup"] == pytest.approx(
        problem.setup_s / 60.0 + CHANGE_MIN
    )


def test_the_rig_keeps_its_train_through_a_pause(invented_night):
    """After clouds the rig stands on nothing, but what is bolted to it is what was."""
    rules = Overheads(train_change_s=900.0, turn_s_per_deg=1.0)
    problem = invented_night(
        targets=2, filters=1, seed=6, trains=("flattener", "reducer"), overheads=rules
    )
    turned = (
        replace(problem.pointings[0], position_angle_deg=170.0),
        replace(problem.pointings[1], position_angle_deg=20.0),
    )
    problem = replace(problem, pointings=turned, state=RigState(None, bolted=0))
    paused = standing_of(problem.state)
    # Guiding is lost, the focus is not: the clock alone asks for another run.
    assert problem.rules.lead(paused, 0, False) == [("slew_centre", 200.0)]
    swap = [("setup", 900.0), ("turn", 90.0), ("slew_centre", 200.0), ("focus", 240.0)]
    assert problem.rules.lead(paused, 1, False) == swap
    same = tuple(replace(task, train="flattener") for task in problem.tasks)
    problem = replace(problem, tasks=same)
    assert problem.rules.lead(paused, 1, False) == [("turn", 30.0), ("slew_centre", 200.0)]
    red = replace(problem, tasks=(same[0], replace(same[1], filter="R")))
    assert ("filter_change", 8.0) in red.rules.lead(paused, 1, False)
    unknown = standing_of(RigState(None))
    kinds = [kind for kind, _ in problem.rules.lead(unknown, 1, False)]
    assert kinds == ["slew_centre", "filter_change", "focus"]


def test_an_assignment_is_as_good_as_trying_all_of_them():
    """Three targets, two trains, invented gains and a price for each change: 40 draws."""
    catalog = catalog_for(ALLOWED)
    rankings = [
        rank_trains(ALLOWED, catalog.target(catalog.find(name))) for name in (WIDE, SMALL, "M 33")
    ]
    rng = np.random.default_rng(4)
    trains = tuple(ALLOWED.train)
    good = 0
    for _ in range(40):
        gains = rng.uniform(0.2, 1.0, 3)
        price = rng.uniform(0.0, 0.5)

        def value(assignment, gains=gains, price=price):
            suits = [
                ranking.of(train).score / ranking.best.score
                for ranking, train in zip(rankings, assignment, strict=True)
            ]
            return float(gains @ np.array(suits)) - price * (len(set(assignment)) - 1)

        best = max(value(one) for one in itertools.product(trains, repeat=3))
        found = best_assignment(trains, rankings, [None] * 3, value)
        assert found.values[found.best] == pytest.approx(best)
        assert len(found.values) <= 6
        fixed = best_assignment(trains, rankings, ["flattener", None, None], value)
        assert all(one[0] == "flattener" for one in fixed.values)
        good += len(set(found.best)) > 1
        few = best_assignment(trains, rankings, [None] * 3, value, most=2)
        assert len(few.values) == 2
    assert 0 < good < 40


def test_evaluation_counts_a_change_of_train_by_its_cost(plan):
    dear = replace(plan.posed.problem.change_costs, train_change=0.07)
    problem = replace(plan.posed.problem, change_costs=dear)
    told = evaluate(problem, plan.solution.schedule)
    assert told.change_cost_parts["train_change"] == pytest.approx(0.07)


def test_one_field_goes_before_a_mosaic_that_shows_it_a_little_better(demo) -> None:
    # M 42 is 90' across: one field of the reducer, two panels of the flattener and so twice the
    # hours. Common practice, no source: the reducer.
    catalog = catalog_for(demo)
    target = catalog.target(catalog.find("M 42"))
    found = assess(demo, datetime.date(2027, 12, 28), 8, [target], EarlierNights(), 0.5)
    assert found.trains == ("reducer",)
