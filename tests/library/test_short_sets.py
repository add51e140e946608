"""A short set beside the plan: its darks are owed too."""

from __future__ import annotations

import datetime

from nightplan.library.calibration import short_uses
from nightplan.model.own_targets import catalog_for
from nightplan.model.preferences import Goal
from nightplan.model.starter import demo_config
from nightplan.planning.calibration.owed_tonight import calibration_night
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonights_plan.plan import make_plan
from nightplan.report.documents.plan import plan_document
from nightplan.report.texts.plan_text import plan_text


def test_the_darks_of_a_short_set_are_owed_and_the_plan_says_so() -> None:
    base = demo_config()
    goal = {"M 42": Goal(recipe="H-alpha with RGB", hours={"Ha": 4.0, "R": 1.0})}
    config = base.model_copy(update={"goal": goal})
    night = compute_night(config.site, datetime.date(2027, 12, 28))
    plan = make_plan(config, night, catalog_for(config), ["M 42"], solve_s=2.0)
    document = plan_document(plan)
    blocks = [block.model_dump() for block in document.blocks]
    assert any(block["filter"] == "Ha" for block in blocks)
    short = document.recipes["M 42"].short_set
    assert short is not None
    uses = short_uses(plan, blocks)
    assert {(use.gain, use.sub_s) for use in uses} == {(short.gain, short.sub_s)}
    with_it = calibration_night(config, night, blocks, also=uses)
    darks = {(one.gain, one.sub_s) for one in with_it.owed if one.kind == "dark"}
    without = calibration_night(config, night, blocks)
    normal = {(one.gain, one.sub_s) for one in without.owed if one.kind == "dark"}
    assert darks - normal == {(short.gain, short.sub_s)}
    # At most two dark sets a night, three with a short one.
    assert len(normal) <= 2
    assert len(darks) <= 3
    assert "For the core" in " ".join(plan_text(document, full=True).split())
