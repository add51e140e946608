"""Which targets are worth tonight: every part of the score kept, multiplied late.

The score is a product of parts, each from 0 to 1 (priority aside):

- `tonight`: what the night would add if it were given to the target in that train, its filters
  shared out as the value of progress has it (`nightplan.planning.value`), over the window;
- `framing`: how the target fills and fits the field of its best train;
- `contrast`: signal to noise of one equivalent hour against half the wanted one; of a star
  cluster, times its share of the starlight in its outline, for a sparse one is lost in the field;
- `priority`: as set for a goal, else 1;
- `begun`: 1 for a new target; more for one that was begun, the more the further it is, so that it
  is finished first; 0 for one whose goals are reached.

The weights are ours; each part can be read on its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats
from nightplan.planning.choosing.listed import as_subjects
from nightplan.planning.choosing.score_parts import (
    begun_part,
    by_name,
    contrast_part,
    framing_part,
    gathered_table,
    priorities,
    row_named,
)
from nightplan.planning.choosing.wishes import Wishes, wished_rows
from nightplan.planning.framing.catalog_framing import frame_catalog
from nightplan.planning.framing.wished_catalog import with_wishes
from nightplan.planning.photons.goals import target_goals
from nightplan.planning.photons.photon_budget import photon_budget
from nightplan.planning.photons.recipes import leading_filters
from nightplan.planning.tonight.constraints import tracks_of
from nightplan.planning.tonight.limits import geometry_margin_deg, roles_margin_deg, usable_filters
from nightplan.planning.tonight.visibility import best_moment, sky_tracks, time_grid, usable_hours
from nightplan.planning.value.night_value import night_value
from nightplan.planning.value.progress_value import FALL

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.tonight.night import Night


GRID_MIN = 10.0
STEPS_A_SLOT = 3
FINE_GRID_MIN = 1.0
PARTS = ("tonight", "framing", "contrast", "priority", "begun")
SHORTEST_H = 0.25
"""A target that is up for less than this is not worth a slew."""
MERGED = 200
"""Places that are looked at for what shares a framing, whatever is wanted, so that the first
entries do not depend on how many are listed."""
FIRST_LOOK = 1200
"""How many targets get the full photon budget at first; the rest only if they could still win."""


@dataclass(frozen=True)
class RankedTarget:
    """One target of a ranking. `hours` are on the clock, inside all limits of its leading filter;
    the rest is taken at `best_utc_mjd`, the highest usable moment. `score` is that of `train`, the
    best of `train_scores`. `subject` names what else its framing holds, which has no entry of its
    own."""

    row: int
    target: Target
    train: str
    score: float
    train_scores: dict[str, float]
    score_parts: dict[str, float]
    hours: float
    equivalent_h: float
    best_utc_mjd: float
    max_altitude_deg: float
    moon_altitude_deg: float
    moon_separation_deg: float
    leading_filter: str
    coverage: float
    panels: int
    why: str
    subject: tuple[str, ...] = ()


@dataclass(frozen=True)
class Ranking:
    """The catalogue ranked; best first. Rows index the catalogue that was given."""

    ranked: tuple[RankedTarget, ...]
    considered: int
    empty_reason: str
    notices: tuple[str, ...] = ()

    def first(self, count: int) -> tuple[RankedTarget, ...]:
        """The best `count` targets."""
        return self.ranked[:count]


@dataclass
class _Columns:
    """Working arrays (target,) of the candidates."""

    rows: NDArray[np.intp]
    role: NDArray[Any]
    leading_filter: NDArray[Any]
    hours: Floats
    best_utc_mjd: Floats
    max_altitude_deg: Floats
    train: NDArray[np.intp]
    framing: Floats
    framing_of_train: Floats
    coverage: Floats
    panels: NDArray[np.intp]
    priority: Floats
    begun: Floats
    gathered_h: Floats
    up_h: Floats
    tonight: Floats = field(default_factory=lambda: np.empty(0))
    contrast: Floats = field(default_factory=lambda: np.empty(0))
    equivalent_h: Floats = field(default_factory=lambda: np.empty(0))

    def take(self, chosen: NDArray[np.intp]) -> _Columns:
        return _Columns(
            **{key: (value[chosen] if value.size else value) for key, value in vars(self).items()}
        )


def rank_targets(
    config: Config,
    night: Night,
    catalog: Catalog,
    wishes: Wishes | None = None,
    *,
    most: int = 200,
    gathered_h: Mapping[str, Mapping[str, float]] | None = None,
) -> Ranking:
    """Rank a catalogue for one night, best first.

    Parameters
    ----------
    most : int
        How many places are wanted; the order of the first `most` is exact. Of the best `MERGED`
        what shares the framing of another takes no place of its own.
    gathered_h : mapping, optional
        Equivalent hours of earlier nights by target's name and filter.

    Raises
    ------
    InputError
        A wish is outside its range.
    TargetError
        A name among the wishes is unknown or ambiguous.
    """
    wishes, places = wishes or Wishes(), max(most, MERGED)
    rows = wished_rows(catalog, wishes)
    if rows.size == 0:
        return Ranking((), 0, "no target of the catalogue fits the filters given")
    if night.window_utc_mjd is None:
        return Ranking((), rows.size, "no_darkness")
    asked = rows.size
    utc_mjd = time_grid(night, GRID_MIN)
    # Upper culmination below the limit means never up; a degree covers precession since J2000.
    culmination = 90.0 - np.abs(config.site.latitude_deg - catalog.dec_deg[rows])
    rows = rows[culmination > config.preferences.minimum_altitude_deg - 1.0]
    columns = _geometry(config, night, catalog, rows, utc_mjd, gathered_h or {})
    if columns.rows.size == 0:
        return Ranking((), asked, _down_or_unusable(config, night, catalog, rows, utc_mjd))
    bound = columns.framing * columns.priority * columns.begun * columns.up_h
    order = np.argsort(-bound, kind="stable")
    columns = columns.take(order)
    bound = bound[order] / night.window_hours
    scored: list[tuple[Floats, _Columns]] = []
    start, step = 0, max(FIRST_LOOK, places)
    while start < columns.rows.size:
        part = columns.take(np.arange(start, min(start + step, columns.rows.size)))
        scored.append(_photons(config, night, catalog, part, utc_mjd))
        start += step
        scores = np.sort(np.concatenate([score for score, _ in scored]))[::-1]
        # No target left can score above its bound: an hour adds at most 1, contrast is at most 1.
        if start < bound.size and scores.size >= places and scores[places - 1] >= bound[start]:
            break
    ranked = _gather(config, night, catalog, scored, places)
    names = _asked(config, catalog, wishes, gathered_h or {})
    ranked = as_subjects(config, catalog, ranked, names, night.window_hours, most)
    if not ranked:
        done = bool((columns.begun <= 0.0).all())
        return Ranking((), asked, "all_goals_are_reached" if done else "no_usable_time")
    return Ranking(ranked, int(rows.size), "")


def _asked(
    config: Config,
    catalog: Catalog,
    wishes: Wishes,
    gathered_h: Mapping[str, Mapping[str, float]],
) -> set[str]:
    """Names of what the imager asked for: none of them is a mere part of another's picture."""
    begun = (name for name, hours in gathered_h.items() if sum(hours.values()) > 0.0)
    names = (*wishes.names, *config.preferences.targets, *config.goal, *begun)
    rows = (row_named(catalog, name) for name in names)
    return {str(catalog.name[row]) for row in rows if row is not None}


