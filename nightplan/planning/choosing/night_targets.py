"""Tonight's targets: those named, or the best of the ranking that are not the same picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.planning.choosing.selection import RankedTarget, rank_targets
from nightplan.planning.optics.train_optics import train_optics
from nightplan.planning.tonight.limits import usable_margin_deg
from nightplan.planning.tonight.visibility import sky_tracks, time_grid
from nightplan.sky.angles import separation_deg

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.tonight.night import Night

LOOKED_AT = 60
GRID_MIN = 10.0
WORTH_A_PLACE_H = 1.0
"""Dark hours without any target that are worth giving the last place to another one."""


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

    Goals of the configuration come first, as far as they are up tonight. All share one train,
    for nobody swaps it in the dark: taken is the train with which the best of the ranking score
    most together. What lies in a field already taken is left out. Where those chosen leave over
    an hour of the window empty, the last place goes to what fills it best.
    """
    ranking = rank_targets(config, night, catalog, most=LOOKED_AT, gathered_h=gathered_h)
    wanted = {catalog.target(catalog.find(name)).name for name in config.goal}
    goals = [entry for entry in ranking.ranked if entry.target.name in wanted]
    pools = {
        train: sorted(ranking.ranked, key=lambda entry: -entry.train_scores[train])
        for train in config.train
    }
    lists = {train: _differing(config, goals, pool) for train, pool in pools.items()}
    train = max(lists, key=lambda name: sum(one.train_scores[name] for one in lists[name]))
    best = _filling_the_night(config, night, train, lists[train], pools[train], wanted)
    return tuple(entry.target for entry in best)


def _filling_the_night(
    config: Config,
    night: Night,
    train: str,
    chosen: list[RankedTarget],
    pool: Sequence[RankedTarget],
    wanted: set[str],
) -> list[RankedTarget]:
    """`chosen`, its last place given to what is up while none of the others is, if that pays.

    A goal (`wanted`) keeps its place. What pays is the score times the hours filled.
    """
    if len(chosen) < 2 or chosen[-1].target.name in wanted:
        return chosen
    stay, last = chosen[:-1], chosen[-1]
    others = [entry for entry in pool if not any(same_picture(config, entry, one) for one in stay)]
    hours, up = _usable(config, night, [*stay, last, *others])
    filled = up[: len(stay)].any(axis=0)
    empty_h = (up[len(stay) + 1 :] & ~filled) @ hours
    last_h = float((up[len(stay)] & ~filled) @ hours)
    gain = np.array([entry.train_scores[train] for entry in others]) * empty_h
    if not gain.size or empty_h[gain.argmax()] < last_h + WORTH_A_PLACE_H:
        return chosen
    return [*stay, others[int(gain.argmax())]]


def _usable(
    config: Config, night: Night, entries: Sequence[RankedTarget]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Hours that each moment of the window stands for, (time,), and who is usable then."""
    utc_mjd = time_grid(night, GRID_MIN)
    up = np.zeros((len(entries), utc_mjd.size), dtype=bool)
    for role in {item.role for item in config.filter.values()}:
        mine = [
            i for i, one in enumerate(entries) if config.filter[one.leading_filter].role == role
        ]
        if mine:
            ra_deg = [entries[i].target.ra_deg for i in mine]
            dec_deg = [entries[i].target.dec_deg for i in mine]
            tracks = sky_tracks(night, ra_deg, dec_deg, utc_mjd)
            up[mine] = usable_margin_deg(config, night, tracks, role) >= 0.0
    return 24.0 * np.gradient(utc_mjd), up


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
