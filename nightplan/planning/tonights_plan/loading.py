"""Which of the owned filters to put into the wheel before the night, and what each choice costs.

Filters are taken out one by one, each time the one that the night, weighed beside the nights after
it, misses least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.planning.ahead.assessment import assess, night_rules
from nightplan.planning.ahead.choice import choose_night
from nightplan.planning.ahead.futures import LOOK_NIGHTS

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.returning.earlier_nights import EarlierNights
    from nightplan.planning.tonight.night import Night

FUTURES = 8
STEPS = 30
"""Choices are compared on few futures and steps: what is asked is their order."""


@dataclass(frozen=True)
class FilterChoice:
    """An owned filter. `worth_h` is what tonight would lose without it where it is loaded, and what
    it would add where it is not, equivalent hours of a target of priority 1."""

    filter: str
    loaded: bool
    worth_h: float


def choose_loading(
    config: Config,
    night: Night,
    targets: Sequence[Target],
    earlier: EarlierNights,
) -> tuple[FilterChoice, ...]:
    """The owned filters in the order of the file, as many of them loaded as the wheel carries."""
    names = tuple(config.filter)
    chance = config.preferences.clear_night_chance
    found = assess(config, night.evening, 1 + LOOK_NIGHTS, targets, earlier, chance)
    rows, positions = found.rows, config.wheel.positions
    if rows is None or not found.ahead.slots[0]:
        return tuple(FilterChoice(name, at < positions, 0.0) for at, name in enumerate(names))
    rate = found.rate[0, : found.ahead.slots[0]]
    futures = found.futures_after(0, chance, 1 + LOOK_NIGHTS, FUTURES)
    rules = night_rules(config, found, 0)

    def gain(loaded: set[int]) -> float:
        mine = np.isin(rows.filter, list(loaded))
        own = np.where(mine, rate, 0.0)
        choice = choose_night(rows, rows.gathered_h[None], own, futures, rules, steps=STEPS)
        return float(choice.gain[0])

    loaded = set(range(len(names)))
    # What no target of tonight wants goes first, the last of the file before the others.
    wanted = set(np.unique(rows.filter[rate.any(axis=0)]).tolist())
    for index in sorted(loaded - wanted, reverse=True):
        if len(loaded) > positions:
            loaded.remove(index)
    while len(loaded) > positions:
        loaded.remove(max(sorted(loaded, reverse=True), key=lambda one: gain(loaded - {one})))
    whole = gain(loaded)
    return tuple(
        FilterChoice(
            name,
            index in loaded,
            max(0.0, whole - gain(loaded - {index}) if index in loaded
                else gain(loaded | {index}) - whole),
        )
        for index, name in enumerate(names)
    )  # fmt: skip
