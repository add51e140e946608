"""The gate of the library: every argument of every public call is checked by its kind, in one way.

`nightplan.library` passes its functions through `gated`, and `Answer` its methods, so that a new
call is covered by being public. An argument's kind follows from its annotation; `LIMITS` narrows
single ones by name. Behind the gate numbers are guarded (`numeric_guard`).
"""

from __future__ import annotations

import datetime
import inspect
import math
import numbers
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import wraps
from typing import Any, NamedTuple, TypeVar

from nightplan.dates import EARLIEST, LATEST
from nightplan.errors import InputError
from nightplan.model.config import Config
from nightplan.model.site import Site
from nightplan.model.target import Target
from nightplan.numeric_guard import guarded_numbers
from nightplan.shown import is_drawn

F = TypeVar("F", bound=Callable[..., Any])

MOST_TEXT = 1000
MOST_TARGETS = 500


class Kind(NamedTuple):
    """What is accepted, in words, and the test of a value."""

    accepted: str
    holds: Callable[[Any], bool]


def _text(value: Any) -> bool:
    return (
        isinstance(value, str) and 0 < len(value) <= MOST_TEXT and is_drawn(value)
        and bool(value.strip())
    )  # fmt: skip


def _path(value: Any) -> bool:
    if not isinstance(value, (str, os.PathLike)):
        return False
    path = os.fspath(value)
    return isinstance(path, str) and bool(path) and "\0" not in path


def _whole(value: Any) -> bool:
    return isinstance(value, numbers.Integral) and not isinstance(value, bool)


def _number(value: Any) -> bool:
    return isinstance(value, numbers.Real) and not isinstance(value, bool) and math.isfinite(value)


def _flag(value: Any) -> bool:
    import numpy as np

    return isinstance(value, (bool, np.bool_))


def _quantity(value: Any) -> bool:
    import numpy as np
    from astropy.units import Quantity

    return isinstance(value, Quantity) and value.isscalar and bool(np.isfinite(value.value))


def _time(value: Any) -> bool:
    return _times(value) and bool(value.isscalar)


def _times(value: Any) -> bool:
    import numpy as np
    from astropy.time import Time

    if not isinstance(value, Time) or value.size == 0 or np.any(value.mask):
        return False
    # By Julian dates of 1900-01-01 and 2200-01-01: scales differ by a minute at most.
    return bool(np.all((value.jd >= 2415020.5) & (value.jd <= 2524593.5)))


def _place_on_sky(value: Any) -> bool:
    import numpy as np
    from astropy.coordinates import SkyCoord

    if not isinstance(value, SkyCoord) or value.size == 0:
        return False
    icrs = value.icrs
    return bool(np.all(np.isfinite(icrs.ra.deg)) and np.all(np.isfinite(icrs.dec.deg)))


def _evening(value: Any) -> bool:
    if isinstance(value, str):
        try:
            value = datetime.date.fromisoformat(value)
        except ValueError:
            return False
    return _date(value) or _time(value)


def _date(value: Any) -> bool:
    plain = isinstance(value, datetime.date) and not isinstance(value, datetime.datetime)
    return plain and EARLIEST <= value <= LATEST


def _target(value: Any) -> bool:
    from astroplan import FixedTarget

    if isinstance(value, FixedTarget):
        return _place_on_sky(value.coord)
    return isinstance(value, Target) or _text(value) or _place_on_sky(value)


def _several(value: Any) -> bool:
    return (
        isinstance(value, Iterable)
        and not isinstance(value, (str, bytes, Mapping))
        and (not isinstance(value, Sequence) or len(value) <= MOST_TARGETS)
    )


def _counts(value: Any) -> bool:
    return isinstance(value, Mapping) and all(
        (_text(key) or (isinstance(key, tuple) and len(key) == 2 and all(map(_text, key))))
        and _whole(count)
        and 0 <= count <= 100_000
        for key, count in value.items()
    )


def _observer(value: Any) -> bool:
    from astroplan import Observer

    return isinstance(value, Observer)


def _solution(value: Any) -> bool:
    from astropy.io.fits import Header
    from astropy.wcs import WCS

    return _path(value) or isinstance(value, (Header, WCS))


def _of_library(name: str) -> Callable[[Any], bool]:
    return lambda value: any(kind.__name__ == name for kind in type(value).__mro__)


def _one_of(*names: str) -> Kind:
    return Kind(f"one of {', '.join(names)}", lambda value: value in names)


_CONFIG = Kind("a Config, as load_config gives it", lambda value: isinstance(value, Config))
_SITE = Kind("a Site", lambda value: isinstance(value, Site))
_OBSERVER = Kind("an astroplan Observer", _observer)
_STYLES = _one_of("day", "red", "print")

