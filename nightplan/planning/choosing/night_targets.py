"""Targets that a night, or a run of nights, may choose from: named, wanted, begun, or the best of
the ranking that are not the same picture."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.errors import TargetError
from nightplan.planning.choosing.selection import RankedTarget, rank_targets
from nightplan.planning.optics.train_optics import train_optics
from nightplan.sky.angles import separation_deg

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.tonight.night import Night

LOOKED_AT = 60
MOST_CANDIDATES = 10
"""More are not looked at night by night: the best two or three of a night come from the first."""


@dataclass(frozen=True)
class Candidates:
    """Targets to choose from.

    Attributes
    ----------
    targets : tuple of Target
    wanted : tuple of bool
        Whether the imager asked for it: named, in the list, with a goal, or begun.
    merit : tuple of float
        How well it fits a field and stands out, beside the best of the ranking, 0 to 1; 1 for
        what the imager asked for.
    """

    targets: tuple[Target, ...]
    wanted: tuple[bool, ...]
    merit: tuple[float, ...]

    @classmethod
    def named(cls, targets: tuple[Target, ...]) -> Candidates:
        """Targets that the imager named."""
        return cls(targets, (True,) * len(targets), (1.0,) * len(targets))

    def with_others(self, targets: Iterable[Target]) -> Candidates:
        """These, and others that are not among them yet and were not asked for."""
        known = {target.name for target in self.targets}
        extra = tuple(target for target in targets if target.name not in known)
        none = len(extra)
        return Candidates(
            (*self.targets, *extra),
            (*self.wanted, *(False,) * none),
            (*self.merit, *(1.0,) * none),
        )


def named_targets(catalog: Catalog, names: Sequence[str]) -> tuple[Target, ...]:
    """Targets by name, each once, in the order given. Raises TargetError for unknown names."""
    rows = dict.fromkeys(catalog.find(name) for name in names)
    return tuple(catalog.target(row) for row in rows)


def wanted_targets(
    config: Config, catalog: Catalog, gathered_h: Mapping[str, Mapping[str, float]]
) -> tuple[Target, ...]:
    """What the configuration lists, what has a goal, and what earlier nights began.

    A begun target that the catalogue no longer knows is left out. Raises TargetError for names of
    the configuration that are unknown.
    """
    known = named_targets(catalog, (*config.preferences.targets, *config.goal))
    begun = []
    for name, hours in gathered_h.items():
        try:
            row = catalog.find(name)
        except TargetError:
            continue
        if sum(hours.values()) > 0.0:
            begun.append(catalog.target(row))
    return tuple({target.name: target for target in (*known, *begun)}.values())


def candidates(
    config: Config,
    nights: Iterable[Night],
    catalog: Catalog,
    gathered_h: Mapping[str, Mapping[str, float]],
    most: int = MOST_CANDIDATES,
) -> Candidates:
    """What is wanted, then the best of each night's ranking in turn that differ from all before.

    Two targets that would share a field are the same picture; the first counts.
    """
    wanted = wanted_targets(config, catalog, gathered_h)
    found, merit = list(wanted), [1.0] * len(wanted)
    rankings = [
        rank_targets(config, night, catalog, most=LOOKED_AT, gathered_h=gathered_h).ranked
        for night in nights
    ]
    looks = [_looks(entry) for ranked in rankings for entry in ranked[:most]]
    best = max(looks, default=1.0)
    for place in range(LOOKED_AT):
        for ranked in rankings:
            if place < len(ranked) and len(found) < max(most, len(wanted) + 2):
                entry = ranked[place]
                if not any(same_picture(config, entry, one) for one in found):
                    found.append(entry.target)
                    merit.append(min(1.0, _looks(entry) / best))
    wanted_flags = tuple(index < len(wanted) for index in range(len(found)))
    return Candidates(tuple(found), wanted_flags, tuple(merit))


def _looks(entry: RankedTarget) -> float:
    return entry.score_parts["framing"] * entry.score_parts["contrast"]


def same_picture(config: Config, one: RankedTarget, other: Target) -> bool:
    """Whether two targets would share a field: nearer than half the field's long side."""
    optics = train_optics(config, one.train)
    apart = separation_deg(one.target.ra_deg, one.target.dec_deg, other.ra_deg, other.dec_deg)
    longest = max(optics.field_width_deg, optics.field_height_deg)
    return bool(np.asarray(apart) < 0.5 * longest)
