"""The goal that the configuration sets for a target, however its name is spelled there."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.model.name_lookup import normalise

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.preferences import Goal
    from nightplan.model.target import Target


def goal_for(config: Config, target: Target) -> Goal | None:
    """The goal of a target; `[goal."m31"]` and `[goal."Andromeda Galaxy"]` both mean M 31."""
    if not config.goal:
        return None
    exact = config.goal.get(target.name)
    if exact is not None:
        return exact
    names = {normalise(name) for name in (target.name, *target.identifiers, *target.common_names)}
    for name, goal in config.goal.items():
        if normalise(name) in names:
            return goal
    return None
