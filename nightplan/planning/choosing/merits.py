"""What many targets are worth whatever the night: framing and contrast, as `pick` scores them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats
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


@dataclass(frozen=True)
class Merits:
    """Parts of the score that need no night, each (target,): `framing` and `contrast` from 0 to
    1, `goal_h`, the equivalent hours that a target can use, and the `train` that they are of."""

    framing: Floats
    contrast: Floats
    goal_h: Floats
    train: NDArray[Any]


def best_merits(
    config: Config, catalog: Catalog, allowed: Mapping[str, NDArray[np.bool_]], utc_mjd: float
) -> Merits:
    """Merits of each target in the train that suits it best, by framing × contrast.

    Parameters
    ----------
    allowed : mapping of train to bool array (target,)
        Which targets a train may be taken for; the first train for those that none is.
    utc_mjd : float
        As of `catalog_merits`.
    """
    found = [catalog_merits(config, catalog, train, utc_mjd) for train in allowed]
    value = np.stack([
        np.where(mask, one.framing * one.contrast, -1.0)
        for one, mask in zip(found, allowed.values(), strict=True)
    ])  # fmt: skip
    best, rows = np.argmax(value, axis=0), np.arange(len(catalog))

    def of(name: str) -> NDArray[Any]:
        return np.stack([getattr(one, name) for one in found])[best, rows]

    return Merits(of("framing"), of("contrast"), of("goal_h"), of("train"))


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
    hours = np.array([goal.hours for goal in goals])
    return Merits(framing[:, 0], contrast, hours, np.full(len(catalog), train, dtype=object))
