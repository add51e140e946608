"""The base of every JSON document that a command prints."""

from __future__ import annotations

import json
from typing import Any

from pydantic import BaseModel, ConfigDict, SerializerFunctionWrapHandler, model_serializer

from nightplan.shown import escaped


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

    def to_json(self) -> str:
        """The document as JSON text with a final line end."""
        return json_text(self.model_dump(mode="json"))


def json_text(value: Any) -> str:
    """JSON for people to read, with all that is obeyed instead of drawn escaped."""
    return escaped(json.dumps(value, indent=2, ensure_ascii=False), lines=True) + "\n"
