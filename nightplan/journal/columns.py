"""What a column of the journal holds: how a value is stored, and what is accepted on reading."""

from __future__ import annotations

import datetime
import json
import math
import os
import re
from collections.abc import Callable
from typing import Any, NamedTuple

from nightplan.shown import is_drawn
from nightplan.sky.times import mjd_from_iso, utc_iso_ms

_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{3})?Z")


class Kind(NamedTuple):
    """A kind of value. `decode` raises ValueError or TypeError for what is not `accepted`."""

    accepted: str
    decode: Callable[[Any], Any]
    encode: Callable[[Any], Any]


def optional(kind: Kind) -> Kind:
    """The same, or nothing."""
    return Kind(
        f"{kind.accepted}, or nothing",
        lambda stored: None if stored is None else kind.decode(stored),
        lambda value: None if value is None else kind.encode(value),
    )


def number(low: float, high: float) -> Kind:
    """A finite number within limits, both included."""

    def decode(stored: Any) -> float:
        if not isinstance(stored, (int, float)) or not low <= stored <= high:
            raise ValueError(stored)
        return float(stored)

    return Kind(f"a number from {low:g} to {high:g}", decode, float)


def whole(low: int, high: int) -> Kind:
    """A whole number within limits, both included."""

    def decode(stored: Any) -> int:
        if not isinstance(stored, int) or not low <= stored <= high:
            raise ValueError(stored)
        return stored

    return Kind(f"a whole number from {low} to {high}", decode, int)


def _text(stored: Any) -> str:
    if not isinstance(stored, str) or not is_drawn(stored):
        raise ValueError(stored)
    return stored


def _flag(stored: Any) -> bool:
    if not isinstance(stored, int) or stored not in (0, 1):
        raise ValueError(stored)
    return bool(stored)


def _date(stored: Any) -> datetime.date:
    found = datetime.date.fromisoformat(stored)
    if found.isoformat() != stored:  # fromisoformat takes 20271006 and 2027-W40-3 too
        raise ValueError(stored)
    return found


def _moment_text(stored: Any) -> str:
    if not _MOMENT.fullmatch(stored) or not math.isfinite(mjd_from_iso(stored)):
        raise ValueError(stored)
    return str(stored)


def _file(stored: Any) -> str:
    # A name that is no UTF-8 is stored as its bytes and handed out as the system's names are.
    if isinstance(stored, bytes):
        return os.fsdecode(stored)
    if not isinstance(stored, str):
        raise TypeError(stored)
    return stored


def _file_stored(name: str) -> str | bytes:
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return os.fsencode(name)
    return name


def _json(stored: Any, kind: type) -> Any:
    try:
        found = json.loads(_text(stored))
    except RecursionError as error:
        raise ValueError(stored) from error
    if not isinstance(found, kind):
        raise TypeError(stored)
    return found


TEXT = Kind("text in UTF-8 without control characters", _text, str)
FLAG = Kind("0 or 1", _flag, int)
DATE = Kind("YYYY-MM-DD", _date, datetime.date.isoformat)
MOMENT = Kind(
    "a time such as 2027-10-06T21:14:09.250Z", lambda stored: mjd_from_iso(_moment_text(stored)),
    utc_iso_ms,
)  # fmt: skip
MOMENT_TEXT = Kind(MOMENT.accepted, _moment_text, str)
NAMES = Kind(
    "a JSON list of texts",
    lambda stored: tuple(_text(name) for name in _json(stored, list)),
    lambda names: json.dumps(list(names), ensure_ascii=False),
)
SECONDS_BY_NAME = Kind(
    "a JSON object of seconds by name, or nothing",
    lambda stored: tuple(
        (_text(name), number(0.0, 864_000.0).decode(seconds))
        for name, seconds in (_json(stored, dict).items() if stored != "" else ())
    ),
    lambda pairs: json.dumps(dict(pairs), ensure_ascii=False) if pairs else "",
)
FILE = Kind("a file's name", _file, _file_stored)
ANY_NUMBER = number(-1e12, 1e12)
"""For what its record checks; the limits only keep out what is no number."""
