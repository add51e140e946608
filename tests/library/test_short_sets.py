"""A short set for a bright core is shot beside its filter's normal subs, once, and counts alone."""

from __future__ import annotations

import datetime
import itertools
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from nightplan.errors import InputError
from nightplan.journal.records import Sub
from nightplan.library.earlier import Remembered
from nightplan.library.sheets import calibration_owed
from nightplan.model.own_targets import catalog_for
from nightplan.model.preferences import Goal
from nightplan.model.starter import demo_config
from nightplan.planning.returning.earlier_nights import EarlierNights, GatheredHours
from nightplan.planning.returning.shot_before import hours_shot
from nightplan.planning.schedule.check import violations
from nightplan.planning.schedule.done import parse_done
from nightplan.planning.schedule.replan import Replan
from nightplan.planning.schedule.review import reviewed_blocks
from nightplan.planning.schedule.standing import standing
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonights_plan.plan import NightPlan, make_plan
from nightplan.report.documents.plan import plan_document
from nightplan.report.texts.plan_text import plan_text
from nightplan.sky.times import mjd_from_iso

EVENING = datetime.date(2027, 12, 28)
GOAL = {"M 42": Goal(recipe="H-alpha with RGB", hours={"Ha": 4.0, "R": 1.0})}
CONFIG = demo_config().model_copy(update={"goal": GOAL})
NIGHT = compute_night(CONFIG.site, EVENING)
CATALOG = catalog_for(CONFIG)


@cache
def planned(*gathered: GatheredHours) -> tuple[NightPlan, dict[str, Any]]:
    earlier = EarlierNights(gathered)
    plan = make_plan(CONFIG, NIGHT, CATALOG, ["M 42"], earlier=earlier, solve_s=2.0)
    return plan, plan_document(plan).model_dump(mode="json")


def subs_of(block: dict[str, Any], count: int | None = None, **other: Any) -> list[Sub]:
    start, end = mjd_from_iso(block["start_utc"]), mjd_from_iso(block["end_utc"])
    each = (end - start) / block["count"]
    return [
        Sub(
            identity=f"{block['start_utc']} {number}",
            target=block["target"],
            filter=block["filter"],
            evening=EVENING,
            start_utc_mjd=start + number * each,
            exposure_s=block["sub_s"],
            train=block["train"],
            **other,
        )
        for number in range(block["count"] if count is None else count)
    ]


def short_block(document: dict[str, Any]) -> dict[str, Any]:
    """The whole set as one block; a focus run may part it."""
    found = [block for block in document["blocks"] if block["short_set"]]
    at = document["blocks"].index(found[0])
    assert found == document["blocks"][at : at + len(found)]
    count = sum(block["count"] for block in found)
    return {**found[0], "count": count, "end_utc": found[-1]["end_utc"]}


def test_the_plan_shoots_the_set_beside_the_normal_subs_without_another_change() -> None:
    plan, document = planned()
    assert plan.posed is not None
    assert plan.solution is not None
    assert violations(plan.posed.problem, plan.solution.schedule) == []
    short = document["recipes"]["M 42"]["short_set"]
    block = short_block(document)
    wanted = (short["gain"], short["sub_s"], short["count"])
    assert (block["filter"], block["gain"], block["sub_s"], block["count"]) == ("Ha", *wanted)
    blocks = document["blocks"]
    kinds = [(one["filter"], one["short_set"]) for one in blocks]
    at, size = kinds.index(("Ha", True)), kinds.count(("Ha", True))
    assert ("Ha", False) in (*kinds[max(0, at - 1) : at], *kinds[at + size : at + size + 1])
    changes = [event for event in document["events"] if event["kind"] == "filter_change"]
    filters = [one["filter"] for one in blocks]
    assert len(changes) == sum(a != b for a, b in itertools.pairwise(filters))
    assert document["gap_percent"] < 5.0
    exposed = sum(one["count"] * one["sub_s"] for one in blocks) / 60.0
    assert document["ledger"]["exposure"] == pytest.approx(exposed, abs=1e-3)
    text = " ".join(plan_text(plan_document(plan), full=True).split())
    assert "For the core" in text
    assert "bright core" in text


