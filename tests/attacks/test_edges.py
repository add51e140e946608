"""Dates at the ends of the calendar, an environment that is set for something else, many trains."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from nightplan.cli.main import run
from nightplan.cli.streams import prepare_environment

ROOT = Path(__file__).parents[2]
FAR = [
    "0001-01-01T00:00:00Z", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00",
    "9999-12-31T23:59:59.999999Z", "1582-10-10T00:00:00Z", "2027-10-06T25:00:00Z",
]  # fmt: skip


@pytest.mark.parametrize("moment", FAR)
@pytest.mark.parametrize(
    "words",
    [
        ["plan", "M 33", "--from"],
        ["plan", "M 33", "--date", "2027-10-06", "--from"],
        ["exposure", "M 33", "--time"],
    ],
    ids="-".join,
)
def test_a_far_moment_is_told(config_file, capsys, words, moment):
    assert run([*words, moment, "--config", str(config_file)]) == 2
    shown = capsys.readouterr().err
    assert shown.count("\n") == 1
    assert words[-1] in shown
    assert moment in shown


@pytest.mark.parametrize("date", ["0001-01-01", "1899-12-31", "2199-12-31"])
@pytest.mark.parametrize("command", [["night"], ["season", "M 33"]], ids=str)
def test_a_far_date_is_told(config_file, capsys, command, date):
    assert run([*command, "--date", date, "--config", str(config_file)]) == 2
    assert "1900-01-01 to 2199-12-30" in capsys.readouterr().err


@pytest.mark.parametrize("date", ["1900-01-01", "2199-12-30"])
def test_the_first_and_the_last_date_are_worked(config_file, capsys, date):
    assert run(["night", "--date", date, "--json", "--config", str(config_file)]) == 0
    assert capsys.readouterr().err == ""


@pytest.mark.posix
@pytest.mark.parametrize(
    "environment",
    [
        {"MPLBACKEND": "nonsense"},
        {"MPLBACKEND": "module://nowhere"},
        {"HOME": "/dev/null/home", "XDG_CACHE_HOME": "/dev/null/home"},
        {"HOME": "", "LANG": "C", "LC_ALL": "C", "PYTHONUTF8": "0"},
    ],
    ids=str,
)
def test_an_environment_set_for_something_else(config_file, environment):
    done = subprocess.run(
        [sys.executable, "-m", "nightplan", "season", "M 33", "--plot", "s.png",
         "--date", "2027-10-06"],
        cwd=config_file.parent, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert (config_file.parent / "s.png").stat().st_size > 10_000


@pytest.mark.posix
def test_caches_go_to_a_temporary_place(tmp_path, monkeypatch):
    monkeypatch.delenv("MPLCONFIGDIR", raising=False)
    monkeypatch.setenv("XDG_CACHE_HOME", "/dev/null/home")
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    prepare_environment()
    folder = Path(os.environ["MPLCONFIGDIR"])
    assert folder.parent == tmp_path
    assert folder.stat().st_mode & 0o077 == 0
    monkeypatch.setenv("MPLCONFIGDIR", str(tmp_path / "mine"))
    prepare_environment()
    assert os.environ["MPLCONFIGDIR"] == str(tmp_path / "mine")
