"""`nightplan plan` and `demo`: the document, its invariants, re-planning, bad input."""

from __future__ import annotations

import datetime
import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from nightplan.model.starter import starter_text
from tests.cli.running import assert_one_line_error, document, run

BLOCK_KEYS = {
    "target", "panel", "ra_deg", "dec_deg", "position_angle_deg", "image_up_angle_deg", "train",
    "filter", "gain", "start_utc", "end_utc", "sub_s", "count", "short_set", "why",
}  # fmt: skip
LEDGER_KEYS = {
    "exposure", "download", "dither", "focus", "filter_change", "slew_centre", "flip", "setup",
    "idle",
}  # fmt: skip
PLAN_KEYS = {
    "train", "train_reason", "window_start_utc", "window_end_utc", "blocks", "events", "ledger",
    "bound", "objective", "gap_percent", "bound_holds_for", "solve_s", "change_cost", "progress",
}  # fmt: skip


def moment(text: str) -> datetime.datetime:
    assert text.endswith("Z")
    return datetime.datetime.fromisoformat(text)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("plan")
    (path / "nightplan.toml").write_text(starter_text(), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def plan(folder: Path) -> dict[str, Any]:
    found = document("plan", "M 33", "NGC 281", "--date", "2027-10-06", folder=folder)
    (folder / "plan.json").write_text(json.dumps(found), encoding="utf-8")
    assert isinstance(found, dict)
    return found


def check_invariants(plan: dict[str, Any]) -> None:
    start, end = moment(plan["window_start_utc"]), moment(plan["window_end_utc"])
    window_min = (end - start).total_seconds() / 60.0
    assert set(plan["ledger"]) == LEDGER_KEYS
    assert sum(plan["ledger"].values()) == pytest.approx(window_min, abs=0.05)
    spans = sorted(
        (moment(row["start_utc"]), moment(row["end_utc"]))
        for row in plan["blocks"] + plan["events"]
    )
    second = datetime.timedelta(seconds=1)
    assert all(a[1] <= b[0] + second for a, b in pairwise(spans))
    assert spans[0][0] >= start - second
    assert spans[-1][1] <= end + second
    for block in plan["blocks"]:
        assert set(block) == BLOCK_KEYS
        assert block["count"] >= 1
        length = (moment(block["end_utc"]) - moment(block["start_utc"])).total_seconds()
        assert length >= block["count"] * block["sub_s"] - 1.0
        assert 0.0 <= block["position_angle_deg"] < 180.0
        up = block["image_up_angle_deg"]
        assert 0.0 <= up < 360.0
        assert (up + 90.0) % 180.0 == pytest.approx(block["position_angle_deg"], abs=1e-6)
        assert block["why"]


def check_objective(plan: dict[str, Any]) -> None:
    # The published formula: each row's value curve at the hours reached, less the change cost.
    total = 0.0
    for row in plan["progress"]:
        hours, value = np.array(row["value_curve"]).T
        assert hours[0] == row["gathered_h"]
        assert value[0] == 0.0
        total += float(np.interp(row["gathered_h"] + row["tonight_h"], hours, value))
    assert plan["objective"] == pytest.approx(total - plan["change_cost"], abs=1e-6)
    assert plan["bound"] >= plan["objective"] - 1e-9
    gap = 100.0 * (plan["bound"] - plan["objective"]) / plan["bound"]
    assert plan["gap_percent"] == pytest.approx(gap, abs=1e-6)


def test_the_document_has_its_keys_and_keeps_its_invariants(plan: dict[str, Any]) -> None:
    assert set(plan) >= PLAN_KEYS
    assert {row["target"] for row in plan["blocks"]} <= {"M 33", "NGC 281"}
    assert plan["blocks"]
    check_invariants(plan)
    check_objective(plan)


def test_subs_are_above_limits_and_clear_of_the_meridian_stop_by_astropy(
    plan: dict[str, Any],
) -> None:
    # astropy's AltAz as the outside.
    from astropy import units as u
    from astropy.coordinates import TETE, AltAz, SkyCoord
    from astropy.time import Time

    from nightplan.model.starter import demo_config
    from nightplan.planning.tonight.earth_orientation import configure_astropy

    configure_astropy()
    config = demo_config()
    for block in plan["blocks"]:
        ends = Time([block["start_utc"][:-1], block["end_utc"][:-1]], scale="utc")
        coord = SkyCoord(block["ra_deg"] * u.deg, block["dec_deg"] * u.deg)
        place = coord.transform_to(AltAz(obstime=ends, location=config.site.location))
        assert (place.alt.deg >= 30.0 - 0.02).all()
        assert (place.alt.deg <= 87.0 + 0.02).all()
        sidereal = ends.sidereal_time("apparent", longitude=config.site.location.lon)
        # The right ascension of date: precession since J2000 is more than a minute of time.
        of_date = coord.transform_to(TETE(obstime=ends[0])).ra
        hour_angle_min = (sidereal - of_date).wrap_at(180 * u.deg).hour * 60.0
        # ten minutes past the meridian at most on the eastern side; a flip waits for the meridian
        assert hour_angle_min[1] <= 10.5 or hour_angle_min[0] >= -0.5


def test_a_flip_waits_for_the_meridian(folder: Path) -> None:
    # astropy's sidereal time as the outside.
    from astropy import units as u
    from astropy.time import Time

    from nightplan.model.starter import demo_config
    from nightplan.planning.tonight.earth_orientation import configure_astropy

    configure_astropy()
    longitude = demo_config().site.longitude_deg * u.deg
    plan = document("plan", "M 33", "--date", "2027-10-06", folder=folder)
    flips = [event for event in plan["events"] if event["kind"] == "flip"]
    assert flips
    for flip in flips:
        start = Time(flip["start_utc"][:-1], scale="utc")
        sidereal = start.sidereal_time("apparent", longitude=longitude)
        right_ascension = plan["blocks"][0]["ra_deg"] * u.deg
        # precession since J2000 moves M 33 by about a minute and a half of sidereal time
        hour_angle_min = (sidereal - right_ascension).wrap_at(180 * u.deg).hour * 60.0
        assert -0.1 < hour_angle_min - 1.6 < 11.0


def test_a_replan_keeps_the_past_and_what_was_really_shot(
    folder: Path, plan: dict[str, Any]
) -> None:
    later = "2027-10-07T00:30:00Z"
    before = [row for row in plan["blocks"] if moment(row["end_utc"]) <= moment(later)]
    assert before
    again = document("plan", "--from", later, "--keep", "plan.json", folder=folder)
    assert again["blocks"][: len(before)] == [
        {**row, "why": again["blocks"][i]["why"]} for i, row in enumerate(before)
    ]
    check_invariants(again)
    check_objective(again)
    name = before[0]["filter"]
    shot = sum(row["count"] for row in before if row["filter"] == name) - 1
    fewer = document(
        "plan", "--from", later, "--keep", "plan.json", "--done", f"{name}={shot}", folder=folder
    )
    kept = [row for row in fewer["blocks"] if moment(row["start_utc"]) < moment(later)]
    assert sum(row["count"] for row in kept if row["filter"] == name) == shot
    check_invariants(fewer)


def test_bad_replans_are_one_line(folder: Path, plan: dict[str, Any]) -> None:
    assert plan
    later = ("--from", "2027-10-07T00:30:00Z")
    done = run("plan", *later, "--keep", "plan.json", "--done", "B=9999", folder=folder)
    assert_one_line_error(done, "--done", "B=9999", "at most", "--from")
    assert_one_line_error(run("plan", *later, "--done", "Q=3", folder=folder), "--done", "OIII")
    done = run("plan", "--from", "0110", folder=folder)
    assert_one_line_error(done, "--from", "0110", "ISO 8601", "2027-10-07T01:10:00Z")
    assert_one_line_error(run("plan", "--keep", "plan.json", folder=folder), "--from")
    (folder / "torn.json").write_text('{"blocks": [', encoding="utf-8")
    assert_one_line_error(run("plan", *later, "--keep", "torn.json", folder=folder), "torn.json")
    (folder / "other.json").write_text("[]", encoding="utf-8")
    assert_one_line_error(run("plan", *later, "--keep", "other.json", folder=folder), "other.json")


def test_the_plot_is_saved_and_a_wrong_ending_stops_before_work(folder: Path) -> None:
    done = run("demo", "--plot", "night.svg", folder=folder)
    assert done.returncode == 0, done.stderr
    text = (folder / "night.svg").read_text(encoding="utf-8")
    assert "</svg>" in text
    assert_one_line_error(run("demo", "--plot", "night.gif", folder=folder), "night.gif", ".png")


def test_the_text_fits_80_columns(folder: Path) -> None:
    done = run("plan", "M 33", "--date", "2027-10-06", folder=folder)
    assert done.returncode == 0
    assert max(len(line) for line in done.stdout.splitlines()) <= 80


def test_an_impossible_wish_is_an_answer(folder: Path) -> None:
    south = document("plan", "NGC 104", "--date", "2027-10-06", folder=folder)
    assert south["blocks"] == []
    assert south["blocks_reason"]
    assert sum(south["ledger"].values()) > 0.0
    assert_one_line_error(run("plan", "NGC 99999x", folder=folder), "NGC 99999x")


@pytest.mark.parametrize(
    ("latitude", "zone", "date", "kind"),
    [
        ("68.0", "Europe/Oslo", "2027-06-21", "none"),
        ("58.0", "Europe/Oslo", "2027-06-21", "none"),
        ("53.0", "Europe/London", "2027-06-21", "nautical"),
        ("-77.8", "Pacific/Auckland", "2027-06-21", "astronomical"),
        ("80.0", "Etc/UTC", "2027-12-21", "astronomical"),
    ],
)
def test_bright_and_polar_nights_give_a_whole_document(
    tmp_path: Path, latitude: str, zone: str, date: str, kind: str
) -> None:
    text = starter_text().replace("latitude_deg = 38.60", f"latitude_deg = {latitude}")
    text = text.replace("Europe/Lisbon", zone)
    (tmp_path / "nightplan.toml").write_text(text, encoding="utf-8")
    found = document("plan", "--date", date, folder=tmp_path)
    assert found["window_kind"] == kind
    if kind == "none":
        assert found["blocks"] == []
        assert found["blocks_reason"] == "no_darkness"
        assert found["window_start_utc"] is None
        assert found["window_start_utc_reason"]
    else:
        check_invariants(found)
