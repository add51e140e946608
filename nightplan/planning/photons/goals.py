"""How many hours each filter of a target should get, and where that number comes from.

The hours to the wanted signal to noise through the leading filter, at this site in this train, are
spread over the recipe; the sum stays between a floor and a ceiling of the kind. More brightness
never asks for more hours: the leading filter's hours fall with it, and the ratios do not depend on
it. Star colours take fixed minutes beside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from nightplan.model.channels import at_once
from nightplan.model.wishes import goal_for
from nightplan.planning.photons.recipes import (
    O_III_SHELL,
    Recipe,
    luminance_channels,
    recipe_of,
    weights_of,
)
from nightplan.planning.photons.time_to_snr import Floats, reference_snr_one_hour

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.photons.photon_budget import PhotonBudget

GoalOrigin = Literal["brightness", "floor", "ceiling", "goal_hours", "target_hours", "goal"]

# Least and most hours over the filters that make the picture, by kind; common practice, no
# source: stars are bright, so that a cluster is done in a part of the time that faint dust takes.
HOURS_BY_KIND: dict[str, tuple[float, float]] = {
    "galaxy": (6.0, 20.0),
    "galaxy_group": (6.0, 20.0),
    "emission_nebula": (4.0, 20.0),
    "cluster_with_nebula": (4.0, 20.0),
    "supernova_remnant": (6.0, 24.0),
    "planetary_nebula": (2.0, 16.0),
    "reflection_nebula": (4.0, 16.0),
    "dark_nebula": (6.0, 20.0),
    "open_cluster": (1.0, 4.0),
    "globular_cluster": (1.5, 6.0),
    "star_field": (1.5, 6.0),
    "other": (3.0, 12.0),
}
FAINT_SHELL_CEILING_H = 30.0
"""Of what shines in O III alone."""

# Share of the configured `goal_hours` that a kind can put to use; common practice, no source.
SHARE_OF_GOAL_HOURS: dict[str, float] = {
    "galaxy": 0.8,
    "galaxy_group": 0.8,
    "open_cluster": 0.25,
    "globular_cluster": 0.3,
    "star_field": 0.3,
    "planetary_nebula": 0.8,
}

MOST_H = 1000.0


@dataclass(frozen=True)
class WantedFilter:
    """One filter that a target deserves.

    Attributes
    ----------
    filter : str
        Name of the filter, or of its channel where it has several.
    share : float
        Share of the target's whole goal, 0 to 1; the shares of a target sum to 1, or to more
        where a sub counts for several.
    goal_h : float
        Wanted equivalent hours.
    """

    filter: str
    share: float
    goal_h: float


@dataclass(frozen=True)
class TargetGoal:
    """What is wanted of one target in one train, and where it comes from.

    Attributes
    ----------
    recipe : Recipe
    wanted : tuple of WantedFilter
        In the wheel's order.
    origin : str
        `brightness`; `floor` or `ceiling` of the kind; `goal_hours` of the preferences;
        `target_hours`, the goal's own `goal_hours`; `goal`, its hours or signal to noise by filter.
    lead_h : float
        Hours that the leading filter takes to the wanted signal to noise; infinite without light.
    hours : float
        Of subs through all filters together.
    wanted_snr, reached_snr : float
        Per square arcsecond through the leading filter: wanted, and reached with the goal.
    """

    recipe: Recipe
    wanted: tuple[WantedFilter, ...]
    origin: GoalOrigin
    lead_h: float
    hours: float
    wanted_snr: float
    reached_snr: float


def target_goals(
    config: Config, targets: Sequence[Target], train: str, budget: PhotonBudget | None = None
) -> tuple[TargetGoal, ...]:
    """Recipes and goals of many targets in one train.

    Parameters
    ----------
    budget : PhotonBudget, optional
        Of these targets in this train, where it is at hand; else the part that is needed is made.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train.
    """
    if not targets:
        return ()
    if budget is not None:
        snr = budget.reference_snr_one_hour
    else:
        snr = reference_snr_one_hour(config, targets, train)
    return tuple(_goal(config, target, own) for target, own in zip(targets, snr, strict=True))


def wanted_filters(
    config: Config, target: Target, train: str | None = None
) -> tuple[WantedFilter, ...]:
    """The filters of this wheel that a target deserves, in the wheel's order.

    Hours are those in `train`, or in the configuration's first one.
    """
    return target_goals(config, [target], train or next(iter(config.train)))[0].wanted


def hours_range(target: Target) -> tuple[float, float]:
    """Floor and ceiling, hours, of what is wanted of a target by its brightness."""
    dust = target.kind == "cluster_with_nebula" and not target.lines
    floor, ceiling = HOURS_BY_KIND["reflection_nebula" if dust else target.kind]
    return floor, FAINT_SHELL_CEILING_H if weights_of(target) is O_III_SHELL else ceiling


def _goal(config: Config, target: Target, snr_one_hour: Floats) -> TargetGoal:
    """`snr_one_hour` is by channel, (channel,)."""
    recipe = recipe_of(config, target)
    own, columns = goal_for(config, target), list(config.channel)
    snr = config.preferences.wanted_snr
    one_hour = float(
        np.hypot.reduce(
            [
                snr_one_hour[columns.index(name)]
                for name in luminance_channels(config, recipe.leading)
            ]
        )
    )
    lead_h = (snr / one_hour) ** 2 if one_hour > 0.0 else np.inf
    origin: GoalOrigin
    # Where a sub counts for several filters of the recipe, hours to choose are those of subs.
    subs_count = at_once(config, {part.filter: part.share for part in recipe.parts if part.share})
    picture_h = 0.0
    if recipe.reason == "goal":
        origin = "goal"
    elif own is not None and own.goal_hours is not None:
        origin, picture_h = "target_hours", own.goal_hours * subs_count
    elif config.preferences.goal_hours is not None:
        origin = "goal_hours"
        picture_h = config.preferences.goal_hours * SHARE_OF_GOAL_HOURS.get(target.kind, 1.0)
        picture_h *= subs_count
    else:
        share = next(part.share for part in recipe.parts if part.filter == recipe.leading)
        asked = lead_h / share
        floor, ceiling = (subs_count * hours for hours in hours_range(target))
        origin = "floor" if asked < floor else "ceiling" if asked > ceiling else "brightness"
        picture_h = min(max(asked, floor), ceiling)
    fixed_h = sum(part.fixed_h for part in recipe.parts)
    scale = 1.0
    if origin in {"goal_hours", "target_hours"}:
        # Hours given are those of all filters, the stars' colours among them, at most by half.
        scale = min(1.0, 0.5 * picture_h / fixed_h) if fixed_h > 0.0 else 1.0
        picture_h -= fixed_h * scale
    hours = {part.filter: part.share * picture_h + part.fixed_h * scale for part in recipe.parts}
    if origin == "goal" and own is not None:
        for name, wish in own.snr.items():
            light = float(snr_one_hour[columns.index(name)])
            hours[name] = min(MOST_H, (wish / light) ** 2 if light > 0.0 else np.inf)
    total = sum(hours.values()) / at_once(config, hours)
    wanted = tuple(WantedFilter(name, value / total, value) for name, value in hours.items())
    reached = one_hour * float(np.sqrt(hours[recipe.leading]))
    return TargetGoal(recipe, wanted, origin, float(lead_h), total, snr, reached)
