"""What the imager wishes for a target or a kind: goal, framing, recipe, however it is spelled."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Literal, TypeVar

from pydantic import Field, model_validator

from nightplan.model.name_lookup import normalise
from nightplan.model.section import KeyedValueError, Listed, Names, Pair, Section

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.preferences import Goal
    from nightplan.model.target import Target

T = TypeVar("T")

GOAL_BY_FILTER = ("hours", "gathered_hours", "snr", "shares", "tonight_hours")
"""Keys of a goal that hold a value a filter."""


def goal_for(config: Config, target: Target) -> Goal | None:
    """The goal of a target; `[goal."m31"]` and `[goal."Andromeda Galaxy"]` both mean M 31.

    What it holds by filter is by channel.
    """
    goal = named_for(config.goal, target)
    if goal is None or len(config.channel) == len(config.filter):
        return goal
    return goal.model_copy(
        update={key: by_channel(config, getattr(goal, key)) for key in GOAL_BY_FILTER}
    )


def by_channel(config: Config, values: Mapping[str, T]) -> dict[str, T]:
    """Values given by filter or by channel, for each channel; its own stands before its filter's.

    Names that the configuration has not are left out.
    """
    return {
        name: values.get(name, values.get(one.filter))  # type: ignore[misc]
        for name, one in config.channel.items()
        if name in values or one.filter in values
    }


def named_for(table: Mapping[str, T], target: Target) -> T | None:
    """A target's entry of a table by name: as it is called, else by any of its names."""
    if not table:
        return None
    exact = table.get(target.name)
    if exact is not None:
        return exact
    names = {normalise(name) for name in (target.name, *target.identifiers, *target.common_names)}
    for name, entry in table.items():
        if normalise(name) in names:
            return entry
    return None


FARTHEST_ARCMIN = 3000.0


class FramingWish(Section):
    """A composition: what is not given is chosen as ever.

    The field has to hold `with_targets` too. `centre_deg` is the middle of the field, or of the
    mosaic, ICRS; `offset_arcmin` says the same as steps to the east and to the north of the
    target's own middle. `panels` is the largest number of panels: 1 is a single field, whatever
    it cuts. `position_angle_deg` is the only angle considered, and `train` the only train.
    """

    centre_deg: Annotated[Pair, Listed] | None = None
    offset_arcmin: Annotated[Pair, Listed] | None = None
    with_targets: Names = ()
    panels: Annotated[int, Field(ge=1, le=100)] | None = None
    position_angle_deg: Annotated[float, Field(ge=0.0, lt=180.0)] | None = None
    train: str | None = None

    @model_validator(mode="after")
    def _one_place(self) -> FramingWish:
        if self.centre_deg is not None:
            if self.offset_arcmin is not None:
                raise KeyedValueError(
                    "offset_arcmin", list(self.offset_arcmin), "none beside centre_deg"
                )
            ra_deg, dec_deg = self.centre_deg
            if not (0.0 <= ra_deg < 360.0 and -90.0 <= dec_deg <= 90.0):
                raise KeyedValueError(
                    "centre_deg",
                    list(self.centre_deg),
                    "[right ascension, declination]: from 0 to below 360 and from -90 to 90",
                )
        if self.offset_arcmin is not None and max(map(abs, self.offset_arcmin)) > FARTHEST_ARCMIN:
            raise KeyedValueError(
                "offset_arcmin",
                list(self.offset_arcmin),
                f"[east, north], each from {-FARTHEST_ARCMIN:g} to {FARTHEST_ARCMIN:g}",
            )
        return self


NO_WISH = FramingWish()


def framing_for(config: Config, target: Target) -> FramingWish:
    """The wish for a target, however its name is spelled there; else an empty one."""
    return named_for(config.framing, target) or NO_WISH


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
