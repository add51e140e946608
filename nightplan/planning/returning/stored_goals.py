"""Goals and compositions that the journal keeps, laid under those of the configuration."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from nightplan.errors import TargetError
from nightplan.model.preferences import Goal

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.wishes import FramingWish


def with_kept(
    config: Config,
    catalog: Catalog,
    stored: Mapping[str, Mapping[str, float]],
    composed: Mapping[str, FramingWish],
) -> Config:
    """The configuration with the hours and compositions that a journal keeps, where it has none
    of its own.

    A goal of the configuration with `hours` or `snr` stands as it is; one without (a priority or
    an angle alone) takes the journal's hours. Filters that the wheel no longer holds and targets
    that are no longer known are left out.

    Parameters
    ----------
    stored : mapping of target to mapping of filter to float
        Equivalent hours.
    composed : mapping of target to FramingWish
        A composition of the configuration, `framing.NAME`, stands as it is; one for a train that
        is no longer there is left out.
    """
    goals = dict(config.goal)
    spelled = {catalog.find(name): name for name in config.goal}
    for name, by_filter in stored.items():
        known = {*config.filter, *config.channel}
        hours = {one: value for one, value in by_filter.items() if one in known}
        try:
            row = catalog.find(name)
        except TargetError:
            continue
        key = spelled.get(row, str(catalog.name[row]))
        goal = goals.get(key, Goal())
        if hours and not (goal.hours or goal.snr):
            goals[key] = goal.model_copy(update={"hours": hours})
    framings = {}
    own = {catalog.find(name) for name in config.framing}
    for name, wish in composed.items():
        try:
            row = catalog.find(name)
        except TargetError:
            continue
        if row not in own and (wish.train is None or wish.train in config.train):
            framings[str(catalog.name[row])] = wish
    return config.model_copy(update={"goal": goals, "framing": {**framings, **config.framing}})
