"""A sub of a colour camera counts for each of its pictures: plan, journal, next plan, review."""

from __future__ import annotations

import datetime
import json
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
import tomlkit

from nightplan.journal import Journal, Sub
from nightplan.library.earlier import remembered
from nightplan.library.following import plan_file_of
from nightplan.library.reviewing import review
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.config import Config, load_config
from nightplan.model.starter import starter_text
from nightplan.planning.photons.sub_worth import equivalent_seconds, record_equivalents
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonights_plan.plan import make_plan
from nightplan.report.documents.plan import plan_document
from nightplan.sky.times import mjd_from_iso

PAGE = Path(__file__).parents[2] / "docs" / "how-to" / "your-rig.md"
EVENING = datetime.date(2027, 10, 6)


@pytest.fixture(scope="module")
def config(tmp_path_factory: pytest.TempPathFactory) -> Config:
    """The colour camera of the how-to."""
    text = PAGE.read_text(encoding="utf-8").split("## A colour camera")[1]
    block = re.search(r"```toml instead\n(.*?)```", text, re.S)
    assert block is not None
    tables = {**tomllib.loads(starter_text()), **tomllib.loads(block[1])}
    path = tmp_path_factory.mktemp("colour") / "nightplan.toml"
    path.write_text(tomlkit.dumps(tables), encoding="utf-8")
    return load_config(path)


def test_a_night_from_plan_to_review(config: Config) -> None:
    catalog, night = load_catalog(), compute_night(config.site, EVENING)
    plan = make_plan(config, night, catalog, ["NGC 281"], solve_s=1.0)
    document = json.loads(plan_document(plan).to_json())
    rows = {row["filter"]: row for row in document["progress"]}
    assert {"duo H-alpha", "duo O III"} <= set(rows)
    assert rows["duo O III"]["through"] == ["duo"]
    # Anybody can add up the objective from `progress`.
    total = 0.0
    for row in document["progress"]:
        hours, value = np.array(row["value_curve"]).T
        total += float(np.interp(row["gathered_h"] + row["tonight_h"], hours, value))
    assert document["objective"] == pytest.approx(total - document["change_cost"], abs=1e-6)
    for row in rows.values():
        open_s = sum(b["count"] * b["sub_s"] for b in document["blocks"]
                     if b["filter"] in row["through"])  # fmt: skip
        assert row["tonight_clock_h"] == pytest.approx(open_s / 3600.0)

    shot = [
        Sub(
            identity=f"{start}-{number}", target=block["target"], filter=block["filter"],
            evening=EVENING, train=block["train"], exposure_s=block["sub_s"],
            start_utc_mjd=start + number * (block["sub_s"] + 4.0) / 86400.0,
        )
        for block in document["blocks"]
        for start in [mjd_from_iso(block["start_utc"])]
        for number in range(block["count"])
    ]  # fmt: skip
    with Journal.of(config, writable=True) as journal:
        journal.record_subs(shot)
        record_equivalents(config, catalog, journal)
        stored = journal.subs()
    assert all(dict(sub.channel_s).keys() == {"duo H-alpha", "duo O III"} for sub in stored
               if sub.filter == "duo")  # fmt: skip

    earlier = remembered(config).earlier
    for name in ("duo H-alpha", "duo O III"):
        hours = earlier.gathered_h("NGC 281", 1, name, document["train"])
        # The plan's own equivalent hours, but for dithers and the middle of each sub.
        assert hours == pytest.approx(rows[name]["tonight_h"], rel=0.03)
    again = make_plan(config, night, catalog, ["NGC 281"], earlier=earlier, solve_s=1.0)
    assert again.solution is not None
    had = {row.filter: row.gathered_h for row in again.solution.evaluation.progress}
    assert had["duo O III"] == pytest.approx(rows["duo O III"]["tonight_h"], rel=0.03)

    plan_file_of(config, EVENING).write_text(json.dumps(document), encoding="utf-8")
    reviewed = {row.filter: row for row in review(config, EVENING).document.goals}
    for name in ("duo H-alpha", "duo O III"):
        assert reviewed[name].tonight_h == pytest.approx(rows[name]["tonight_h"], rel=0.03)


def test_moonlight_spoils_one_picture_of_a_sub_more_than_the_other(config: Config) -> None:
    """Oxygen lies where moonlight is bright, hydrogen where it is faint (common practice)."""
    full_moon = mjd_from_iso("2027-10-15T22:30:00Z")
    sub = Sub("one", "NGC 281", "duo", datetime.date(2027, 10, 15), full_moon, 600.0, "reducer")
    found, _ = equivalent_seconds(config, load_catalog(), [sub])
    seconds = dict(found["one"].channel_s)
    assert seconds["duo O III"] < seconds["duo H-alpha"] < 600.0
    assert found["one"].equivalent_s == pytest.approx(sum(seconds.values()) / 2.0)
