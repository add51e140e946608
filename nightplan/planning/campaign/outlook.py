"""The rows of a campaign's answer: what each night holds, and the outlook of each target."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.model.wishes import goal_for
from nightplan.number_forms import percent
from nightplan.planning.ahead.rows import Rows

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.ahead.assessment import Assessment
    from nightplan.planning.ahead.nights_ahead import NightsAhead
    from nightplan.planning.campaign.simulation import Simulation
    from nightplan.planning.returning.earlier_nights import EarlierNights


_TINY_H = 1e-6


@dataclass(frozen=True)
class FilterHours:
    """Hours of one filter: with the shutter open, and equivalent (mean over its channels)."""

    filter: str
    hours: float
    equivalent_h: float


@dataclass(frozen=True)
class NightRow:
    """What one clear night holds of one target."""

    date: datetime.date
    target: str
    train: str
    hours: float
    equivalent_h: float
    filters: tuple[FilterHours, ...]
    moon_illuminated_fraction: float


@dataclass(frozen=True)
class FilterProgress:
    """One filter's goal over all panels, what stands before, and the mean of the histories."""

    filter: str
    goal_h: float
    gathered_h: float
    expected_h: float


@dataclass(frozen=True)
class Outlook:
    """When one target is done: `expected_date` None has its reason."""

    target: str
    train: str
    train_reason: str
    priority: float
    expected_date: datetime.date | None
    reason: str | None
    chance: float
    filters: tuple[FilterProgress, ...]


def night_rows(
    config: Config,
    asked: NightsAhead,
    targets: Sequence[Target],
    trains: Sequence[str],
    rows: Rows,
    done: Simulation,
) -> tuple[NightRow, ...]:
    """What each night holds, a row a target; `trains` is the train of each target."""
    filters = list(config.filter)
    lit = asked.moon_illuminated_fraction
    found = []
    for night, evening in enumerate(asked.evenings):
        for index, target in enumerate(targets):
            shot = (rows.target == index) & (done.shutter_h[night] > _TINY_H)
            own = np.flatnonzero(shot & rows.first)
            if own.size == 0:
                continue
            parts = tuple(
                FilterHours(
                    filters[rows.filter[row]],
                    float(done.shutter_h[night, row]),
                    float(done.equivalent_h[night, rows.lane == rows.lane[row]].mean()),
                )
                for row in own
            )
            found.append(
                NightRow(
                    date=evening,
                    target=target.name,
                    train=trains[index],
                    hours=sum(part.hours for part in parts),
                    equivalent_h=sum(part.equivalent_h for part in parts),
                    filters=parts,
                    moon_illuminated_fraction=float(lit[night]),
                )
            )
    return tuple(found)


def outlooks(
    config: Config,
    asked: NightsAhead,
    found: Assessment,
    done: Simulation | None,
    unfinished: Sequence[str],
    earlier: EarlierNights | None,
) -> tuple[Outlook, ...]:
    """When each target is done; `done` is None where no night can be worked."""
    outlook = []
    for index, target in enumerate(found.targets):
        goal = goal_for(config, target)
        reached = np.zeros(1) if done is None else done.finished[:, index]
        half = np.flatnonzero(reached >= 0.5)
        kept = None if earlier is None else earlier.begun_train(target.name, config.train)
        outlook.append(
            Outlook(
                target=target.name,
                train=found.trains[index],
                train_reason=_train_reason(found, index, kept),
                priority=1.0 if goal is None else goal.priority,
                expected_date=asked.evenings[half[0]] if half.size else None,
                reason=None if half.size else unfinished[index],
                chance=float(reached[-1]),
                filters=() if done is None else _filters(config, found, done, index),
            )
        )
    return tuple(outlook)


def _filters(
    config: Config, found: Assessment, done: Simulation, index: int
) -> tuple[FilterProgress, ...]:
    rows, names = found.rows, list(config.channel)
    assert rows is not None
    return tuple(
        FilterProgress(
            filter=names[rows.channel[row]],
            goal_h=float(rows.goal_h[row]),
            gathered_h=float(rows.gathered_h[row]),
            expected_h=float(done.mean_h[row] - done.start_h[row]),
        )
        for row in np.flatnonzero(rows.target == index)
    )


def _train_reason(found: Assessment, index: int, kept: str | None) -> str:
    target, train, ranking = found.targets[index], found.trains[index], found.rankings[index]
    if kept is not None:
        return f"{train}: {target.name} was begun with it."
    if train == ranking.best.train:
        return ranking.reason
    score = ranking.of(train).score / ranking.best.score
    return (
        f"{train}, so that it shares nights with others; alone it would do "
        f"{percent(1.0 - score)} better with the {ranking.best.train}."
    )
