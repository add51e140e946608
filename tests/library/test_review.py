"""The morning review, on a plan and subs written here and counted by hand."""

from __future__ import annotations

import datetime as dt
import json

import pytest

from nightplan.errors import FileError, InputError
from nightplan.journal import Journal, Sub
from nightplan.journal.schema import FILE_NAME
from nightplan.library.following import plan_file_of
from nightplan.library.reviewing import review
from nightplan.model.config import load_config
from nightplan.planning.schedule.review import reviewed_blocks
from nightplan.sky.times import mjd_from_iso
from tests.cli.running import assert_one_line_error, document, run

EVENING = dt.date(2027, 10, 6)


def block(name, start, end, count, sub_s=300.0, target="M 33"):
    return {
        "target": target, "panel": 1, "filter": name, "start_utc": f"2027-10-06T{start}:00Z",
        "end_utc": f"2027-10-06T{end}:00Z", "count": count, "sub_s": sub_s,
    }  # fmt: skip


BLOCKS = [
    block("L", "20:00", "21:00", 11),
    block("Ha", "21:05", "22:05", 6, 600.0),
    block("L", "22:10", "23:10", 11),
]


def sub(number, name, start, seconds=300.0, target="M 33", **more):
    return Sub(
        identity=f"s{number}", target=target, filter=name, evening=EVENING,
        start_utc_mjd=mjd_from_iso(f"2027-10-06T{start}Z"), exposure_s=seconds,
        equivalent_s=0.5 * seconds, train="reducer", **more,
    )  # fmt: skip


def subs_of_the_night():
    found = [sub(n, "L", f"20:{5 * n:02d}:05") for n in range(8)]
    found += [sub(20 + n, "Ha", f"21:{10 * n + 6:02d}:00", 600.0) for n in range(4)]
    found += [sub(30, "L", "22:12:00"), sub(31, "L", "22:20:00", accepted=False, reason="haze")]
    # Begun after its block: still the second L's.
    found += [sub(32, "L", "23:20:00"), sub(40, "B", "23:30:00")]
    return found


@pytest.fixture
def config(config_file):
    return load_config(config_file)


@pytest.fixture
def night(config):
    plan = {
        "site": config.site.name, "rig": config.rig_name, "date": "2027-10-06", "train": "reducer",
        "window_start_utc": "2027-10-06T19:33:00Z", "blocks": BLOCKS, "events": [], "targets": [],
        "progress": [
            {"target": "M 33", "filter": "L", "goal_h": 3.0, "gathered_h": 1.0},
            {"target": "M 33", "filter": "Ha", "goal_h": 0.2, "gathered_h": 0.0},
        ],
    }  # fmt: skip
    path = plan_file_of(config, EVENING)
    path.write_text(json.dumps(plan), encoding="utf-8")
    with Journal.of(config, writable=True) as journal:
        journal.record_subs(subs_of_the_night())
    return path


def test_each_sub_goes_to_its_block():
    rows = reviewed_blocks({"blocks": BLOCKS}, subs_of_the_night())
    assert [(row.filter, row.planned, row.accepted, row.rejected) for row in rows] == [
        ("L", 11, 8, 0), ("Ha", 6, 4, 0), ("L", 11, 2, 1), ("B", None, 1, 0),
    ]  # fmt: skip
    assert [row.missing_s for row in rows] == [900.0, 1200.0, 2700.0, 0.0]
    assert rows[2].last_utc_mjd == pytest.approx(mjd_from_iso("2027-10-06T23:25:00Z"))


def test_the_document_adds_up_and_says_when_it_goes_on(config, night):
    found = review(config, EVENING).document
    assert found.plan_file == str(night)
    assert found.planned_min == 11 * 5 + 6 * 10 + 11 * 5
    assert found.shot_min == 8 * 5 + 4 * 10 + 2 * 5 + 5
    assert found.missing_min == 15 + 20 + 45
    goals = {row.filter: row for row in found.goals}
    # Each sub counts half of its exposure here; the rejected one not at all.
    assert goals["L"].tonight_h == pytest.approx(10 * 300 / 7200.0, abs=1e-3)
    assert goals["L"].missing_h == pytest.approx(2.0 - 10 * 300 / 7200.0, abs=1e-3)
    assert goals["Ha"].missing_h == 0.0
    (coming,) = found.next_nights
    # L wants the moon down: it sets before midnight on 7 October 2027 (first quarter on the 7th,
    # USNO phases of the moon), so the next night serves.
    assert (coming.missing_filters, coming.date) == (["L"], "2027-10-07")
    assert coming.moonless_hours > 1.0
    assert coming.usable_hours >= coming.moonless_hours
    blocks = {(row.filter, row.planned_subs): row for row in found.blocks}
    assert blocks["B", None].planned_subs_reason == "not_in_the_plan"


def test_text_and_picture(config, night, tmp_path):
    answer = review(config, EVENING)
    text = str(answer)
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "Shutter open 1 h 35 min of 2 h 50 min planned, 56 %" in text
    assert "1 rejected" in text
    assert "M 33 (L): 2027-10-07" in text
    figure = answer.figure()
    (axes, *_) = figure.axes
    labels = [label.get_text() for label in axes.get_yticklabels()]
    assert labels == ["M 33 L", "M 33 Ha", "M 33 B"]
    assert len(axes.patches) >= len(BLOCKS) + len(subs_of_the_night())
    answer.save_plot(tmp_path / "review.png", style="red")
    assert (tmp_path / "review.png").stat().st_size > 5000


def test_the_command(config, night):
    folder = night.parent
    found = document("review", "--date", "2027-10-06", "--plot", "r.svg", folder=folder)
    assert len(found["blocks"]) == 4
    assert (folder / "r.svg").exists()
    done = run("review", "--date", "2027-10-07", folder=folder)
    assert_one_line_error(done, "nightplan-2027-10-07.json", "--keep FILE")
    done = run("review", "--date", "2027-10-07", "--keep", str(night), folder=folder)
    assert_one_line_error(done, "2027-10-06", "2027-10-07")


def test_without_a_plan_or_of_another_site(config, night):
    with pytest.raises(FileError, match="no plan of this night"):
        review(config, dt.date(2027, 10, 9))
    plan = json.loads(night.read_text(encoding="utf-8"))
    night.write_text(json.dumps(plan | {"site": "South Rim"}), encoding="utf-8")
    with pytest.raises(InputError, match="South Rim"):
        review(config, EVENING)


def test_an_empty_journal_says_so(config, night):
    (night.parent / FILE_NAME).unlink()
    found = review(config, EVENING).document
    assert found.shot_min == 0.0
    assert found.missing_min == found.planned_min
    assert "collect first" in found.notices[0]
