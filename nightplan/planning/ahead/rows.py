"""Rows of progress over several nights: every wanted channel of every target, as arrays.

Rows of one target that the same filter brings hours to are shot at once: they form a *lane*, and a
slot is given to a lane as a whole. Where each filter has one channel, each row is its own lane.
A mosaic counts as one row a filter here, with the goal of all its panels together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats
from nightplan.model.wishes import goal_for
from nightplan.planning.photons.goals import target_goals
from nightplan.planning.value.progress_value import (
    FALL,
    LEAST_GOAL_H,
    slope_of_share,
    target_weight,
    value_of_share,
)

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.ahead.nights_ahead import Offer
    from nightplan.planning.returning.earlier_nights import EarlierNights

Ints = NDArray[np.intp]

DONE = 1.0 - 1e-9
"""Share of a goal from which it counts as reached."""
BEGUN_H = 0.25
"""Equivalent hours from which a target counts as begun; less is a test shot."""


@dataclass(frozen=True, eq=False)
class Rows:
    """Arrays (row,), in the order of the targets and of the wheel; rows of a lane lie together.

    Attributes
    ----------
    target, channel, filter, train : ndarray of int
        Indices into the targets, the channels, the wheel's filters and the trains.
    goal_h, gathered_h : ndarray
        Equivalent hours over all panels.
    priority : ndarray
        Of the target.
    panels : ndarray of int
    shutter : ndarray
        Share of the clock with the shutter open.
    dear : ndarray
        How much of a row's hours only dark nights bring, 0 to 1.
    broad : ndarray of bool
        Whether the filter is a broadband one.
    fall : float
        Of the value's slope, by `preferences.balance`.
    """

    target: Ints
    channel: Ints
    filter: Ints
    train: Ints
    goal_h: Floats
    gathered_h: Floats
    priority: Floats
    panels: Ints
    shutter: Floats
    dear: Floats
    broad: NDArray[np.bool_]
    fall: float

    @property
    def targets(self) -> int:
        """How many targets there are."""
        return int(self.target.max(initial=-1)) + 1

    @property
    def member(self) -> Floats:
        """1 where a row is a target's, (row, target)."""
        return (self.target[:, None] == np.arange(self.targets)).astype(np.float64)

    @cached_property
    def first(self) -> NDArray[np.bool_]:
        """Whether a row is the first of its lane."""
        new = np.ones(self.target.size, dtype=bool)
        same = (np.diff(self.target) == 0) & (np.diff(self.filter) == 0)
        new[1:] = ~same
        return new

    @cached_property
    def lane(self) -> Ints:
        """Number of each row's lane."""
        return np.cumsum(self.first) - 1

    def by_lane(self, values: Floats, how: np.ufunc = np.add) -> Floats:
        """Sums (or the greatest, with `np.maximum`) over the rows of each lane, from (..., row)."""
        if self.first.all():
            return values
        return np.asarray(how.reduceat(values, np.flatnonzero(self.first), axis=-1))

    def most_of_lane(self, values: Floats) -> Floats:
        """The greatest of a lane's values, for each of its rows, (..., row)."""
        if self.first.all():
            return values
        return np.asarray(self.by_lane(values, np.maximum)[..., self.lane])

    def share(self, had_h: Floats) -> Floats:
        """Share of each target's goals, all filters together, (..., target)."""
        goals = self.goal_h @ self.member
        return np.asarray((np.minimum(had_h, self.goal_h) @ self.member) / goals)

    def weight(self, had_h: Floats) -> Floats:
        """Weight of each row when `had_h` (..., row) are gathered, (..., row).

        The rows of a lane share the weight: an hour of subs is an hour, whatever it brings.
        """
        weight: Floats = target_weight(self.priority, self.share(had_h)[..., self.target])
        return weight / np.bincount(self.lane)[self.lane]

    def slope(self, had_h: Floats) -> Floats:
        """Value of one more hour, weight apart, (..., row)."""
        return slope_of_share(had_h / self.goal_h, self.fall, self.dear)

    def value(self, had_h: Floats, weight: Floats) -> Floats:
        """Value of what is gathered, (...,), from `had_h` (..., row) at given weights."""
        return np.asarray(self.value_by_row(had_h, weight).sum(axis=-1))

    def value_by_row(self, had_h: Floats, weight: Floats) -> Floats:
        """The same row by row, (..., row)."""
        reached = value_of_share(had_h / self.goal_h, self.fall, self.dear)
        return np.asarray(weight * self.goal_h * reached)

    def done(self, had_h: Floats) -> NDArray[np.bool_]:
        """Whether all of a target's goals are reached, (..., target)."""
        short = (had_h / self.goal_h < DONE).astype(np.float64)
        return np.asarray(short @ self.member) == 0.0


