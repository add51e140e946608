"""Runs the command line as a user would, in a process of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any


def run(*args: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run `nightplan` with arguments in a folder; never raises for its exit status."""
    return subprocess.run(
        [sys.executable, "-m", "nightplan", *args],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )


def document(*args: str, folder: Path) -> Any:
    """Run with --json and read the one document on standard output."""
    done = run(*args, "--json", folder=folder)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def assert_one_line_error(done: subprocess.CompletedProcess[str], *parts: str) -> None:
    """Exit status 2, one line on standard error that holds `parts`, no traceback."""
    assert done.returncode == 2, done.stdout + done.stderr
    assert done.stderr.count("\n") == 1, done.stderr
    assert "Traceback" not in done.stderr
    for part in parts:
        assert part in done.stderr
