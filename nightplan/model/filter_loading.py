"""Filters that are owned, and those of them that the wheel carries tonight.

A wheel is not opened in the dark: what is not loaded is of no use that night, though what was shot
through it before still counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from nightplan.model.preferences import GOAL_BY_FILTER
from nightplan.model.section import KeyedValueError

if TYPE_CHECKING:
    from nightplan.model.config import Config


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
        return {key: value for key, value in values.items() if key in config.filter}

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
