"""Tonight's targets: those named, or the best of the ranking that are not the same picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from nightplan.planning.selection import RankedTarget, rank_targets
from nightplan.planning.train_optics import train_optics
from nightplan.sky.angles import separation_deg

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.night import Night

LOOKED_AT = 60


def named_targets(catalog: Catalog, names: Sequence[str]) -> tuple[Target, ...]:
    """Targets by name, each once, in the order given. Raises TargetError for unknown names."""
    rows = dict.fromkeys(catalog.find(name) for name in names)
    return tuple(catalog.target(row) for row in rows)


def best_targets(
    config: Config,
    night: Night,
    catalog: Catalog,
    gathered_h: Mapping[str, Mapping[str, float]] | None = None,
) -> tuple[Target, ...]:
    """The best of the night that differ: at most `preferences.tonight_most_targets`.

    Goals of the configuration come first, as far as they are up tonight. The rest share one
    train, for nobody swaps it in the dark: of the trains' own best lists the one whose scores sum
    to most is taken. What lies in a field already taken is left out.
    """
    ranking = rank_targets(config, night, catalog, most=LOOKED_AT, gathered_h=gathered_h)
    wanted = {catalog.target(catalog.find(name)).name for name in config.goal}
    goals = [entry for entry in ranking.ranked if entry.target.name in wanted]
    lists = [
        _differing(config, goals, [entry for entry in ranking.ranked if entry.train == train])
        for train in config.train
    ]
    best = max(lists, key=lambda entries: sum(entry.score for entry in entries))
    return tuple(entry.target for entry in best)


def _differing(
    config: Config, goals: Sequence[RankedTarget], others: Sequence[RankedTarget]
) -> list[RankedTarget]:
    taken: list[RankedTarget] = []
    for entry in (*goals, *others):
        if len(taken) == config.preferences.tonight_most_targets:
            break
        if not any(same_picture(config, entry, other) for other in taken):
            taken.append(entry)
    return taken


def same_picture(config: Config, one: RankedTarget, other: RankedTarget) -> bool:
    """Whether two targets would share a field: nearer than half the field's long side."""
    longest = max(
        max(optics.field_width_deg, optics.field_height_deg)
        for optics in (train_optics(config, train) for train in (one.train, other.train))
    )
    apart = separation_deg(
        one.target.ra_deg, one.target.dec_deg, other.target.ra_deg, other.target.dec_deg
    )
    return bool(np.asarray(apart) < 0.5 * longest)
