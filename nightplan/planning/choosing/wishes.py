"""What narrows the catalogue before it is ranked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats

if TYPE_CHECKING:
    from astroplan import Constraint

    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.planning.tonight.visibility import SkyTracks


@dataclass(frozen=True)
class Wishes:
    """What narrows the catalogue before it is ranked; empty or None leaves all in.

    Sizes are the major axis in arcminutes, `brighter_mag` a total magnitude (targets without one
    drop out when it is given). `constraints` are astroplan constraints, evaluated on the grid of
    targets x times; what they forbid counts as unusable, what they grade weighs the worth.
    """

    kinds: Sequence[str] = ()
    constellations: Sequence[str] = ()
    larger_arcmin: float | None = None
    smaller_arcmin: float | None = None
    brighter_mag: float | None = None
    names: Sequence[str] = ()
    constraints: Sequence[Constraint] = ()


def wished_rows(catalog: Catalog, wishes: Wishes) -> NDArray[np.intp]:
    """Rows of a catalogue that the wishes leave in. Raises as `rank_targets`."""
    return np.flatnonzero(
        catalog.mask(
            kinds=wishes.kinds,
            constellations=wishes.constellations,
            smallest_arcmin=wishes.larger_arcmin,
            largest_arcmin=wishes.smaller_arcmin,
            faintest_mag=wishes.brighter_mag,
            keep_unknown_magnitude=False,
            names=wishes.names,
        )
    )


def constraint_value(
    config: Config,
    catalog: Catalog,
    rows: NDArray[np.intp],
    constraint: Constraint,
    tracks: SkyTracks,
) -> Floats:
    """An astroplan constraint on targets x times, as floats from 0 to 1."""
    value = constraint(
        config.site.observer,
        catalog.subset(rows).coords,
        times=tracks.time,
        grid_times_targets=True,
    )
    return np.asarray(value, dtype=float)
