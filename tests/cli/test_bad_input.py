"""Bad input of many kinds: exit status 2 and one line that names what is wrong."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.running import assert_one_line_error, run


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("campaign", "--nights", "x"), "--nights"),
        (("campaign", "--nights", "100000"), "--nights"),
        (("frame", "M 51", "--angle", "north"), "--angle"),
        (("angle", "--rotator", "5000"), "--rotator"),
        (("angle", "--position-angle", "3", "--pier", "north"), "'east', 'west'"),
        (("pick", "--count", "0"), "1<=x<=500"),
        (("pick", "--larger", "nan"), "--larger"),
        (("pick", "--smaller", "-3"), "--smaller"),
        (("pick", "--brighter", "inf"), "--brighter"),
        (("season", "M 31", "--least-hours", "nan"), "--least-hours"),
        (("sheet", "--output", "x.html", "--style", "dark"), "--style"),
        (("sheet", "--output", "x.pdf"), ".html or .htm"),
        (("night", "--date", "20271006"), "YYYY-MM-DD"),
        (("night", "--date", "2027-W40-3"), "YYYY-MM-DD"),
    ],
)
def test_a_bad_value_is_one_line(config_file: Path, words: tuple[str, ...], part: str) -> None:
    assert_one_line_error(run(*words, folder=config_file.parent), part)


def test_a_full_disk_behind_standard_output_is_one_line(config_file: Path) -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("no /dev/full on this system")
    with full.open("w") as stream:
        done = subprocess.run(
            [sys.executable, "-m", "nightplan", "night", "--date", "2027-10-06", "--json"],
            cwd=config_file.parent,
            stdout=stream,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            timeout=60,
        )
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "standard output" in done.stderr


def test_a_byte_order_mark_is_no_error(config_file: Path) -> None:
    config_file.write_bytes(b"\xef\xbb\xbf" + config_file.read_bytes())
    done = run("night", "--date", "2027-10-06", "--json", folder=config_file.parent)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["date"] == "2027-10-06"


def test_a_preferred_target_that_is_none_names_its_key(config_file: Path) -> None:
    text = config_file.read_text(encoding="utf-8")
    asked = text.replace("[preferences]", '[preferences]\ntargets = ["Foo"]', 1)
    config_file.write_text(asked, encoding="utf-8")
    done = run("plan", folder=config_file.parent)
    assert_one_line_error(done, "nightplan.toml: preferences.targets = 'Foo'")


def test_a_plan_or_a_time_of_another_night_is_refused(config_file: Path) -> None:
    folder = config_file.parent
    plan = {
        "train": "flattener",
        "window_start_utc": "2027-10-06T19:33:48Z",
        "blocks": [],
        "events": [],
    }
    (folder / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    words = ("plan", "M 31", "--date", "2027-10-08", "--from")
    done = run(*words, "2027-10-08T23:00:00Z", "--keep", "plan.json", folder=folder)
    assert_one_line_error(done, "--keep", "2027-10-06T19:33:48Z")
    assert_one_line_error(run(*words, "2027-10-06T23:00:00Z", folder=folder), "--from")
    (folder / "plan.json").write_text(json.dumps({**plan, "train": "other"}), encoding="utf-8")
    done = run(*words, "2027-10-08T23:00:00Z", "--keep", "plan.json", folder=folder)
    assert_one_line_error(done, "plan.json: train = 'other'", "flattener, reducer")
