"""The filter wheel, the filters in it, and which of those owned are loaded."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field, model_validator

from nightplan.model.filter_roles import ROLES, Role
from nightplan.model.section import KeyedValueError, Listed, Names, Section
from nightplan.model.wishes import GOAL_BY_FILTER

if TYPE_CHECKING:
    from nightplan.model.config import Config

LEAST_REACH_NM = 5.0
SHORTEST_NM, LONGEST_NM = 300.0, 1250.0
"""What glass lets through and silicon sees, with room at both ends."""


class Filter(Section):
    """One filter: its passband, its glass, and where the focuser goes for it.

    A filter for several lines has `more_bands`, each [centre nm, width nm, peak transmission],
    beside that of its role. `moon_distance_deg` stands before that of its class under
    `preferences.moon_distance`.
    """

    role: Role
    centre_nm: Annotated[float, Field(ge=310.0, le=1100.0)]
    width_nm: Annotated[float, Field(ge=0.5, le=500.0)]
    peak_transmission: Annotated[float, Field(ge=0.01, le=1.0)]
    clear_aperture_mm: Annotated[float, Field(ge=1.0, le=200.0)]
    thickness_mm: Annotated[float, Field(ge=0.0, le=20.0)] = 2.0
    glass_index: Annotated[float, Field(ge=1.0, le=2.5)] = 1.5
    effective_index: Annotated[float, Field(ge=1.0, le=3.0)] = 2.0
    focus_offset_steps: int | None = None
    more_bands: Annotated[tuple[tuple[float, float, float], ...], Listed] = ()
    moon_distance_deg: Annotated[float, Field(ge=0.0, le=180.0)] | None = None
    sub_s: Annotated[float, Field(ge=0.01, le=7200.0)] | None = None
    gain: str | None = None

    @model_validator(mode="after")
    def _in_the_light(self) -> Filter:
        if not SHORTEST_NM <= self.low_nm < self.high_nm <= LONGEST_NM:
            raise KeyedValueError(
                "width_nm",
                self.width_nm,
                f"a passband about centre_nm = {self.centre_nm:g} that lies inside "
                f"{SHORTEST_NM:g} to {LONGEST_NM:g} nm",
            )
        # Makers set the centre a little to the red for fast beams; further off the line is lost.
        reach_nm = max(self.width_nm, LEAST_REACH_NM)
        if self.line_nm is not None and abs(self.centre_nm - self.line_nm) > reach_nm:
            raise KeyedValueError(
                "centre_nm",
                self.centre_nm,
                f"{self.line_nm - reach_nm:g} to {self.line_nm + reach_nm:g} nm for {self.role}",
            )
        return self

    @property
    def low_nm(self) -> float:
        """Short end of the passband, at half its peak."""
        return self.centre_nm - self.width_nm / 2.0

    @property
    def high_nm(self) -> float:
        """Long end of the passband, at half its peak."""
        return self.centre_nm + self.width_nm / 2.0

    @model_validator(mode="after")
    def _bands_are_bands(self) -> Filter:
        for centre_nm, width_nm, peak in self.more_bands:
            if not (300.0 <= centre_nm <= 1100.0 and 0.1 <= width_nm <= 500.0 and 0 < peak <= 1):
                accepted = "[centre from 300 to 1100 nm, width from 0.1 to 500 nm, peak to 1]"
                raise KeyedValueError("more_bands", [centre_nm, width_nm, peak], accepted)
        return self

    @property
    def is_narrow(self) -> bool:
        """Whether the filter is cut for one emission line."""
        return ROLES[self.role].is_narrow

    @property
    def line_nm(self) -> float | None:
        """Rest wavelength in air of the filter's line, nm; none for a broadband filter."""
        return ROLES[self.role].line_nm


class FilterWheel(Section):
    """The wheel that carries the filters, or with `by_hand` a drawer that takes one at a time.

    More filters may be owned than it has `positions`: `loaded` names those that are in it, and
    without it the plan proposes which to load. A drawer takes any owned filter in the night, at
    `change_s` each time.
    """

    distance_to_sensor_mm: Annotated[float, Field(ge=1.0, le=300.0)]
    thickness_mm: Annotated[float, Field(ge=0.0, le=100.0)] = 20.0
    change_s: Annotated[float, Field(ge=0.0, le=1800.0)] = 8.0
    positions: Annotated[int, Field(ge=1, le=20)] = 7
    loaded: Names = ()
    by_hand: bool = False


def check_loaded(config: Config) -> None:
    """Raise KeyedValueError where `wheel.loaded` names what is not owned, or more than it holds."""
    wheel, owned = config.wheel, config.filter
    for name in wheel.loaded:
        if name not in owned:
            raise KeyedValueError("wheel.loaded", name, f"one of {', '.join(owned)}")
    count = len(set(wheel.loaded))
    if len(wheel.loaded) != count or (count > wheel.positions and not wheel.by_hand):
        accepted = f"each filter once, at most {wheel.positions} (wheel.positions)"
        raise KeyedValueError("wheel.loaded", list(wheel.loaded), accepted)


def must_choose(config: Config) -> bool:
    """Whether more filters are owned than the wheel carries, and none of them is told to be in."""
    return len(config.filter) > config.wheel.positions and not config.wheel.by_hand


def with_filters(config: Config, names: Iterable[str]) -> Config:
    """The configuration with these filters alone, in the order of the file."""
    wanted = set(names)
    kept = {name: item for name, item in config.filter.items() if name in wanted}
    return fitting(config.model_copy(update={"filter": kept}))


def with_loaded(config: Config) -> Config:
    """The configuration with what `wheel.loaded` says is in the wheel, or else with all."""
    loaded = config.wheel.loaded
    return with_filters(config, loaded) if loaded else config


def fitting(config: Config) -> Config:
    """Goals, recipes and compositions without filters and trains that the configuration lacks."""

    def own(values: Mapping[str, Any]) -> dict[str, Any]:
        return {
            key: value
            for key, value in values.items()
            if key in config.filter or key in config.channel
        }

    goal = {
        name: one.model_copy(update={key: own(getattr(one, key)) for key in GOAL_BY_FILTER})
        for name, one in config.goal.items()
    }
    recipe = {
        kind: one.model_copy(update={"shares": own(one.shares)})
        for kind, one in config.recipe.items()
    }
    framing = {
        name: one if one.train is None or one.train in config.train
        else one.model_copy(update={"train": None})
        for name, one in config.framing.items()
    }  # fmt: skip
    return config.model_copy(update={"goal": goal, "recipe": recipe, "framing": framing})
