"""A set of short subs for a core that the normal subs burn out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.light.core_brightness import core_source
from nightplan.light.source_brightness import source_rates, target_source
from nightplan.light.sub_length import lengths_within, saturation_s
from nightplan.planning.photons.filter_budget import FilterBudget, filter_budgets, site_sky
from nightplan.planning.photons.photon_budget import target_facts

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target

ROOM = 0.8
"""Share of full well that a core may fill: above it a sensor bends, and noise and seeing clip
(common practice, no source)."""

COUNT = 20
"""Subs of a short set: a core is bright, so that few do (common practice, no source)."""


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
        """Open shutter, all filters."""
        return self.sub_s * self.count * len(self.filters)


def short_set(
    config: Config, target: Target, train: str, filters: Sequence[str], leading: str
) -> ShortSet | None:
    """The short set that a target needs in a train; None where no core saturates.

    Parameters
    ----------
    filters : sequence of str
        Those that the target is shot through.
    leading : str
        The one whose class is looked at first: one short set a night is enough.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train.
    """
    facts = target_facts(target)
    core = core_source(facts, target_source(facts))
    if core is None:
        return None
    sky = site_sky(config)
    budgets = [one for one in filter_budgets(config, train, sky) if one.filter in filters]
    continuum, lines = source_rates([core], [one.response for one in budgets])
    rate = (continuum + lines)[0] * np.array([one.px_factor for one in budgets])
    longest = {
        one.filter: float(
            saturation_s(ROOM * one.saturation_e, e_s, one.reference_sky_e_s + one.dark_e_s)
        )
        for one, e_s in zip(budgets, rate, strict=True)
    }
    first = config.filter[leading].is_narrow
    for narrow in (first, not first):
        burnt = [
            one
            for one in budgets
            if config.filter[one.filter].is_narrow == narrow and one.sub_s > longest[one.filter]
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
    return ShortSet(
        filters=tuple(one.filter for one in burnt),
        gain=burnt[0].gain,
        sub_s=under[-1] if under else allowed[0],
        count=COUNT,
        core_fill=max(ROOM * one.sub_s / longest[one.filter] for one in burnt),
        clips_still=not under,
        core_source=source,
    )
