"""More filters than the wheel carries: told, proposed, kept in a re-plan, changed by hand."""

from __future__ import annotations

import datetime
import json

import pytest
from click.testing import CliRunner

from nightplan.cli.main import group
from nightplan.errors import ConfigError
from nightplan.model.catalog_reading import load_catalog
from nightplan.planning.schedule.replan import Replan
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonights_plan.plan import make_plan
from nightplan.report.documents.plan import plan_document
from nightplan.report.texts.plan_text import plan_text
from tests.own_config import configured

EVENING = datetime.date(2027, 10, 6)
SMALL = ("positions = 7", "positions = 5")


@pytest.fixture(scope="module")
def proposed():
    """M 33 and IC 1396 want six of the seven filters; the wheel carries five."""
    config = configured(SMALL)
    night = compute_night(config.site, EVENING)
    return make_plan(config, night, load_catalog(), ["M 33", "IC 1396"], solve_s=3.0)


def test_the_plan_proposes_what_to_load(proposed):
    loaded = [one.filter for one in proposed.loading if one.loaded]
    left = {one.filter: one.worth_h for one in proposed.loading if not one.loaded}
    assert len(loaded) == 5
    assert list(proposed.config.filter) == loaded
    document = plan_document(proposed)
    used = {block.filter for block in document.blocks}
    assert used <= set(loaded)
    assert len(used) >= 2
    # What is left out would add no more than the least of what is in loses, by the greedy order.
    least = min(one.worth_h for one in proposed.loading if one.loaded)
    assert max(left.values()) <= least + 0.25
    assert "Load before dark" in plan_text(document)


def test_all_filters_fit_and_nothing_is_said(demo):
    night = compute_night(demo.site, EVENING)
    plan = make_plan(demo, night, load_catalog(), ["M 33"], solve_s=2.0)
    assert plan.loading == ()
    assert plan_document(plan).loading == []


def test_nobody_opens_the_wheel_in_the_dark(proposed):
    document = plan_document(proposed).model_dump(mode="json")
    middle = sum(proposed.night.window_utc_mjd) / 2.0
    again = make_plan(
        configured(SMALL), proposed.night, load_catalog(), again=Replan(middle, document)
    )
    assert again.loading == tuple(
        type(one)(one.filter, one.loaded, round(one.worth_h, 3)) for one in proposed.loading
    )
    assert list(again.config.filter) == list(proposed.config.filter)


def test_what_is_told_to_be_loaded_is_all_there_is():
    config = configured(
        ("positions = 7", 'positions = 4\nloaded = ["L", "R", "G", "B"]'),
        ("# [goal", '[goal."M 31"]\nhours = { L = 4.0, Ha = 3.0 }\n# [goal'),
    )
    assert list(config.filter) == ["L", "R", "G", "B"]
    assert config.goal["M 31"].hours == {"L": 4.0}
    assert list(config.with_all_filters.filter)[-1] == "SII"


def test_what_was_shot_through_another_filter_still_counts(config_file, tmp_path):
    from tests.journal.test_fits_import import write

    text = config_file.read_text(encoding="utf-8")
    config_file.write_text(
        text.replace("positions = 7", 'positions = 4\nloaded = ["L", "R", "G", "B"]')
    )
    write(tmp_path / "shot" / "a.fits", FILTER="Ha")
    found = CliRunner().invoke(
        group,
        ["collect", str(tmp_path / "shot"), "--config", str(config_file), "--json"],
        catch_exceptions=False,
    )
    assert [row["filter"] for row in json.loads(found.stdout)["added"]] == ["Ha"]


def test_a_drawer_takes_them_all():
    drawer = (SMALL[0], "positions = 1\nby_hand = true")
    config = configured(drawer, ("change_s = 8", "change_s = 240"))
    assert len(config.filter) == 7
    night = compute_night(config.site, EVENING)
    plan = make_plan(config, night, load_catalog(), ["M 33"], solve_s=2.0)
    assert plan.loading == ()
    assert plan.posed.problem.overheads.filter_change_s == 240.0


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ('positions = 7\nloaded = ["L", "X"]', "one of L, R, G, B, Ha, OIII, SII"),
        ('positions = 2\nloaded = ["L", "R", "G"]', "at most 2"),
        ('positions = 7\nloaded = ["L", "L"]', "each filter once"),
    ],
)
def test_faults_name_key_and_range(lines, words):
    with pytest.raises(ConfigError) as caught:
        configured(("positions = 7", lines))
    assert "wheel.loaded" in str(caught.value)
    assert words in str(caught.value)
