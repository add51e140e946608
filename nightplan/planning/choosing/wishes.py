"""What narrows the catalogue before it is ranked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog


@dataclass(frozen=True)
class Wishes:
    """What narrows the catalogue before it is ranked; empty or None leaves all in.

    Sizes are the major axis in arcminutes, `brighter_mag` a total magnitude (targets without one
    drop out when it is given).
    """

    kinds: Sequence[str] = ()
    constellations: Sequence[str] = ()
    larger_arcmin: float | None = None
    smaller_arcmin: float | None = None
    brighter_mag: float | None = None
    names: Sequence[str] = ()


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
