"""Commands that the program prints, run as printed: spaces in names, another configuration, the
end of summer time; plans kept, of this site and of others."""

from __future__ import annotations

import html
import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest

from nightplan.model.config import load_config
from nightplan.model.starter import starter_text
from nightplan.report.wording.printed_command import quoted, replan_command
from tests.cli.running import assert_one_line_error, document, run

CONFIG = "back garden.toml"
TARGET = "Lantern: east wing"
OWN = f"""
[target."{TARGET}"]
ra_deg = 23.46
dec_deg = 30.66
major_arcmin = 40.0
minor_arcmin = 30.0
kind = "emission_nebula"
"""


def renamed(text: str) -> str:
    """The starter with a filter whose name holds blanks."""
    return text.replace("[filter.Ha]", '[filter."Ha 3nm"]')


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("printed")
    (path / CONFIG).write_text(renamed(starter_text()) + OWN, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def saved(folder: Path) -> tuple[dict[str, Any], str]:
    """The plan of the night in which summer time ends, and what was printed with it."""
    done = run("plan", TARGET, "--config", CONFIG, "--date", "2027-10-30",
               "--save", "the plan.json", folder=folder)  # fmt: skip
    assert done.returncode == 0, done.stderr
    return json.loads((folder / "the plan.json").read_text(encoding="utf-8")), done.stdout


def as_typed(command: str, **changes: str) -> list[str]:
    words = shlex.split(command)
    assert words[0] == "nightplan"
    return [changes.get(word, word) for word in words[1:]]


def test_the_printed_replan_runs_as_printed(folder: Path, saved) -> None:
    plan, text = saved
    command = re.search(r"^In the night: (.*)$", text, re.MULTILINE)[1]
    assert f'--config "{CONFIG}"' in command
    # The clock of the test is not in that night: a time of it stands in for now.
    done = run(*as_typed(command, now="02:30+00:00"), folder=folder)
    assert done.returncode == 0, done.stderr
    again = json.loads((folder / "the plan.json").read_text(encoding="utf-8"))
    assert again["from_utc"] >= "2027-10-31T02:30:00Z"
    assert {row["target"] for row in again["blocks"]} == {TARGET}
    twice = run(*as_typed(command, now="01:30"), folder=folder)
    assert_one_line_error(twice, "--from", "01:30+01:00 or 01:30+00:00")
    assert plan["site"] == "Hollow Ridge"
    assert "112 mm" in plan["rig"]


def test_counts_with_names_of_any_kind(folder: Path, saved) -> None:
    plan, _ = saved
    (folder / "p.json").write_text(json.dumps(plan), encoding="utf-8")
    block = next(row for row in plan["blocks"] if row["count"] >= 2)
    wanted = {row["filter"] for row in plan["progress"]}
    assert "Ha 3nm" in wanted
    shot = [(TARGET, name, 2) for name in sorted(wanted - {block["filter"]})[:2]]
    shot.append((TARGET, block["filter"], 1))
    command = replan_command(plan, load_config(folder / CONFIG), "p.json", shot, start="04:00")
    done = run(*as_typed(command), "--json", folder=folder)
    assert done.returncode == 0, done.stderr
    again = json.loads(done.stdout)
    for _, name, count in shot:
        before = [r for r in again["blocks"] if r["filter"] == name
                  and r["start_utc"] < "2027-10-31T04:00:00Z"]  # fmt: skip
        assert sum(row["count"] for row in before) == count


def test_the_sheet_of_a_kept_plan_is_that_plan(folder: Path, saved) -> None:
    plan, _ = saved
    (folder / "keep me.json").write_text(json.dumps(plan), encoding="utf-8")
    found = document("sheet", "--config", CONFIG, "--keep", "keep me.json", "--quick",
                     "--output", "s.html", folder=folder)  # fmt: skip
    assert found["date"] == "2027-10-30"
    assert found["blocks"] == len(plan["blocks"])
    page = (folder / "s.html").read_text(encoding="utf-8")
    for row in plan["blocks"]:
        assert f"{row['count']} × {row['sub_s']:g} s" in page
    printed = html.unescape(re.search(r"<code>(nightplan plan .*?)</code>", page)[1])
    done = run(*as_typed(printed, now="02:30+00:00"), folder=folder)
    assert done.returncode == 0, done.stderr
    later = document("sheet", "--config", CONFIG, "--keep", "keep me.json", "--from", "04:00",
                     "--output", "s.html", "--quick", folder=folder)  # fmt: skip
    assert later["blocks"] >= 1


def test_the_page_to_turn_the_camera_on_prints_a_command_that_runs(folder: Path) -> None:
    done = run("frame", TARGET, "--config", CONFIG, "--date", "2027-10-06", "--page", "page.html",
               folder=folder)  # fmt: skip
    assert done.returncode == 0, done.stderr
    page = (folder / "page.html").read_text(encoding="utf-8")
    data = json.loads(re.search(r'type="application/json"[^>]*>(.*?)</script>', page)[1])
    words = as_typed(data["command"], TRAIN="reducer", ANGLE="61")
    done = run(*words, "--date", "2027-10-06", folder=folder)
    assert done.returncode == 0, done.stderr
    assert "61" in done.stdout


def test_plans_of_other_sites_and_rigs_are_refused_with_both_names(folder: Path, saved) -> None:
    plan, _ = saved
    (folder / "kept.json").write_text(json.dumps(plan), encoding="utf-8")
    south = (folder / CONFIG).read_text(encoding="utf-8").replace("Hollow Ridge", "South Rim")
    (folder / "south.toml").write_text(south, encoding="utf-8")
    other = (folder / CONFIG).read_text(encoding="utf-8").replace("aperture_mm = 112",
                                                                  "aperture_mm = 90")  # fmt: skip
    (folder / "small.toml").write_text(other, encoding="utf-8")
    for command in (("plan",), ("sheet", "--output", "no.html")):
        common = ("--keep", "kept.json", "--from", "04:00")
        done = run(*command, *common, "--config", "south.toml", folder=folder)
        assert_one_line_error(done, "kept.json", "Hollow Ridge", "South Rim")
        done = run(*command, *common, "--config", "small.toml", folder=folder)
        assert_one_line_error(done, "kept.json", "112 mm", "90 mm")
    done = run("sheet", "--output", "no.html", "--keep", "kept.json", "--config", "south.toml",
               folder=folder)  # fmt: skip
    assert_one_line_error(done, "South Rim")
    done = run("sheet", "--output", "no.html", "--keep", "kept.json", "--config", CONFIG,
               "--date", "2027-10-06", folder=folder)  # fmt: skip
    assert_one_line_error(done, "date", "2027-10-30", "2027-10-06")
    assert not (folder / "no.html").exists()


def test_commands_in_messages_carry_the_configuration(folder: Path, saved) -> None:
    assert saved
    done = run("angle", "--target", "M 31", "--image-up", "3", "--config", CONFIG, folder=folder)
    assert_one_line_error(done, f'`nightplan frame --config "{CONFIG}" --record`')
    (folder / "no plan.json").write_text("{}", encoding="utf-8")
    done = run("plan", "--keep", "no plan.json", "--from", "now", "--config", CONFIG, folder=folder)
    assert_one_line_error(done, f'`nightplan plan --config "{CONFIG}" --save FILE`')
    done = run("night", "--config", "none yet.toml", folder=folder)
    assert_one_line_error(done, '`nightplan start --config "none yet.toml"` writes one')
    assert_one_line_error(run("night", folder=folder), "`nightplan start` writes one")
    journal = folder / "nightplan-journal.db"
    journal.write_bytes(b"no journal")
    try:
        done = run("collect", "--check", "--config", CONFIG, folder=folder)
        assert done.returncode == 2
        command = f'`nightplan collect --config "{CONFIG}" --check`'
        assert_one_line_error(run("plan", "--config", CONFIG, folder=folder), command)
    finally:
        journal.unlink()


def test_a_filter_counted_twice_over_is_refused(folder: Path, saved) -> None:
    assert saved
    done = run("plan", "--config", CONFIG, "--keep", "kept.json", "--from", "04:00",
               "--done", f"{TARGET}:SII=2", "--done", "SII=3", folder=folder)  # fmt: skip
    assert_one_line_error(done, "--done", "either SII=COUNT")


def test_the_rig_and_site_of_a_file_with_several_are_told(folder: Path, saved) -> None:
    plan, _ = saved
    text = (folder / CONFIG).read_text(encoding="utf-8")
    more = """
[other_site."Far Moor"]
latitude_deg = 38.0
longitude_deg = -7.0
elevation_m = 300
timezone = "Europe/Lisbon"
sky_mag_arcsec2 = 21.6
lamp_light = "natural"
"""
    (folder / "two.toml").write_text(text + more, encoding="utf-8")
    config = load_config(folder / "two.toml", site="Far Moor")
    assert '--site "Far Moor"' in replan_command(plan, config, None)


@pytest.mark.parametrize(
    ("word", "typed"),
    [("L=3", "L=3"), ("Ha 3nm=3", '"Ha 3nm=3"'), ("a\"b", "'a\"b'"), ("$HOME", "'$HOME'"),
     ("", "''"), ("é", '"é"'), ("plan.json", "plan.json")],
)  # fmt: skip
def test_quoting(word: str, typed: str) -> None:
    assert quoted(word) == typed
    assert shlex.split(typed) == [word]
