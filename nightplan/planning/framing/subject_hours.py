"""Hours of one target count for every other that its framing holds whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from nightplan.errors import TargetError
from nightplan.planning.framing.framing import frame_target
from nightplan.planning.framing.subjects import held
from nightplan.planning.optics.train_optics import train_optics
from nightplan.sky.angles import separation_deg

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.returning.earlier_nights import EarlierNights, GatheredHours


def with_subject_hours(
    config: Config, catalog: Catalog, earlier: EarlierNights, targets: Sequence[Target]
) -> EarlierNights:
    """Add to targets the hours of others whose framing holds them: M 110 has those of M 31.

    Only hours of a known train in one field count: which panel of a mosaic holds the target is
    left open, and so are targets that the catalogue no longer knows.
    """
    more: list[GatheredHours] = []
    shot = {(row.target, row.train) for row in earlier.gathered if row.train in config.train}
    for name, train in shot:
        try:
            other = catalog.target(catalog.find(name))
        except TargetError:
            continue
        assert train is not None
        near = [one for one in targets if one.name != name and _near(config, train, one, other)]
        if not near:
            continue
        framing = frame_target(
            config, other, train, used_angles=earlier.used_angles.get((name, train), ())
        )
        if framing.is_mosaic:
            continue
        inside = held(config, framing, near)
        for target in (one for one, is_held in zip(near, inside, strict=True) if is_held):
            rows = (row for row in earlier.gathered if (row.target, row.train) == (name, train))
            more += [replace(row, target=target.name, panel=None) for row in rows]
    return replace(earlier, gathered=(*earlier.gathered, *more)) if more else earlier


def _near(config: Config, train: str, one: Target, other: Target) -> bool:
    optics = train_optics(config, train)
    apart = separation_deg(one.ra_deg, one.dec_deg, other.ra_deg, other.dec_deg)
    reach_deg = np.hypot(optics.field_width_deg, optics.field_height_deg)
    return bool(np.asarray(apart) <= reach_deg)
