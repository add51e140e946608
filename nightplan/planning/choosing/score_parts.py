"""The parts of a target's score that need neither time nor moon, for many targets at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats
from nightplan.errors import TargetError
from nightplan.light.starlight import integrated_starlight_v_mag_arcsec2
from nightplan.model.wishes import by_channel
from nightplan.planning.framing.mosaic_or_field import framing_value
from nightplan.planning.optics.train_optics import train_optics
from nightplan.planning.photons.goals import wanted_filters
from nightplan.planning.value.progress_value import target_weight
from nightplan.sky.galactic import sin_galactic_latitude

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.planning.photons.photon_budget import PhotonBudget


FULL_SIZE_SHARE = 0.35
"""Share of the field's short side at which a target counts as filling it."""
BEGUN = 3.0
"""What a begun target leads by: more than the best new one gains by its looks."""
CLUSTERS = ("open_cluster", "globular_cluster")


def framing_part(
    config: Config, catalog: Catalog, framed: Any, trains: tuple[str, ...]
) -> tuple[Floats, NDArray[np.intp]]:
    """Framing part (target, train) and panels: size against the field, coverage, mosaic cost."""
    short_side = np.array(
        [60.0 * min(o.field_width_deg, o.field_height_deg) for o in _optics(config, trains)]
    )
    major = np.nan_to_num(catalog.major_arcmin, nan=1.0)
    minor = np.nan_to_num(catalog.minor_or_round_arcmin, nan=1.0)
    size = np.sqrt(np.maximum(major * minor, 0.0))[:, None] / short_side
    fill = np.minimum(1.0, size / FULL_SIZE_SHARE)
    most = config.preferences.mosaic_most_panels
    panels = np.where(framed.fits, 1, np.maximum(framed.panels, 1)).astype(float)
    whole = panels <= most
    by_mosaic = np.where(whole, framing_value(1.0, panels), 0.0)
    by_field = framing_value(framed.coverage, 1)
    single = by_field >= by_mosaic
    part = fill * np.maximum(by_field, by_mosaic) * framed.allowed
    return part, np.where(single, 1, panels).astype(np.intp)


def _optics(config: Config, trains: tuple[str, ...]) -> list[Any]:
    return [train_optics(config, train) for train in trains]


def contrast_part(
    config: Config, catalog: Catalog, budget: PhotonBudget, filters: NDArray[Any]
) -> Floats:
    """Contrast part (target,) of the targets of `budget`, each through its leading filter."""
    column = np.array([budget.filter_names.index(name) for name in filters], dtype=np.intp)
    snr = budget.reference_snr_one_hour[np.arange(column.size), column]
    stands_out = share_of_starlight(catalog, [source.v_mag for source in budget.light.sources])
    return np.asarray(snr / (snr + 0.5 * config.preferences.wanted_snr) * stands_out)


def share_of_starlight(catalog: Catalog, v_mag_arcsec2: Sequence[float]) -> Floats:
    """A cluster's share of the starlight in its outline, 1 for what is no cluster; (target,)."""
    field = integrated_starlight_v_mag_arcsec2(
        sin_galactic_latitude(catalog.ra_deg, catalog.dec_deg)
    )
    share = 1.0 / (1.0 + 10.0 ** (0.4 * (np.asarray(v_mag_arcsec2, dtype=float) - field)))
    return np.where(np.isin(catalog.kind, CLUSTERS), share, 1.0)


def priorities(config: Config, catalog: Catalog) -> dict[str, float]:
    """Priority by canonical name of every goal that the catalogue knows."""
    return {
        str(catalog.name[row]): goal.priority
        for name, goal in config.goal.items()
        if (row := row_named(catalog, name)) is not None
    }


def gathered_table(
    config: Config, catalog: Catalog, gathered_h: Mapping[str, Mapping[str, float]]
) -> Floats:
    """Equivalent hours of earlier nights, (target, channel)."""
    wheel = list(config.channel)
    table = np.zeros((len(catalog), len(wheel)))
    configured = {
        name: by_channel(config, goal.gathered_hours) for name, goal in config.goal.items()
    }
    for name, hours in (*configured.items(), *gathered_h.items()):
        row = row_named(catalog, name)
        if row is not None:
            for filter_name, value in hours.items():
                if filter_name in wheel:
                    table[row, wheel.index(filter_name)] += value
    return table


def begun_part(config: Config, catalog: Catalog, gathered_h: Floats) -> Floats:
    """1 for a new target, `BEGUN` more and rising for one that was begun, 0 for a done one."""
    part = np.ones(len(catalog))
    for row in np.flatnonzero(gathered_h.any(axis=1)):
        own = dict(zip(config.channel, gathered_h[row], strict=True))
        wanted = wanted_filters(config, catalog.target(int(row)))
        share = [min(1.0, own[item.filter] / item.goal_h) for item in wanted]
        whole = float(np.average(share, weights=[item.goal_h for item in wanted]))
        part[row] = 0.0 if min(share) >= 1.0 else BEGUN + target_weight(1.0, whole)
    return part


def row_named(catalog: Catalog, name: str) -> int | None:
    """Row of a target by any of its names; None where the catalogue has none."""
    try:
        return catalog.find(name)
    except TargetError:
        return None


def by_name(names: NDArray[Any], values: Mapping[str, float], default: float) -> Floats:
    result = np.full(names.size, default)
    for name, value in values.items():
        result[names == name] = value
    return result
