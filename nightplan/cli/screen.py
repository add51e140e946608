"""What the terminal offers: its width, and bold and colour where the reader wants them."""

from __future__ import annotations

import os
import shutil
import sys
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
