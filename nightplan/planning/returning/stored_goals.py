"""Goals that the journal keeps, laid under those of the configuration."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from nightplan.errors import TargetError
from nightplan.model.preferences import Goal

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config


def with_goals(
    config: Config, catalog: Catalog, stored: Mapping[str, Mapping[str, float]]
) -> Config:
    """The configuration with the hours that a journal keeps, where it has none of its own.

    A goal of the configuration with `hours` or `snr` stands as it is; one without (a priority or
    an angle alone) takes the journal's hours. Filters that the wheel no longer holds and targets
    that are no longer known are left out.

    Parameters
    ----------
    stored : mapping of target to mapping of filter to float
        Equivalent hours.
    """
    goals = dict(config.goal)
    spelled = {catalog.find(name): name for name in config.goal}
    for name, by_filter in stored.items():
        hours = {one: value for one, value in by_filter.items() if one in config.filter}
        try:
            row = catalog.find(name)
        except TargetError:
            continue
        key = spelled.get(row, str(catalog.name[row]))
        goal = goals.get(key, Goal())
        if hours and not (goal.hours or goal.snr):
            goals[key] = goal.model_copy(update={"hours": hours})
    return config.model_copy(update={"goal": goals})
