"""`nightplan start` writes the starter and never overwrites."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from nightplan.model.config import load_config
from nightplan.model.starter import demo_config


def run(*args: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "nightplan", *args],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


def test_start_writes_a_valid_file_and_never_overwrites(tmp_path: Path) -> None:
    first = run("start", folder=tmp_path)
    assert first.returncode == 0, first.stderr
    file = tmp_path / "nightplan.toml"
    assert load_config(file) == demo_config()
    file.write_text("mine", encoding="utf-8")
    second = run("start", folder=tmp_path)
    assert second.returncode == 2
    assert second.stderr.count("\n") == 1
    assert "nightplan.toml" in second.stderr
    assert file.read_text(encoding="utf-8") == "mine"


def test_start_into_a_missing_folder_is_one_line(tmp_path: Path) -> None:
    done = run("start", "--config", "none/x.toml", folder=tmp_path)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "Traceback" not in done.stderr


def test_a_mistyped_command_names_the_near_one(tmp_path: Path) -> None:
    done = run("nigt", folder=tmp_path)
    assert done.returncode == 2
    assert "'night'" in done.stderr


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_gets_its_completion_script(shell: str) -> None:
    # click's own protocol: _NIGHTPLAN_COMPLETE=SHELL_source prints the script.
    done = subprocess.run(
        [str(Path(sys.executable).with_name("nightplan"))],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "_NIGHTPLAN_COMPLETE": f"{shell}_source"},
    )
    assert done.returncode == 0, done.stderr
    assert f"_NIGHTPLAN_COMPLETE={shell}_complete" in done.stdout
