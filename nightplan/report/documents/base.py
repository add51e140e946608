"""The base of every JSON document that a command prints."""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable
from typing import Annotated, Any, Self, TypeAlias

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    SerializerFunctionWrapHandler,
    model_serializer,
)

from nightplan.planning.framing.camera_angle import printed_axis_deg, printed_direction_deg
from nightplan.shown import escaped
from nightplan.sky.times import utc_iso


def _known(form: Callable[[Any], Any]) -> BeforeValidator:
    """Brings a value into its form; a missing one stays missing."""
    return BeforeValidator(lambda value: None if value is None else form(value))


def _decimals(count: int) -> BeforeValidator:
    return _known(lambda value: round(float(value), count) + 0.0)


To1: TypeAlias = Annotated[float, _decimals(1)]
"""A number of so many decimals; and so on."""
To2: TypeAlias = Annotated[float, _decimals(2)]
To3: TypeAlias = Annotated[float, _decimals(3)]
To4: TypeAlias = Annotated[float, _decimals(4)]
To5: TypeAlias = Annotated[float, _decimals(5)]
To6: TypeAlias = Annotated[float, _decimals(6)]
Digits6: TypeAlias = Annotated[float, _known(lambda value: float(f"{float(value):.6g}"))]
"""A number of six significant digits."""
AxisDeg: TypeAlias = Annotated[float, _known(lambda value: printed_axis_deg(value, 4))]
"""A line's direction, from 0 to below 180."""
DirectionDeg: TypeAlias = Annotated[float, _known(lambda value: printed_direction_deg(value, 4))]
"""A direction, from 0 to below 360."""
RaDeg: TypeAlias = Annotated[float, _known(lambda value: printed_direction_deg(value, 6))]
Day: TypeAlias = Annotated[
    str, _known(lambda value: value.isoformat() if isinstance(value, datetime.date) else value)
]
"""A date in ISO 8601."""
Utc: TypeAlias = Annotated[
    str, _known(lambda value: value if isinstance(value, str) else utc_iso(value))
]
"""A time in ISO 8601, from a UTC MJD."""


class Document(BaseModel):
    """A document, or a part of one, with keys that scripts rely on.

    A value that does not exist is null, and NAME_reason beside it says why; a reason with
    nothing to explain is left out.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    @model_serializer(mode="wrap")
    def _without_idle_reasons(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        return {
            key: value
            for key, value in handler(self).items()
            if value is not None or not key.endswith("_reason")
        }

    @classmethod
    def of(cls, result: object = None, /, **given: Any) -> Self:
        """The document of a result: what has the same name there, and the rest as given.

        A key that ends in ``_utc`` is taken from the result's ``_utc_mjd``.
        """
        for name in cls.model_fields.keys() - given.keys():
            source = f"{name}_mjd" if name.endswith("_utc") else name
            if hasattr(result, source):
                given[name] = getattr(result, source)
        return cls.model_validate(given)

    def to_json(self) -> str:
        """The document as JSON text with a final line end."""
        return json_text(self.model_dump(mode="json"))


def json_text(value: Any) -> str:
    """JSON for people to read, with all that is obeyed instead of drawn escaped."""
    return escaped(json.dumps(value, indent=2, ensure_ascii=False), lines=True) + "\n"
