"""A simulated night through `follow`: subs fall as the plan in force has them, clouds come, the
program is killed and started again.

The rig is simulated here, after the plan that lies on the disk; its files are written by astropy.
What must hold follows from counting those files.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import nightplan
from nightplan.errors import InputError
from nightplan.journal import Journal
from nightplan.library import losses
from nightplan.library.following import Follower, plan_file_of
from nightplan.library.watching import FolderEvents
from nightplan.model.config import load_config
from nightplan.model.starter import starter_text
from nightplan.planning.schedule.standing import standing
from nightplan.report.texts.review_text import follow_line
from nightplan.sky.times import mjd_from_iso
from tests.cli.running import assert_one_line_error, document

HOUR = dt.timedelta(hours=1)
EVENING = dt.date(2027, 10, 6)
CLOUDS = ("2027-10-06T22:40:00Z", "2027-10-06T23:50:00Z")


def moment(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text).astimezone(dt.UTC)


class Rig:
    """Shoots what the plan in force says, and nothing under clouds."""

    def __init__(self, folder: Path, focal_mm: float) -> None:
        self.folder = folder
        self.focal_mm = focal_mm
        self.shot: dict[tuple[str, str], int] = {}
        self.busy_until = moment("2027-10-06T12:00:00Z")

    def run(self, plan: dict[str, Any], start: dt.datetime, end: dt.datetime) -> None:
        """Write the subs of a plan that end in (start, end]."""
        clouds = [moment(text) for text in CLOUDS]
        for block in plan["blocks"]:
            begin = moment(block["start_utc"])
            each = (moment(block["end_utc"]) - begin) / block["count"]
            for number in range(block["count"]):
                opened = begin + number * each
                closed = opened + dt.timedelta(seconds=block["sub_s"])
                if not start < closed <= end or opened < self.busy_until:
                    continue
                if opened < clouds[1] and closed > clouds[0]:
                    continue
                self.busy_until = closed
                self.write(block, opened)

    def write(self, block: dict[str, Any], opened: dt.datetime) -> None:
        from astropy.io import fits

        pair = (block["target"], block["filter"])
        self.shot[pair] = self.shot.get(pair, 0) + 1
        header = fits.Header(
            {
                "DATE-OBS": opened.replace(tzinfo=None).isoformat(timespec="milliseconds"),
                "EXPTIME": block["sub_s"],
                "FILTER": block["filter"],
                "IMAGETYP": "Light Frame",
                "OBJECT": block["target"],
                "FOCALLEN": self.focal_mm,
            }
        )
        name = f"{sum(self.shot.values()):04d}.fits"
        fits.PrimaryHDU(np.zeros((4, 6), dtype=np.uint16), header).writeto(self.folder / name)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("follow")
    (path / "nightplan.toml").write_text(starter_text(), encoding="utf-8")
    plan = document("plan", "M 33", "NGC 281", "--date", "2027-10-06", folder=path)
    (path / "first.json").write_text(json.dumps(plan), encoding="utf-8")
    return path


def follower(home: Path, captures: Path, **more: Any) -> Follower:
    config = load_config(home / "nightplan.toml")
    more.setdefault("plan_file", plan_file_of(config, EVENING))
    return Follower(config, captures, EVENING, quick=True, **more)


@pytest.fixture(scope="module")
def lived(home: Path) -> dict[str, Any]:
    """The whole night: ten-minute steps, one kill under the clouds."""
    captures = home / "captures"
    captures.mkdir()
    sheet = home / "tonight.html"
    one = follower(home, captures, keep=home / "first.json", sheet=sheet)
    rig = Rig(captures, 588.0)
    at = moment("2027-10-06T19:30:00Z")
    end = moment("2027-10-07T05:20:00Z")
    steps = []
    lines = []
    sheets = {sheet.read_bytes()}
    while at < end:
        then = at + dt.timedelta(minutes=10)
        plan = json.loads(one.plan_file.read_text(encoding="utf-8"))
        rig.run(plan, at, then)
        at = then
        if at == moment("2027-10-06T23:30:00Z"):
            # Killed: all that the next one knows lies on the disk.
            del one
            one = follower(home, captures, sheet=sheet)
            assert one.planned.document.model_dump(mode="json") == plan
        step = one.step(at, patient=False)
        steps.append(step)
        lines.append(follow_line(step.plan, step.standing, step.now_utc))
        sheets.add(sheet.read_bytes())
    return {"steps": steps, "rig": rig, "lines": lines, "one": one, "sheets": len(sheets)}


def test_each_sub_is_in_the_journal_once(home: Path, lived) -> None:
    rig, steps = lived["rig"], lived["steps"]
    total = sum(rig.shot.values())
    assert total > 40
    assert sum(step.added for step in steps) == total
    with Journal.of(load_config(home / "nightplan.toml")) as journal:
        subs = journal.subs(evening=EVENING)
    assert len({sub.identity for sub in subs}) == len(subs) == total
    assert {(s.target, s.filter) for s in subs} == set(rig.shot)


def test_clouds_bring_a_new_plan_and_a_clear_sky_none(lived) -> None:
    replanned = [step.now_utc for step in lived["steps"] if step.replanned]
    assert replanned
    lost = [step.lost_min for step in lived["steps"] if step.replanned]
    assert all(minutes > 15.0 for minutes in lost)
    # The first gap shows a quarter of an hour after the clouds came; none before.
    assert moment(CLOUDS[0]) < replanned[0] < moment(CLOUDS[1]) + dt.timedelta(minutes=20)
    assert replanned[-1] <= moment(CLOUDS[1]) + dt.timedelta(minutes=40)
    assert 2 <= lived["sheets"] <= len(replanned) + 2
    assert not [step.refused for step in lived["steps"] if step.refused]


def test_the_plan_at_dawn_is_what_was_shot(lived) -> None:
    last, rig = lived["steps"][-1], lived["rig"]
    assert last.standing.shot == rig.shot
    again = next(step for step in reversed(lived["steps"]) if step.replanned)
    # What a re-plan takes as shot is what was shot by then: no more, no less.
    assert again.standing.missing_min == again.standing.beyond_min == 0.0
    kept = sum(
        row["count"] for row in again.plan["blocks"] if row["start_utc"] < again.plan["from_utc"]
    )
    assert kept == sum(again.standing.shot.values())
    assert last.standing.missing_min < 15.0


def test_lines_say_what_is_next_and_when(lived) -> None:
    assert all(re.match(r"\d\d:\d\d  \S", line) for line in lived["lines"])
    wanted = re.compile(r"× \d+ s, \d+ subs? shot until \d\d:\d\d; then .* at \d\d:\d\d")
    assert sum(bool(wanted.search(line)) for line in lived["lines"]) > 15
    assert any("meridian flip at" in line and "(in " in line for line in lived["lines"])
    assert "All is done: flats, then tear down." in lived["lines"][-1]


def test_nothing_is_counted_twice_when_tonight_is_planned_anew(home: Path, lived) -> None:
    # What tonight shot is the plan's past; it is not gathered by earlier nights too.
    plan = lived["one"].planned.document
    assert all(row.gathered_h == 0.0 for row in plan.progress)
    shot_h: dict[tuple[str, str], float] = {}
    for row in plan.blocks:
        pair = (row.target, row.filter)
        shot_h[pair] = shot_h.get(pair, 0.0) + row.count * row.sub_s / 3600.0
    for row in plan.progress:
        assert row.tonight_clock_h == pytest.approx(shot_h.get((row.target, row.filter), 0.0),
                                                    abs=0.01)  # fmt: skip


def test_a_file_is_taken_when_it_has_stopped_growing(home: Path, tmp_path: Path) -> None:
    captures = tmp_path / "slow"
    captures.mkdir()
    one = follower(home, captures, plan_file=tmp_path / "p.json", keep=home / "first.json")
    rig = Rig(captures, 588.0)
    block = json.loads((home / "first.json").read_text(encoding="utf-8"))["blocks"][0]
    rig.write(block, moment("2027-10-06T19:40:07Z"))
    whole = (captures / "0001.fits").read_bytes()
    now = moment("2027-10-06T20:00:00Z")
    (captures / "0001.fits").write_bytes(whole[:3000])
    assert one.step(now).added == 0
    (captures / "0001.fits").write_bytes(whole)
    assert one.step(now).added == 0
    assert one.unsettled
    assert one.step(now).added == 1
    assert one.step(now).added == 0
    assert not one.unsettled


def test_another_nights_plan_is_refused(home: Path, tmp_path: Path) -> None:
    config = load_config(home / "nightplan.toml")
    with pytest.raises(InputError, match="the night of 2027-10-07"):
        Follower(config, tmp_path, dt.date(2027, 10, 7), tmp_path / "p.json",
                 keep=home / "first.json")  # fmt: skip


def test_standing_counts_by_hand() -> None:
    block = {"target": "M 33", "filter": "L", "start_utc": "2027-10-06T20:00:00Z",
             "end_utc": "2027-10-06T21:00:00Z", "count": 12, "sub_s": 295.0}  # fmt: skip
    plan = {"blocks": [block], "progress": [{"target": "M 33", "filter": "L"}]}
    # 20:31: six subs of five minutes are over and had a minute to arrive.
    found = standing(plan, [], mjd_from_iso("2027-10-06T20:31:00Z"))
    assert found.planned == {("M 33", "L"): 6}
    assert found.missing_min == pytest.approx(6 * 295.0 / 60.0)
    assert found.done == {("M 33", "L"): 0}


def test_events_wake_the_loop(tmp_path: Path) -> None:
    with FolderEvents(tmp_path) as events:
        (tmp_path / "new.fits").write_bytes(b"x")
        began = time.monotonic()
        events.wait(30.0)
        assert time.monotonic() - began < 25.0


def test_subs_are_taken_while_the_answers_to_clouds_are_solved(
    home: Path, tmp_path: Path, monkeypatch
) -> None:
    captures, sheet = tmp_path / "captures", tmp_path / "tonight.html"
    captures.mkdir()
    (tmp_path / "nightplan.toml").write_text(starter_text(), encoding="utf-8")
    config = load_config(tmp_path / "nightplan.toml")
    plan = json.loads((home / "first.json").read_text(encoding="utf-8"))
    rig, now = Rig(captures, 588.0), moment("2027-10-06T20:10:00Z")
    solve = losses._answer
    taken: list[Any] = []

    def solved(*args: Any) -> Any:
        # While one is solved a sub falls, and the loop takes it before the next.
        rig.write(plan["blocks"][0], moment("2027-10-06T20:00:00Z") + len(taken) * HOUR / 60)
        taken.append(one.step(now, patient=False).added)
        return solve(*args) if len(taken) == 1 else None

    monkeypatch.setattr(losses, "_answer", solved)
    one = Follower(config, captures, EVENING, tmp_path / "p.json", keep=home / "first.json",
                   sheet=sheet, behind_min=600.0)  # fmt: skip
    assert "If you lose an hour" not in sheet.read_text(encoding="utf-8")
    calls = 1
    while one.better_sheet():
        calls += 1
        assert len(taken) == calls - 1
    assert set(taken) == {1}
    assert calls > 5 * len(plan["blocks"])
    assert "If you lose an hour" in sheet.read_text(encoding="utf-8")
    assert not one.better_sheet()


def test_the_command_killed_and_restarted_and_ended_by_the_keyboard(home: Path, tmp_path) -> None:
    captures = tmp_path / "captures"
    captures.mkdir()
    (tmp_path / "nightplan.toml").write_text(starter_text(), encoding="utf-8")
    common = [sys.executable, "-m", "nightplan", "follow", str(captures), "--date", "2027-10-06",
              "--save", "force.json", "--every", "1", "--quick"]  # fmt: skip
    plan = json.loads((home / "first.json").read_text(encoding="utf-8"))
    rig = Rig(captures, 588.0)
    rig.run(plan, moment("2027-10-06T19:00:00Z"), moment("2027-10-06T21:00:00Z"))
    shot = sum(rig.shot.values())
    first = subprocess.Popen(
        [*common, "--keep", str(home / "first.json"), "--at", "22:00", "--speed", "30"],
        cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert first.stdout is not None
    assert re.match(r"\d\d:\d\d  ", first.stdout.readline())
    first.kill()
    first.communicate(timeout=60)
    done = document(*common[3:], "--once", "--at", "22:05", folder=tmp_path)
    assert sum(row["shot_subs"] for row in done["standing"]) == shot
    assert done["line"].startswith("22:05  ")
    second = subprocess.Popen(
        [*common, "--at", "22:05"], cwd=tmp_path, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert second.stdout is not None
    second.stdout.readline()
    os.kill(second.pid, signal.SIGINT)
    out, err = second.communicate(timeout=60)
    assert second.returncode == 0, err
    assert out.splitlines()[-1].startswith("Stopped. 0 added to the journal")
    assert "Traceback" not in err
    with Journal.of(load_config(tmp_path / "nightplan.toml")) as journal:
        assert len(journal.subs()) == shot


def test_the_call_takes_what_is_there(home: Path, tmp_path: Path) -> None:
    captures = tmp_path / "captures"
    captures.mkdir()
    (tmp_path / "nightplan.toml").write_text(starter_text(), encoding="utf-8")
    config = load_config(tmp_path / "nightplan.toml")
    plan = json.loads((home / "first.json").read_text(encoding="utf-8"))
    Rig(captures, 588.0).write(plan["blocks"][0], moment("2027-10-06T20:00:00Z"))
    lines: list[str] = []
    found = nightplan.follow(config, captures, "2027-10-06", keep=home / "first.json", once=True,
                             behind="600 min", tell=lines.append)  # fmt: skip
    assert (found.added, found.replans) == (1, 0)
    assert len(lines) == 1
    assert plan_file_of(config, EVENING).exists()


def test_bad_input_is_one_line(home: Path) -> None:
    from tests.cli.running import run

    assert_one_line_error(run("follow", "nowhere", folder=home), "nowhere", "no such folder")
    done = run("follow", ".", "--date", "2027-10-06", "--at", "25:00", folder=home)
    assert_one_line_error(done, "--at", "25:00")
