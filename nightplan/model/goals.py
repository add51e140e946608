"""What the configuration sets for a target, however its name is spelled there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, TypeVar

from nightplan.model.name_lookup import normalise

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.preferences import Goal
    from nightplan.model.target import Target

T = TypeVar("T")


def goal_for(config: Config, target: Target) -> Goal | None:
    """The goal of a target; `[goal."m31"]` and `[goal."Andromeda Galaxy"]` both mean M 31."""
    return named_for(config.goal, target)


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