KINDS: dict[str, Kind] = {
    "None": Kind("None", lambda value: value is None),
    "Any": Kind("anything", lambda value: True),
    "Config": _CONFIG,
    "Site": _SITE,
    "Observer": _OBSERVER,
    "AnyPlace": Kind(
        "a Config, a Site or an astroplan Observer",
        lambda value: any(kind.holds(value) for kind in (_CONFIG, _SITE, _OBSERVER)),
    ),
    "AnyEvening": Kind(
        f"a date or its text YYYY-MM-DD, or one astropy Time, from {EARLIEST} to {LATEST}; or None",
        lambda value: value is None or _evening(value),
    ),
    "datetime.date": Kind(f"a date from {EARLIEST} to {LATEST}", _date),
    "AnyTarget": Kind("a name, a finite SkyCoord, a FixedTarget or a Target", _target),
    "Iterable[AnyTarget]": Kind(f"at most {MOST_TARGETS} of them", _several),
    "SkyCoord": Kind(
        "one finite SkyCoord", lambda value: _place_on_sky(value) and bool(value.isscalar)
    ),
    "bool": Kind("True or False", _flag),
    "int": Kind("a whole number", _whole),
    "float": Kind("a finite number", _number),
    "str": Kind(f"text of 1 to {MOST_TEXT} characters, without control characters", _text),
    "os.PathLike[str]": Kind("a path", _path),
    "Quantity": Kind("one finite astropy Quantity", _quantity),
    "Time": Kind("one astropy Time from 1900 to 2199", _time),
    "Sequence[str]": Kind(
        "a list of texts", lambda value: _several(value) and all(map(_text, value))
    ),
    "Sequence[Constraint]": Kind("a list of astroplan constraints", _several),
    "Sequence[AnySolution]": Kind(
        "a list of them", lambda value: _several(value) and all(map(_solution, value))
    ),
    "AnySolution": Kind("a file, an astropy Header or a WCS", _solution),
    "tuple[Quantity | AnySolution, Quantity | str]": Kind(
        "a pair of solution or angle and rotator reading",
        lambda value: isinstance(value, tuple) and len(value) == 2,
    ),
    "Mapping[str, Quantity | str | None]": Kind(
        "hours by filter",
        lambda value: isinstance(value, Mapping) and all(map(_text, value)),
    ),
    "Mapping[str, Any]": Kind("a plan document", lambda value: isinstance(value, Mapping)),
    "Done": Kind("whole counts from 0 by filter, or by (target, filter)", _counts),
    "Planned": Kind("a plan", _of_library("Planned")),
    "StarCatalog": Kind("a StarCatalog", _of_library("StarCatalog")),
    "Pier": _one_of("east", "west"),
    "SheetStyle": _STYLES,
    "LampLight": _one_of("natural", "led", "sodium", "mixed"),
    "Callable[[str], None]": Kind("a function of one text", callable),
    "Callable[[int, int], None]": Kind("a function of two whole numbers", callable),
}


def _between(low: float, high: float, test: Callable[[Any], bool] = _number) -> Kind:
    what = "a whole number" if test is _whole else "a number"
    return Kind(
        f"{what} from {low:g} to {high:g}", lambda value: test(value) and low <= value <= high
    )


LIMITS: dict[str, Kind] = {
    "nights": _between(1, 3660, _whole),
    "campaign.nights": _between(1, 400, _whole),
    "count": _between(1, 500, _whole),
    "panel": _between(1, 100, _whole),
    "panels": _between(1, 100, _whole),
    "group": _between(1, 1000, _whole),
    "chance": _between(0.0, 1.0),
    "weight": _between(0.0, 1.0),
    "times": Kind("an astropy Time, or several, from 1900 to 2199", _times),
}
"""What single arguments accept more narrowly than their kind, by name or by call and name."""


def parts_of(annotation: str) -> list[str]:
    """The alternatives of an annotation: its pieces between bars that are not inside brackets."""
    parts, depth = [""], 0
    for sign in annotation:
        depth += (sign == "[") - (sign == "]")
        if sign == "|" and not depth:
            parts.append("")
        else:
            parts[-1] += sign
    return [part.strip() for part in parts]


def gated(call: F) -> F:
    """The same call, its arguments checked by kind and its numbers guarded.

    The wrapped call raises `InputError`, which names the argument and what is accepted.
    """
    if hasattr(call, "__gated__"):
        return call
    signature = inspect.signature(call)
    checks = {
        name: _kinds(call.__name__, name, str(parameter.annotation))
        for name, parameter in signature.parameters.items()
        if name != "self" and parameter.kind is not inspect.Parameter.VAR_KEYWORD
    }

    @wraps(call)
    def checked(*args: Any, **kwargs: Any) -> Any:
        from pydantic import ValidationError

        bound = signature.bind(*args, **kwargs)
        for name, value in bound.arguments.items():
            kinds = checks.get(name, ())
            if kinds and not any(kind.holds(value) for kind in kinds):
                accepted = ", or ".join(kind.accepted for kind in kinds)
                raise InputError("library", name, value, accepted)
        try:
            with guarded_numbers():
                return call(*args, **kwargs)
        except ValidationError as error:
            first = error.errors()[0]
            key = ".".join(str(part) for part in first["loc"]) or call.__name__
            raise InputError("library", key, first.get("input"), first["msg"]) from error

    checked.__gated__ = True  # type: ignore[attr-defined]
    return checked  # type: ignore[return-value]


def _kinds(call: str, name: str, annotation: str) -> tuple[Kind, ...]:
    parts = parts_of(annotation)
    limit = LIMITS.get(f"{call}.{name}") or LIMITS.get(name)
    if limit is not None:
        return (limit, KINDS["None"]) if "None" in parts else (limit,)
    if "os.PathLike[str]" in parts:
        parts = [part for part in parts if part != "str"]
    return tuple(KINDS[part] for part in parts)
