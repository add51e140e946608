"""The rows of a campaign's answer: what each night holds, and the outlook of each target."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.planning.campaign.policy import Rows

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.campaign.skies import Replay
    from nightplan.planning.campaign.sky import CampaignNights

Floats = NDArray[np.float64]

_TINY_H = 1e-6


@dataclass(frozen=True)
class FilterHours:
    """Hours of one filter: on the clock with its changes, and equivalent."""

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
    asked: CampaignNights,
    targets: Sequence[Target],
    rows: Rows,
    done: Replay,
) -> tuple[NightRow, ...]:
    trains, filters = list(config.train), list(config.filter)
    lit = asked.moon_illuminated_fraction
    found = []
    for night, evening in enumerate(asked.evenings):
        for index, target in enumerate(targets):
            own = np.flatnonzero((rows.target == index) & (done.clock_h[night] > _TINY_H))
            if own.size == 0:
                continue
            parts = tuple(
                FilterHours(
                    filters[rows.filter[row]],
                    float(done.clock_h[night, row]),
                    float(done.equivalent_h[night, row]),
                )
                for row in own
            )
            found.append(
                NightRow(
                    date=evening,
                    target=target.name,
                    train=trains[done.train[night]],
                    hours=sum(part.hours for part in parts),
                    equivalent_h=sum(part.equivalent_h for part in parts),
                    filters=parts,
                    moon_illuminated_fraction=float(lit[night]),
                )
            )
    return tuple(found)


def outlooks(
    config: Config,
    asked: CampaignNights,
    targets: Sequence[Target],
    rows: Rows,
    done: Replay,
    choice: Sequence[str],
    reasons: Sequence[str],
    unfinished: Sequence[str],
) -> tuple[Outlook, ...]:
    filters = list(config.filter)
    found = []
    for index, target in enumerate(targets):
        own = np.flatnonzero(rows.target == index)
        reached = done.finished[:, index]
        half = np.flatnonzero(reached >= 0.5)
        found.append(
            Outlook(
                target=target.name,
                train=choice[index],
                train_reason=reasons[index],
                priority=float(rows.priority[own[0]]),
                expected_date=asked.evenings[half[0]] if half.size else None,
                reason=None if half.size else unfinished[index],
                chance=float(reached[-1]),
                filters=tuple(
                    FilterProgress(
                        filter=filters[rows.filter[row]],
                        goal_h=float(rows.goal_h[row]),
                        gathered_h=float(rows.gathered_h[row]),
                        expected_h=float(
                            (done.mean_share[row] - done.start_share[row]) * rows.goal_h[row]
                        ),
                    )
                    for row in own
                ),
            )
        )
    return tuple(found)
