"""What a person at a terminal is told while a command works, and that a pipe is told nothing."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import types

import pytest

from nightplan.cli.common import doing

WORKING = [
    (["frame", "M 33"], "laying the fields over the sky ..."),
    (["exposure", "M 33"], "weighing the night, filter by filter ..."),
    (["season", "M 33"], "going through the year ..."),
]


class Screen(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_words_are_wiped_when_the_next_begin(monkeypatch):
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    with doing("one thing") as say:
        say("another")
    # A carriage return goes to the line's start (ECMA-48): what is written then covers it.
    line = ""
    for part in screen.getvalue().split("\r"):
        line = part + line[len(part) :]
    assert line.strip() == ""
    assert "one thing ..." in screen.getvalue()
    assert "another ..." in screen.getvalue()


@pytest.mark.posix
@pytest.mark.parametrize(("words", "told"), WORKING, ids=lambda value: str(value[0]))
def test_a_terminal_is_told_and_a_pipe_is_not(config_file, words, told):
    code = "from nightplan.__main__ import main; main()"
    command = [sys.executable, "-c", code, *words]
    command += ["--config", str(config_file), "--date", "2027-10-06"]
    ours, theirs = os.openpty()
    shown = subprocess.run(command, stdout=subprocess.PIPE, stderr=theirs, check=True)
    os.close(theirs)
    screen = b""
    try:
        while piece := os.read(ours, 4096):
            screen += piece
    except OSError:
        pass  # Linux says so when the other end is closed
    os.close(ours)
    assert told in screen.decode()
    piped = subprocess.run(command, capture_output=True, check=True)
    assert piped.stderr == b""
    assert piped.stdout == shown.stdout


@pytest.mark.posix
@pytest.mark.parametrize(("colour", "styled"), [("auto", True), ("never", False)])
def test_bold_is_bold_on_a_terminal(config_file, colour, styled):
    """SGR sequences (ECMA-48) reach the terminal as they are, not escaped for reading."""
    ours, theirs = os.openpty()
    code = "from nightplan.__main__ import main; main()"
    command = [sys.executable, "-c", code, "check", "--config", str(config_file)]
    env = {**os.environ, "TERM": "xterm"}
    env.pop("NO_COLOR", None)
    subprocess.run([*command, "--color", colour], stdout=theirs, check=True, env=env)
    os.close(theirs)
    shown = b""
    try:
        while piece := os.read(ours, 4096):
            shown += piece
    except OSError:
        pass
    os.close(ours)
    assert (b"\x1b[1m" in shown) is styled
    assert b"u001b" not in shown


def test_a_module_that_is_still_imported_stops_no_progress(monkeypatch):
    """The line ticks in a thread of its own while the main one imports the solver."""
    name = "nightplan.planning.schedule.solving.compiled"
    monkeypatch.setitem(sys.modules, name, types.ModuleType(name))
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    with doing("solving"):
        pass
    assert "solving ..." in screen.getvalue()
