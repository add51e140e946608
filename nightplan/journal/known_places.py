"""Where the imager works: what an exposure without a usable name may have been taken of."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from nightplan.errors import NightplanError
from nightplan.journal.journal import Journal
from nightplan.journal.target_match import KnownPlace, TargetMatcher

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config


def matcher_for(config: Config, catalog: Catalog) -> TargetMatcher:
    """Finds targets by name in a catalogue, by place among the imager's own."""
    return TargetMatcher(catalog, _places(config, catalog), _reach_deg(config))


def _places(config: Config, catalog: Catalog) -> list[KnownPlace]:
    """Framings in the journal, own targets, wishes, goals, compositions and what was shot."""
    places: list[KnownPlace] = []
    shot: list[str] = []
    journal = Journal.of(config)
    if journal is not None:
        with journal:
            in_force: dict[tuple[str, str, int], KnownPlace] = {}
            for one in journal.framings():  # newest first
                in_force.setdefault(
                    (one.target, one.train, one.panel),
                    KnownPlace(
                        one.target,
                        one.panel,
                        one.ra_deg,
                        one.dec_deg,
                        one.train,
                        _field_deg(config, one.train),
                        one.position_angle_deg,
                    ),
                )
            places += in_force.values()
            shot = [one.target for one in journal.gathered_table()]
    own = (*config.target, *config.preferences.targets, *config.goal, *config.framing, *shot)
    for name in dict.fromkeys(own):
        try:
            row = catalog.find(name)
        except NightplanError:
            continue
        places.append(
            KnownPlace(
                str(catalog.name[row]), 1, float(catalog.ra_deg[row]), float(catalog.dec_deg[row])
            )
        )
    return places


def _field_deg(config: Config, train: str) -> tuple[float, float] | None:
    """Half the long and half the short side of a train's field; none for a train that is gone."""
    if train not in config.train:
        return None
    focal_mm = config.optics.focal_length_mm * config.train[train].factor
    sides = sorted((config.camera.width_mm, config.camera.height_mm), reverse=True)
    long_side, short_side = (math.degrees(math.atan(side / 2.0 / focal_mm)) for side in sides)
    return long_side, short_side


def _reach_deg(config: Config) -> float:
    """Half a diagonal of the widest train's field."""
    focal_mm = config.optics.focal_length_mm * min(one.factor for one in config.train.values())
    return math.degrees(math.atan(config.camera.diagonal_mm / 2.0 / focal_mm))