def test_its_row_counts_for_itself_alone() -> None:
    _, document = planned()
    rows = {row["short_set"]: row for row in document["progress"] if row["filter"] == "Ha"}
    block = short_block(document)
    assert rows[True]["goal_h"] == pytest.approx(block["count"] * block["sub_s"] / 3600.0)
    assert rows[True]["tonight_clock_h"] == pytest.approx(rows[True]["goal_h"])
    normal = [one for one in document["blocks"] if one["filter"] == "Ha" and not one["short_set"]]
    hours = sum(one["count"] * one["sub_s"] for one in normal) / 3600.0
    assert rows[False]["tonight_clock_h"] == pytest.approx(hours)
    # Nothing is gained beyond the set.
    assert rows[True]["value_curve"][-1][0] == pytest.approx(rows[True]["goal_h"])


def test_its_darks_are_owed() -> None:
    plan, document = planned()
    owed = calibration_owed(plan, document["blocks"], Remembered(CONFIG))
    darks = {(one["gain"], one["sub_s"]) for one in owed if one["kind"] == "dark"}
    block = short_block(document)
    assert (block["gain"], block["sub_s"]) in darks
    # At most two dark sets a night, three with a short one.
    assert len(darks) <= 3


def test_once_shot_it_is_not_asked_for_again_nor_counted_for_the_long_goal() -> None:
    _, document = planned()
    block = short_block(document)
    # Under a bright moon equivalents are a third; the core does not mind.
    shot = subs_of(block, equivalent_s=block["sub_s"] / 3.0)
    rejected = [replace(sub, accepted=False, reason="cloud") for sub in shot[:2]]
    hours = hours_shot(CONFIG, CATALOG, [*rejected, *shot[2:]])
    (row,) = hours
    assert row.short
    assert row.hours == pytest.approx((block["count"] - 2) * block["sub_s"] / 3600.0)
    earlier = EarlierNights(hours)
    assert earlier.gathered_h("M 42", 1, "Ha", block["train"]) == 0.0
    assert earlier.by_filter() == {}
    again = planned(*hours)[1]
    assert not any(one["short_set"] for one in (*again["blocks"], *again["progress"]))
    # Half of it is not enough: the rest is asked for.
    half = hours_shot(CONFIG, CATALOG, shot[: block["count"] // 2])
    rest = short_block(planned(*half)[1])
    assert rest["count"] == block["count"] - block["count"] // 2


def test_a_re_plan_knows_the_two_sets_apart() -> None:
    _, document = planned()
    block = short_block(document)
    end = mjd_from_iso(block["end_utc"])
    for done, short_subs in (
        ({}, block["count"]),
        (parse_done(CONFIG, [f"M 42:Ha short={block['count'] - 5}"]), block["count"] - 5),
        (parse_done(CONFIG, ["Ha=1"]), block["count"]),
    ):
        again = Replan(end + 1.0 / 1440.0, document, done)
        plan = make_plan(CONFIG, NIGHT, CATALOG, [], again=again, solve_s=2.0)
        assert plan.posed is not None
        kept = plan.posed.problem.kept
        tasks = plan.posed.problem.tasks
        assert sum(one.count for one in kept if tasks[one.task].short) == short_subs
        if "Ha" in done:
            assert sum(b.count for b in kept if tasks[b.task].set_name == "Ha") == 1
    with pytest.raises(InputError, match="FILTER=COUNT"):
        parse_done(CONFIG, ["Ha  short=3"])


def test_what_was_shot_is_told_apart_by_length() -> None:
    _, document = planned()
    block = short_block(document)
    normal = next(
        one for one in document["blocks"] if one["filter"] == "Ha" and not one["short_set"]
    )
    # Shot a little longer than planned, and amid the other block's time.
    start = mjd_from_iso(normal["start_utc"])
    subs = [replace(s, exposure_s=45.0, start_utc_mjd=start) for s in subs_of(block, 7)]
    subs += subs_of(normal, 2)
    now = mjd_from_iso(document["window_end_utc"])
    stands = standing(document, subs, now)
    assert stands.shot["M 42", "Ha"] == 2
    assert stands.shot["M 42", "Ha short"] == int(7 * 45.0 / block["sub_s"])
    assert stands.planned["M 42", "Ha short"] == block["count"]
    rows = reviewed_blocks(document, subs)
    assert sum(len(row.subs) for row in rows if row.short_set) == 7
    assert sum(len(row.subs) for row in rows if not row.short_set) == 2


def test_a_filter_may_not_be_named_like_a_short_set() -> None:
    from nightplan.model.config import parse_config
    from nightplan.model.starter import starter_text

    text = starter_text().replace("[filter.SII]", '[filter."Ha short"]')
    with pytest.raises(InputError, match="does not end in"):
        parse_config(text)
