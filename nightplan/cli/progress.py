"""Progress on standard error, to a terminal only: what is being done, and for how long."""

from __future__ import annotations

import shutil
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

TICK_S = 0.25
PATIENCE_S = 1.0
"""The seconds are shown from here on."""


class _Line:
    """One line that is written over until it is wiped."""

    def __init__(self, words: str) -> None:
        self.words = words
        self.begun = time.monotonic()
        self.shown = 0
        self.lock = threading.Lock()

    def say(self, words: str) -> None:
        self.words = words
        self.draw()

    def draw(self) -> None:
        with self.lock:
            passed = time.monotonic() - self.begun
            text = ""
            if self.words:
                text = f"{self.words}{_compiling()} ..."
                if passed >= PATIENCE_S:
                    text += f" {passed:.0f} s"
            text = text[: shutil.get_terminal_size((80, 24)).columns - 1]
            wipe = "\r" + " " * self.shown + "\r" if self.shown else ""
            self.shown = len(text)
            click.echo(wipe + text, err=True, nl=False)


def _compiling() -> str:
    """What to add while the solver's inner loops are compiled; it is not loaded for that."""
    module = sys.modules.get("nightplan.planning.schedule.solving.compiled")
    if module is None or not module.compiling():
        return ""
    if module.FOLDER is None:
        return ": compiling the solver, for no folder can keep it"
    return ": compiling the solver, once after installing"


@contextmanager
def doing(words: str) -> Iterator[Callable[[str], None]]:
    """Say what takes more than a moment, with the seconds that have passed.

    Yields what to call with other words when the next step begins.
    """
    if not sys.stderr.isatty():
        yield lambda words: None
        return
    line = _Line(words)
    done = threading.Event()

    def tick() -> None:
        while not done.wait(TICK_S):
            line.draw()

    line.draw()
    ticker = threading.Thread(target=tick, daemon=True)
    ticker.start()
    try:
        yield line.say
    finally:
        done.set()
        ticker.join()
        line.say("")


@contextmanager
def counting(words: str) -> Iterator[Callable[[int, int], None] | None]:
    """Count what is done one by one, to a terminal only; yields ``show(number, count)``."""
    if not sys.stderr.isatty():
        yield None
        return
    with doing(words) as say:
        yield lambda number, count: say(f"{words}: {number} of {count}")
