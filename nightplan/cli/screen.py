"""The terminal: its width and colours, and progress on standard error."""

from __future__ import annotations

import os
import shutil
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import click

from nightplan.report.wording.screen import NARROWEST, WIDEST, Screen, set_screen

COLOUR_CHOICES = ("auto", "always", "never")


def use_screen(colour: str = "auto") -> None:
    """Lay out all texts for this terminal.

    A pipe or a file gets 80 plain columns, unless the environment sets `COLUMNS`. `NO_COLOR`
    (any value but an empty one) turns colour off; ``always`` and ``never`` go before it.
    """
    terminal = sys.stdout.isatty()
    wish = os.environ.get("COLUMNS", "")
    columns = 80
    if terminal:
        columns = shutil.get_terminal_size((80, 24)).columns
    elif wish.isdigit() and int(wish) > 0:
        columns = int(wish)
    plain = bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb"
    styled = colour == "always" or (colour == "auto" and terminal and not plain)
    set_screen(Screen(min(max(columns, NARROWEST), WIDEST), styled, rules=terminal and not styled))


def _chosen(ctx: click.Context, param: click.Parameter, value: str | None) -> None:
    if value is not None:
        use_screen(value)
        # click strips styles from what goes to no terminal, unless the context says otherwise.
        ctx.color = {"always": True, "never": False}.get(value)


def colour_option(command: Any) -> Any:
    """Add `--color auto|always|never`."""
    return click.option(
        "--color",
        type=click.Choice(COLOUR_CHOICES),
        expose_value=False,
        callback=_chosen,
        is_eager=True,
        help="Bold and colour. [default: auto, on a terminal unless NO_COLOR is set]",
    )(command)


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
    # While the module itself is imported in another thread it has no names yet.
    compiling = getattr(module, "compiling", None)
    if module is None or compiling is None or not compiling():
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
