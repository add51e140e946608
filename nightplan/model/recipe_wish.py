"""What the imager asks of a picture's filters, for one target or for a kind of target."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from nightplan.model.section import Section

RecipeName = Literal[
    "LRGB",
    "LRGB with H-alpha",
    "H-alpha with LRGB",
    "H-alpha with RGB",
    "H-alpha and O III",
    "O III and H-alpha",
    "H-alpha, O III and S II",
    "RGB stars only",
]


class RecipeWish(Section):
    """A recipe by its name, or shares by filter (any numbers, their ratio counts)."""

    recipe: RecipeName | None = None
    shares: dict[str, Annotated[float, Field(ge=0.001, le=1000.0)]] = Field(default_factory=dict)