def progress_rows(
    config: Config,
    targets: Sequence[Target],
    trains: Sequence[str],
    panels: Sequence[int],
    offered: Mapping[str, Offer],
    earlier: EarlierNights,
) -> Rows:
    """Rows of targets that are each shot through one train.

    Parameters
    ----------
    trains, panels
        Per target: its train and its panels.
    offered : mapping of train to Offer
    """
    names, channels, wheel = list(config.train), list(config.channel), list(config.filter)
    goals = {
        train: target_goals(config, targets, train, offered[train].budget) for train in set(trains)
    }
    table: list[tuple[float, ...]] = []
    for index, (target, train) in enumerate(zip(targets, trains, strict=True)):
        goal = goal_for(config, target)
        priority = 1.0 if goal is None else goal.priority
        count = panels[index]
        for item in goals[train][index].wanted:
            gathered = sum(
                earlier.gathered_h(target.name, panel, item.filter, train)
                for panel in range(1, count + 1)
            )
            goal_h = max(item.goal_h, LEAST_GOAL_H) * count
            column = channels.index(item.filter)
            shutter = float(offered[train].shutter[column])
            own = wheel.index(config.channel[item.filter].filter)
            whole = (index, column, own, names.index(train), count)
            table.append((*whole, goal_h, gathered, priority, shutter))
    columns = np.array(table, dtype=float).reshape(-1, 9).T
    target_of, channel_of, filter_of, train_of, panel_count = columns[:5].astype(np.intp)
    return Rows(
        target=target_of,
        channel=channel_of,
        filter=filter_of,
        train=train_of,
        goal_h=columns[5],
        gathered_h=columns[6],
        priority=columns[7],
        panels=panel_count,
        shutter=columns[8],
        dear=np.ones(len(table)),
        broad=np.array([not one.is_narrow for one in config.channel.values()])[channel_of],
        fall=FALL[config.preferences.balance],
    )


def row_rates(rows: Rows, offered: Mapping[str, Offer], trains: Sequence[str]) -> Floats:
    """Equivalent hours per hour of each row, (night, slot, row)."""
    parts = [
        offered[trains[train]].rate[:, :, target, column]
        for train, target, column in zip(rows.train, rows.target, rows.channel, strict=True)
    ]
    return np.stack(parts, axis=-1)


BRIGHT = 0.75
"""Illuminated fraction from which a night counts as a bright one."""


def dark_only(rate: Floats, moon_illuminated_fraction: Floats) -> Floats:
    """How much of each row's hours only dark nights bring, 0 to 1, (row,).

    From the best rate of bright nights beside that of all; 1 where no night is bright.
    """
    best = rate.max(axis=1)
    bright = np.nan_to_num(moon_illuminated_fraction) >= BRIGHT
    most = best.max(axis=0, initial=0.0)
    if not bright.any():
        return np.ones(most.size)
    # Before and after the moon a bright night is dark; the night at full moon shows what it leaves.
    least = np.where(best[bright] > 0.0, best[bright], np.inf).min(axis=0)
    left = np.where(np.isfinite(least), least, 0.0)
    return np.asarray(1.0 - left / np.maximum(most, 1e-12))
