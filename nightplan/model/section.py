"""The base of every configuration table, and the words for what a key accepts."""

from __future__ import annotations

import types
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt, MaxLen, MinLen
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict
from pydantic.fields import FieldInfo


def _tuples(value: Any) -> Any:
    """TOML arrays become tuples, so that a frozen table is frozen all the way down."""
    if isinstance(value, list):
        return tuple(_tuples(item) for item in value)
    return value


class Section(BaseModel):
    """A table of the configuration file: frozen, strict about types, closed to unknown keys."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False)


class KeyedValueError(ValueError):
    """Raised by a table's own checks: which of its keys is wrong, and what it would accept."""

    def __init__(self, key: str, value: object, accepted: str) -> None:
        self.key = key
        self.value = value
        self.accepted = accepted
        super().__init__(f"{key} = {value!r}: accepted is {accepted}")


Listed = BeforeValidator(_tuples)
"""Marks a field that is an array in TOML and a tuple here."""


def _clock(value: str) -> str:
    hours, _, minutes = value.partition(":")
    whole = hours.isdigit() and minutes.isdigit() and len(minutes) == 2
    if not (whole and int(hours) < 24 and int(minutes) < 60):
        raise ValueError("a local time as HH:MM, from 00:00 to 23:59")
    return value


ClockTime = Annotated[str, AfterValidator(_clock)]
"""Marks a field that is a time on the site's clocks."""

Pair = tuple[float, float]
Pairs = Annotated[tuple[Pair, ...], Listed]
Numbers = Annotated[tuple[float, ...], Listed]
Names = Annotated[tuple[str, ...], Listed]


def accepted_words(annotation: Any, metadata: tuple[Any, ...] | list[Any] = ()) -> str:
    """Say in words what a field accepts: its bounds, its choices, or its type."""
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *extra = get_args(annotation)
        return accepted_words(inner, (*metadata, *extra))
    if origin is Literal:
        return "one of " + ", ".join(str(choice) for choice in get_args(annotation))
    if origin in (Union, types.UnionType):
        options = [arg for arg in get_args(annotation) if arg is not type(None)]
        return " or ".join(accepted_words(option, metadata) for option in options)
    if origin in (dict, tuple):
        if origin is tuple:
            return _array_words(get_args(annotation))
        most = [one.max_length for one in metadata if isinstance(one, MaxLen)]
        return f"a table of at most {most[0]} entries" if most else "a table"
    kind = {float: "a number", int: "a whole number", str: "text", bool: "true or false"}.get(
        annotation, "a table" if isinstance(annotation, type) else "a value"
    )
    bounds = _bounds(metadata)
    return f"{kind} {bounds}".strip()


def _array_words(parts: tuple[Any, ...]) -> str:
    if len(parts) == 2 and parts[1] is Ellipsis:
        return f"an array of {_plural(accepted_words(parts[0]))}"
    return "[" + ", ".join(accepted_words(part) for part in parts) + "]"


def _plural(words: str) -> str:
    kind, bounds, rest = words.partition(" from ")
    plain = {"a number": "numbers", "a whole number": "whole numbers", "text": "texts"}
    return f"{plain.get(kind, kind)}{bounds}{rest}"


def _bounds(metadata: tuple[Any, ...] | list[Any]) -> str:
    low = high = ""
    # A range inside a union ("a number or nothing") keeps its bounds in a field of its own.
    flat: list[Any] = []
    for item in metadata:
        flat += item.metadata if isinstance(item, FieldInfo) else [item]
    for item in flat:
        if isinstance(item, Ge):
            low = f"from {item.ge:g}"  # type: ignore[str-format]
        elif isinstance(item, Gt):
            low = f"above {item.gt:g}"  # type: ignore[str-format]
        elif isinstance(item, Le):
            high = f"to {item.le:g}"  # type: ignore[str-format]
        elif isinstance(item, Lt):
            high = f"below {item.lt:g}"  # type: ignore[str-format]
        elif isinstance(item, MinLen):
            low = "that is not empty" if item.min_length == 1 else f"of {item.min_length} or more"
        elif isinstance(item, MaxLen):
            high = f"of at most {item.max_length}"
    return f"{low} {high}".strip()