def _down_or_unusable(
    config: Config, night: Night, catalog: Catalog, rows: NDArray[np.intp], utc_mjd: Floats
) -> str:
    """Why no row has usable hours, in the words of a campaign: `never_up` or `no_usable_time`."""
    tracks = sky_tracks(night, catalog.ra_deg[rows], catalog.dec_deg[rows], utc_mjd)
    hours = usable_hours(utc_mjd, geometry_margin_deg(config, tracks))
    return "no_usable_time" if (hours >= SHORTEST_H).any() else "never_up"


def _geometry(
    config: Config,
    night: Night,
    catalog: Catalog,
    rows: NDArray[np.intp],
    utc_mjd: Floats,
    gathered_h: Mapping[str, Mapping[str, float]],
) -> _Columns:
    """Hours inside the limits, the best moment and the framing of every row that is up."""
    tracks = sky_tracks(night, catalog.ra_deg[rows], catalog.dec_deg[rows], utc_mjd)
    leads = leading_filters(config, catalog, rows)
    # Limits are those of the filter that a channel is shot through.
    through = [config.filter[config.channel[name].filter] for name in leads]
    role = np.array([item.role for item in through], dtype=object)
    margin = roles_margin_deg(config, night, tracks, role)
    hours = usable_hours(utc_mjd, margin)
    best, altitude = best_moment(utc_mjd, tracks.altitude_deg, margin)
    up = np.flatnonzero((hours >= SHORTEST_H) & np.isfinite(best))
    up_h = usable_hours(utc_mjd, geometry_margin_deg(config, tracks_of(tracks, up)))
    rows = rows[up]
    trains = tuple(config.train)
    up_now = catalog.subset(rows)
    framed = with_wishes(config, up_now, frame_catalog(config, up_now, trains))
    part, panels = framing_part(config, up_now, framed, trains)
    train = np.argmax(part, axis=1)
    index = np.arange(rows.size)
    names = catalog.name[rows]
    gathered = gathered_table(config, up_now, gathered_h)
    return _Columns(
        rows=rows,
        role=role[up],
        leading_filter=leads[up],
        hours=hours[up],
        up_h=up_h,
        best_utc_mjd=best[up],
        max_altitude_deg=altitude[up],
        train=train,
        framing=part[index, train],
        framing_of_train=part,
        coverage=framed.coverage[index, train],
        panels=panels[index, train],
        priority=by_name(names, priorities(config, catalog), 1.0),
        begun=begun_part(config, up_now, gathered),
        gathered_h=gathered,
    )


