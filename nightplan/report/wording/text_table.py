"""Tables and paragraphs for the terminal, as wide as the screen that they are laid out for."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Sequence

from nightplan.report.wording.screen import MOST_LINES, screen, styled

GAP = 2
NARROWEST = 6

# What a line must not break: "M 31", "NGC 7000", "9 h", "26 min", "30 %", "21:34 +01:00".
_TOGETHER = re.compile(
    r"(?<=\b[A-Z]) (?=\d)|(?<=\b[A-Z][A-Za-z]) (?=\d)|(?<=\b[A-Z][A-Za-z]{2}) (?=\d)"
    r"|(?<=\d) (?=(?:h|min|s|%|°)(?!\w))|(?<=:\d\d) (?=[+-]\d\d:)"
)
_GLUE = "\N{NO-BREAK SPACE}"


def text_table(
    headers: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    right: Sequence[int] = (),
    width: int | None = None,
    rules: bool | None = None,
) -> str:
    """Lay out rows of text under headers, without trailing blanks and a final line end.

    Columns that would run beyond `width` (by default the screen's) are wrapped, the widest first,
    between words; those of `right` are set to the right. `rules` draws one under the headings.
    """
    from tabulate import tabulate

    cells = [[str(cell) for cell in row] for row in rows]
    limits = column_limits([list(headers), *cells], width or screen().width)
    wrapped = [
        [_wrap(cell, limit) for cell, limit in zip(row, limits, strict=True)]
        for row in [list(headers), *cells]
    ]
    sides = ["right" if i in right else "left" for i in range(len(headers))]
    # Headings go in as a row: tabulate would widen each column by two for them.
    lines = tabulate(wrapped, tablefmt="plain", disable_numparse=True, colalign=sides).splitlines()
    depth = max(cell.count("\n") for cell in wrapped[0]) + 1
    lines = [line.rstrip() for line in lines]
    heads = [styled(line, "bold") for line in lines[:depth]]
    if screen().rules if rules is None else rules:
        widths = [
            max(len(line) for row in wrapped for line in row[i].split("\n"))
            for i in range(len(headers))
        ]
        heads.append((" " * GAP).join("-" * size for size in widths).rstrip())
    return "\n".join([*heads, *lines[depth:]])


def column_limits(table: Sequence[Sequence[str]], width: int) -> list[int]:
    """Widths of columns so that a table of such cells fits `width`."""
    natural = [
        max((len(line) for row in table for line in row[i].split("\n")), default=0)
        for i in range(len(table[0]))
    ]
    longest_word = [
        max(len(word) for row in table for word in _TOGETHER.sub(_GLUE, row[i]).split(" "))
        for i in range(len(table[0]))
    ]
    limits = list(natural)
    available = width - GAP * (len(limits) - 1)
    while sum(limits) > available:
        # Shrink the widest column that can still break between words; else break a long word.
        loose = [i for i in range(len(limits)) if limits[i] > max(longest_word[i], NARROWEST)]
        pool = loose or [i for i in range(len(limits)) if limits[i] > NARROWEST]
        if not pool:
            break
        limits[max(pool, key=lambda i: limits[i])] -= 1
    return limits


def first_that_fits(lay_out: Callable[[int], str], count: int) -> str:
    """The page with the most of `count` rows that fits `MOST_LINES`; `lay_out` takes how many."""
    page = lay_out(count)
    while count > 1 and page.rstrip().count("\n") + 1 > MOST_LINES:
        count -= 1
        page = lay_out(count)
    return page


def paragraph(text: str, *, indent: str = "", width: int | None = None) -> str:
    """Wrap a sentence to the width of the screen; further lines keep the indent."""
    return _fill(text, width or screen().width, indent)


def note(text: str) -> str:
    """A notice to the reader as a paragraph of its own."""
    return styled(paragraph(f"Note: {text}"), "warning")


def heading(text: str) -> str:
    """The title of a part of a page."""
    return styled(paragraph(text), "bold")


def _wrap(cell: str, limit: int) -> str:
    lines: list[str] = []
    for line in cell.split("\n"):
        lines.append(_fill(line, max(limit, 1), ""))
    return "\n".join(lines)


def _fill(text: str, width: int, indent: str) -> str:
    filled = textwrap.fill(
        _TOGETHER.sub(_GLUE, text),
        width,
        initial_indent=indent,
        subsequent_indent=" " * len(indent),
        break_on_hyphens=False,
    )
    return filled.replace(_GLUE, " ")
