"""What many targets are worth whatever the night: framing and contrast, as `pick` scores them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.planning.choosing.score_parts import (
    contrast_part,
    framing_part,
)
from nightplan.planning.framing.catalog_framing import frame_catalog
from nightplan.planning.framing.wished_catalog import with_wishes
from nightplan.planning.photons.goals import target_goals
from nightplan.planning.photons.photon_budget import photon_budget
from nightplan.planning.tonight.visibility import sky_tracks

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Merits:
    """Parts of the score that need no night, each (target,): `framing` and `contrast` from 0 to
    1, and `goal_h`, the equivalent hours that a target can use."""

    framing: Floats
    contrast: Floats
    goal_h: Floats


def catalog_merits(config: Config, catalog: Catalog, train: str, utc_mjd: float) -> Merits:
    """Merits of all targets of a catalogue in one train.

    Parameters
    ----------
    utc_mjd : float
        Any moment of the season; the contrast is that of the moonless zenith.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train.
    """
    framed = with_wishes(config, catalog, frame_catalog(config, catalog, (train,)))
    framing, _ = framing_part(config, catalog, framed, (train,))
    tracks = sky_tracks(config.site, catalog.ra_deg, catalog.dec_deg, [utc_mjd])
    targets = catalog.targets(range(len(catalog)))
    budget = photon_budget(config, train, targets, tracks)
    goals = target_goals(config, targets, train, budget)
    leads = np.array([goal.recipe.leading for goal in goals], dtype=object)
    contrast = contrast_part(config, catalog, budget, leads)
    return Merits(framing[:, 0], contrast, np.array([goal.hours for goal in goals]))