def _photons(
    config: Config,
    night: Night,
    catalog: Catalog,
    columns: _Columns,
    utc_mjd: Floats,
) -> tuple[Floats, _Columns]:
    """Time and contrast parts by the photon budget, and the score; (target,)."""
    tracks = sky_tracks(night, catalog.ra_deg[columns.rows], catalog.dec_deg[columns.rows], utc_mjd)
    targets = catalog.targets(columns.rows)
    size = columns.rows.size
    columns.tonight, columns.contrast = np.zeros(size), np.zeros(size)
    columns.equivalent_h = np.zeros(size)
    fall = FALL[config.preferences.balance]
    for number, train in enumerate(config.train):
        mine = np.flatnonzero(columns.train == number)
        if mine.size == 0:
            continue
        part = tracks_of(tracks, mine)
        budget = photon_budget(config, train, [targets[i] for i in mine], part)
        names = columns.leading_filter[mine]
        column = np.array([budget.filter_names.index(name) for name in names])
        worth = budget.worth[np.arange(mine.size), column, :]
        margin = roles_margin_deg(config, night, part, columns.role[mine])
        worth = np.where(margin >= 0.0, worth, 0.0)
        columns.equivalent_h[mine] = 24.0 * np.trapezoid(worth, utc_mjd, axis=1)
        own = catalog.subset(columns.rows[mine])
        columns.contrast[mine] = contrast_part(config, own, budget, names)
        goals = target_goals(config, [targets[i] for i in mine], train, budget)
        goal_h = np.zeros((mine.size, len(budget.filter_names)))
        for row, goal in enumerate(goals):
            for item in goal.wanted:
                goal_h[row, budget.filter_names.index(item.filter)] = item.goal_h
        wheel, named = list(config.filter), budget.filter_names
        lane = np.array([wheel.index(config.channel[name].filter) for name in named])
        usable = usable_filters(config, night, part)
        offered = _slots(np.nan_to_num(budget.worth) * usable, utc_mjd)
        columns.tonight[mine] = night_value(offered, goal_h, columns.gathered_h[mine], fall, lane)
    columns.tonight = np.minimum(1.0, columns.tonight / night.window_hours)
    score = columns.tonight * columns.framing * columns.contrast * columns.priority * columns.begun
    return score, columns


def _slots(worth: Floats, utc_mjd: Floats) -> Floats:
    """Equivalent hours of slots of about half an hour, (target, slot, filter)."""
    step_h = 24.0 * np.diff(utc_mjd)
    pieces = 0.5 * (worth[..., 1:] + worth[..., :-1]) * step_h
    edges = np.arange(0, step_h.size, STEPS_A_SLOT)
    return np.asarray(np.add.reduceat(pieces, edges, axis=2).swapaxes(1, 2))


def _gather(
    config: Config,
    night: Night,
    catalog: Catalog,
    scored: list[tuple[Floats, _Columns]],
    most: int,
) -> tuple[RankedTarget, ...]:
    """The best `most`, their hours and best moments made exact on a grid of minutes."""
    entries = []
    for scores, columns in scored:
        best = np.argsort(-scores, kind="stable")[:most]
        entries += [(float(scores[i]), columns, int(i)) for i in best if scores[i] > 0.0]
    entries.sort(key=lambda entry: (-entry[0], str(catalog.name[entry[1].rows[entry[2]]])))
    entries = entries[:most]
    if not entries:
        return ()
    trains = tuple(config.train)
    rows = np.array([columns.rows[i] for _, columns, i in entries])
    role = np.array([columns.role[i] for _, columns, i in entries], dtype=object)
    utc_mjd = time_grid(night, FINE_GRID_MIN)
    tracks = sky_tracks(night, catalog.ra_deg[rows], catalog.dec_deg[rows], utc_mjd)
    margin = roles_margin_deg(config, night, tracks, role)
    hours = usable_hours(utc_mjd, margin)
    best_utc_mjd, altitude = best_moment(utc_mjd, tracks.altitude_deg, margin)
    ranked = []
    for number, (score, columns, i) in enumerate(entries):
        if not np.isfinite(best_utc_mjd[number]):
            continue
        moment = best_utc_mjd[number]
        entry = RankedTarget(
            row=int(rows[number]),
            target=catalog.target(int(rows[number])),
            train=trains[columns.train[i]],
            score=score,
            train_scores={
                name: float(score * share)
                for name, share in zip(
                    trains, columns.framing_of_train[i] / columns.framing[i], strict=True
                )
            },
            score_parts={name: float(getattr(columns, name)[i]) for name in PARTS},
            hours=float(hours[number]),
            equivalent_h=float(columns.equivalent_h[i]),
            best_utc_mjd=float(moment),
            max_altitude_deg=float(altitude[number]),
            moon_altitude_deg=float(np.interp(moment, utc_mjd, tracks.moon_altitude_deg)),
            moon_separation_deg=float(
                np.interp(moment, utc_mjd, tracks.moon_separation_deg[number])
            ),
            leading_filter=str(columns.leading_filter[i]),
            coverage=float(columns.coverage[i]),
            panels=int(columns.panels[i]),
            why="",
        )
        ranked.append(entry)
    return tuple(ranked)
