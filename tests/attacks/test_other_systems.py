"""What other systems lack, taken away here: names of POSIX, a zone database, a UTF-8 console."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from nightplan.cli.stopping import _known
from nightplan.cli.streams import prepare_environment
from nightplan.files import read_text, write_whole

ROOT = Path(__file__).parents[2]
# Python documents each as available on Unix alone (library reference, os and signal).
UNIX_ALONE = ("getuid", "O_NONBLOCK", "O_CLOEXEC", "fchmod", "mkfifo", "openpty", "umask")


@pytest.fixture
def no_unix(monkeypatch):
    for name in UNIX_ALONE:
        monkeypatch.delattr(os, name, raising=False)
    monkeypatch.delattr(signal, "SIGHUP", raising=False)


def test_files_are_written_and_read(tmp_path, no_unix):
    for text in ("one", "two"):
        write_whole(tmp_path / "plan.json", text)
        assert read_text(tmp_path / "plan.json") == text
    assert os.listdir(tmp_path) == ["plan.json"]


def test_caches_find_a_place_without_users(tmp_path, monkeypatch, no_unix):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr("nightplan.cli.streams._can_be_written", lambda p: p.parent == tmp_path)
    monkeypatch.delenv("MPLCONFIGDIR", raising=False)
    prepare_environment()
    assert os.environ["MPLCONFIGDIR"] == str(tmp_path / "nightplan-user")


def test_signals_that_are_not_there_are_left_out(no_unix):
    assert {number.name for number in _known()} == {"SIGINT", "SIGTERM"}


def run(*words: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "nightplan", *words],
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )


def test_zones_come_from_the_package_where_the_system_has_none(config_file):
    """An empty PYTHONTZPATH leaves zoneinfo the tzdata package alone (PEP 615)."""
    words = ("night", "--config", str(config_file), "--date", "2027-10-06")
    plain, bare = run(*words), run(*words, PYTHONTZPATH="")
    assert plain.returncode == bare.returncode == 0
    assert plain.stdout == bare.stdout
    assert b"+01:00" in bare.stdout  # summer time in Portugal until 31 October 2027 (EU rule)


def test_a_console_of_western_letters_shows_all(config_file):
    """The usual code page of Windows consoles in western Europe lacks the minus sign."""
    words = ("night", "--config", str(config_file), "--date", "2027-10-06")
    done = run(*words, PYTHONIOENCODING="cp1252", PYTHONUTF8="0")
    assert (done.returncode, done.stderr) == (0, b"")
    assert "sun at \\u22126°".encode("cp1252") in done.stdout
