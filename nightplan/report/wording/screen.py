"""How wide the reader's screen is and whether it shows bold and colour; texts ask here.

Python callers get 80 plain columns. The command line sets what the terminal offers.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from nightplan.shown import escaped

NARROWEST, WIDEST = 40, 200
MOST_LINES = 22
"""What an 80 by 24 screen shows beside the command and the next prompt."""

_STYLES = {"bold": "1", "faint": "2", "good": "32", "warning": "33"}


@dataclass(frozen=True)
class Screen:
    """Columns of a page of text, and whether it may hold escape sequences (ECMA-48, SGR)."""

    width: int = 80
    styled: bool = False
    rules: bool = False
    """Whether a rule is drawn under the headings of a table."""


def style_pattern() -> re.Pattern[str]:
    """What `styled` puts into a text, as one group."""
    codes = "|".join(("0", *_STYLES.values()))
    return re.compile(f"(\x1b\\[(?:{codes})m)")


def escaped_but_styles(text: str, *, returns: bool = False) -> str:
    """A page of text escaped; of what is obeyed a styled screen keeps its few styles."""
    if not screen().styled:
        return escaped(text, lines=True, returns=returns)
    pieces = style_pattern().split(text)
    # Odd places hold what the pattern's group found.
    return "".join(
        piece if place % 2 else escaped(piece, lines=True, returns=returns)
        for place, piece in enumerate(pieces)
    )


PLAIN = Screen()
"""80 plain columns."""

_current: ContextVar[Screen] = ContextVar("screen", default=PLAIN)


def screen() -> Screen:
    """The screen that texts are laid out for."""
    return _current.get()


def set_screen(new: Screen) -> None:
    """Lay out all further texts for this screen."""
    _current.set(new)


@contextmanager
def on_screen(new: Screen) -> Iterator[None]:
    """Lay out the texts of a `with` block for another screen."""
    token = _current.set(new)
    try:
        yield
    finally:
        _current.reset(token)


def styled(text: str, style: str) -> str:
    """`text` in one of the styles ``bold``, ``faint``, ``good``, ``warning``, line by line.

    Unchanged where the screen shows none. Lay text out first: the sequences have no width.
    """
    if not screen().styled:
        return text
    code = _STYLES[style]
    return "\n".join(f"\x1b[{code}m{line}\x1b[0m" if line else line for line in text.split("\n"))
