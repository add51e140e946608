"""A set of short subs for a core that the normal subs burn out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.errors import TargetError
from nightplan.light.core_brightness import core_source
from nightplan.light.source_brightness import source_rates, target_source
from nightplan.light.sub_length import lengths_within, saturation_s
from nightplan.planning.photons.filter_budget import FilterBudget, filter_budgets
from nightplan.planning.photons.photon_budget import target_facts
from nightplan.planning.photons.recipes import recipe_of
from nightplan.planning.photons.sub_sets import is_short

if TYPE_CHECKING:
    from nightplan.journal.records import Sub
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target

ROOM = 0.8
"""Share of full well that a core may fill: above it a sensor bends, and noise and seeing clip
(common practice, no source)."""

LONGEST_SET_S = 600.0
"""A short set takes minutes (common practice, no source): a core that fills a pixel in a minute or
two has all the signal it needs in less."""
DONE_SHARE = 0.8
"""A short set with so much of its subs is not gone back for (common practice, no source)."""


@dataclass(frozen=True)
class ShortSet:
    """Short subs beside the normal ones, one length and gain for all filters that need them.

    Attributes
    ----------
    filters : tuple of str
        Those of one class of the target's filters whose normal sub the core burns out.
    gain, sub_s, count
        `count` is that of each filter.
    core_fill : float
        How many times over the core fills its pixels in the normal sub of the worst of them.
    clips_still : bool
        The shortest length allowed is too long as well.
    core_source : str
        Where the core's brightness is from.
    """

    filters: tuple[str, ...]
    gain: str
    sub_s: float
    count: int
    core_fill: float
    clips_still: bool
    core_source: str

    @property
    def open_s(self) -> float:
        """Open shutter of each filter."""
        return self.sub_s * self.count


def short_set(
    config: Config, target: Target, train: str, budgets: Sequence[FilterBudget] | None = None
) -> ShortSet | None:
    """The short set that a target's recipe needs in a train; None where no core saturates.

    The class of the leading filter is looked at first: one short set a night is enough.

    Parameters
    ----------
    budgets : sequence of FilterBudget, optional
        Of the train, where they are at hand.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train.
    """
    facts = target_facts(target)
    core = core_source(facts, target_source(facts))
    if core is None or not config.preferences.sub.short_subs:
        return None
    recipe = recipe_of(config, target)
    filters = [part.filter for part in recipe.parts]
    budgets = [one for one in budgets or filter_budgets(config, train) if one.filter in filters]
    continuum, lines = source_rates([core], [one.response for one in budgets])
    rate = (continuum + lines)[0] * np.array([one.px_factor for one in budgets])
    longest = {
        one.filter: float(
            saturation_s(ROOM * one.saturation_e, e_s, one.reference_sky_e_s + one.dark_e_s)
        )
        for one, e_s in zip(budgets, rate, strict=True)
    }
    first = config.channel[recipe.leading].is_narrow
    for narrow in (first, not first):
        burnt = [
            one
            for one in budgets
            if config.channel[one.filter].is_narrow == narrow and one.sub_s > longest[one.filter]
        ]
        if burnt:
            return _of(config, burnt, longest, core.continuum_source if not narrow
                       else core.line_sources[0])  # fmt: skip
    return None


def _of(
    config: Config, burnt: Sequence[FilterBudget], longest: dict[str, float], source: str
) -> ShortSet:
    wish = config.preferences.sub
    most = min(longest[one.filter] for one in burnt)
    allowed = lengths_within(wish.lengths_s, wish.shortest_s, min(one.sub_s for one in burnt))
    under = [one for one in allowed if one <= most]
    few = [one for one in under if one * wish.short_subs <= LONGEST_SET_S]
    return ShortSet(
        filters=tuple(dict.fromkeys(config.channel[one.filter].filter for one in burnt)),
        gain=burnt[0].gain,
        sub_s=few[-1] if few else allowed[0],
        count=wish.short_subs,
        core_fill=max(ROOM * one.sub_s / longest[one.filter] for one in burnt),
        clips_still=not under,
        core_source=source,
    )


def short_subs(config: Config, catalog: Catalog, subs: Sequence[Sub]) -> Callable[[Sub], bool]:
    """Tells of each of some subs whether it is of its target's short set: nearer in length to that
    than to the normal sub."""
    first = next(iter(config.train))
    budgets = {train: filter_budgets(config, train) for train in config.train} if subs else {}
    lengths: dict[tuple[str, str | None, str], tuple[float, float]] = {}
    for name, known in dict.fromkeys((sub.target, sub.train) for sub in subs):
        train = known or first
        if train not in budgets:
            continue
        try:
            target = catalog.target(catalog.find(name))
        except TargetError:
            continue
        found = short_set(config, target, train, budgets[train])
        if found is not None:
            normal = {config.channel[one.filter].filter: one.sub_s for one in budgets[train]}
            lengths |= {(name, known, one): (found.sub_s, normal[one]) for one in found.filters}

    def is_of_short_set(sub: Sub) -> bool:
        both = lengths.get((sub.target, sub.train, sub.filter))
        return both is not None and is_short(sub.exposure_s, *both)

    return is_of_short_set
