"""A signal at any moment: one line, the shell's exit status, no draft left."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from nightplan.cli.main import run
from nightplan.cli.stopping import StoppedError

pytestmark = pytest.mark.posix

ROOT = Path(__file__).parents[2]
# The demo's plot takes about three seconds of one core: the moments spread over all of it.
MOMENTS_S = (0.12, 0.3, 0.6, 1.2, 2.4)


@pytest.fixture
def heeded():
    """A shell's background work ignores SIGINT, and so would the child."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("heeded")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("moment_s", MOMENTS_S)
def test_stopped_at_a_moment(tmp_path, number, moment_s):
    child = subprocess.Popen(
        [sys.executable, "-m", "nightplan", "demo", "--plot", "night.png"],
        cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    time.sleep(moment_s)
    child.send_signal(number)
    _, shown = child.communicate(timeout=60)
    # While the interpreter itself starts it answers with a trace of its own.
    before = child.returncode == -number and "__main__.py" not in shown
    done = (child.returncode, shown) == (0, "")
    assert before or done or (child.returncode, shown) == (128 + number, "nightplan: stopped\n")
    assert not [name for name in os.listdir(tmp_path) if name != "night.png"]


def test_a_stop_that_another_error_wraps(config_file, monkeypatch):
    """Until Python 3.12 what is raised while a class is made comes out as RuntimeError."""

    class Part:
        def __set_name__(self, owner, name):
            raise StoppedError(signal.SIGTERM)

    def stopped(*args, **kwargs):
        try:
            type("Whole", (), {"part": Part()})
        except StoppedError as stop:
            raise RuntimeError("wrapped") from stop

    monkeypatch.setattr("nightplan.planning.tonight.limits.compute_night", stopped)
    with pytest.raises(StoppedError) as caught:
        run(["night", "--date", "2027-10-06", "--config", str(config_file)])
    assert caught.value.exit_status == 143


def test_a_second_signal_belongs_to_the_first(tmp_path):
    script = (
        "import os, signal, sys, time\n"
        "from nightplan.cli.stopping import StoppedError, stop_on_signals\n"
        "stop_on_signals()\n"
        "try:\n"
        "    os.kill(os.getpid(), signal.SIGTERM); time.sleep(5)\n"
        "except StoppedError as stop:\n"
        "    os.kill(os.getpid(), signal.SIGINT); time.sleep(0.1)\n"
        "    print(stop.exit_status)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert (done.stdout, done.stderr) == ("143\n", "")


def test_an_ignored_signal_stays_ignored():
    script = (
        "import signal\n"
        "signal.signal(signal.SIGHUP, signal.SIG_IGN)\n"
        "from nightplan.cli.stopping import stop_on_signals\n"
        "stop_on_signals()\n"
        "print(signal.getsignal(signal.SIGHUP) == signal.SIG_IGN)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout == "True\n"
