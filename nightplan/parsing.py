"""TOML and JSON of unknown honesty: parsed within limits on size, depth and digits."""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Callable
from typing import Any

from nightplan.errors import FileError, InputError
from nightplan.shown import escaped, piece

MOST_DIGITS = 400
"""Digits in a row; the largest float has 309."""
MOST_DEPTH = 30
"""Tables and arrays inside each other; a configuration has four, a plan document eight."""
MOST_TEXT = 20_000
"""Characters of one text or key."""

_DIGITS = re.compile(rf"\d{{{MOST_DIGITS}}}")
# Arrays and tables that open without a value between them: what exhausts a parser's stack.
_DEPTH = re.compile(rf"[\[{{](?:\s*[\[{{]){{{MOST_DEPTH}}}")


def parse_toml(source: str, text: str) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises
    ------
    FileError
        It is no TOML, beyond the limits, or a text in it holds control characters.
    """
    tables: dict[str, Any] = _parsed(source, text, "TOML", tomllib.loads)
    _check(source, "", tables, 0, lines=False)
    return tables


def parse_json(source: str, text: str) -> Any:
    """The value of a JSON text; raises as `parse_toml`.

    Raises
    ------
    InputError
        A number is not finite, which Python's parser takes and JSON has no word for.
    """
    found = _parsed(source, text, "JSON", json.loads)
    _check(source, "", found, 0, lines=True)
    return found


def _parsed(source: str, text: str, kind: str, parse: Callable[[str], Any]) -> Any:
    if _DIGITS.search(text):
        raise FileError(source, f"holds a number of {MOST_DIGITS} digits or more")
    too_deep = f"is nested more than {MOST_DEPTH} deep"
    if _DEPTH.search(text):
        raise FileError(source, too_deep)
    try:
        return parse(text)
    except RecursionError as error:
        raise FileError(source, too_deep) from error
    except ValueError as error:  # what both parsers raise derives from it
        raise FileError(source, f"is not valid {kind}: {error}") from error


def _check(source: str, key: str, value: Any, depth: int, *, lines: bool) -> None:
    """Check depth, texts and numbers of a parsed value and of all inside it."""
    if depth > MOST_DEPTH:
        raise FileError(source, f"is nested more than {MOST_DEPTH} deep")
    where = piece(key) or "the file"
    if isinstance(value, dict):
        for name, inner in value.items():
            _check(source, f"a key of {where}", name, depth, lines=False)
            _check(source, f"{key}.{name}" if key else name, inner, depth + 1, lines=lines)
    elif isinstance(value, list):
        for number, inner in enumerate(value, start=1):
            _check(source, f"{key}.{number}", inner, depth + 1, lines=lines)
    elif isinstance(value, str):
        if len(value) > MOST_TEXT:
            raise FileError(source, f"{where}: text of more than {MOST_TEXT} characters")
        if escaped(value, lines=lines) != value:
            raise FileError(
                source, f"{where} = '{piece(value)}': accepted is text without control characters"
            )
    elif lines and isinstance(value, float) and not math.isfinite(value):
        raise InputError(source, key, value, "a finite number")
    elif isinstance(value, int) and abs(value) > 2**63:
        raise FileError(source, f"{where}: a whole number of more than 64 bits")
