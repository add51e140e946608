"""The closed-form framing of a catalogue, corrected where the imager composed a target himself."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from nightplan.errors import TargetError
from nightplan.model.wishes import framing_for
from nightplan.planning.framing.catalog_framing import CatalogFraming
from nightplan.planning.framing.framing import frame_target

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config


def with_wishes(config: Config, catalog: Catalog, framed: CatalogFraming) -> CatalogFraming:
    """`framed` with the exact framing of the targets that have a wish; rows as of `catalog`."""
    if not config.framing:
        return framed
    changed = replace(
        framed,
        coverage=framed.coverage.copy(),
        margin_arcmin=framed.margin_arcmin.copy(),
        position_angle_deg=framed.position_angle_deg.copy(),
        panels=framed.panels.copy(),
        fits=framed.fits.copy(),
        allowed=framed.allowed.copy(),
    )
    wanted = config.preferences.margin_arcmin
    for name, wish in config.framing.items():
        try:
            row = catalog.find(name)
        except TargetError:
            continue
        target = catalog.target(row)
        # In a part of the catalogue a name may find a neighbour of the target that it means.
        if framing_for(config, target) is not wish:
            continue
        for column, train in enumerate(framed.trains):
            found = frame_target(config, target, train)
            fits = not found.is_mosaic and found.margin_arcmin >= wanted - 1e-6
            changed.coverage[row, column] = found.coverage
            changed.margin_arcmin[row, column] = found.margin_arcmin
            changed.position_angle_deg[row, column] = found.position_angle_deg
            changed.fits[row, column] = fits
            # A field that cuts the target by wish is no mosaic left undone.
            single = 1.0 if fits else np.inf
            changed.panels[row, column] = len(found.panels) if found.is_mosaic else single
            changed.allowed[row, column] = wish.train in (None, train)
    return changed
