"""Skies to come: what the rule of a night makes of many histories of clear and clouded nights.

Every history is worked through night by night by `nightplan.planning.ahead.choice`, the rule that
tonight's plan follows too; what is published for a night is what it does to the history that
stands in the middle by then.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.arrays import Floats
from nightplan.planning.ahead.assessment import Assessment, night_rules
from nightplan.planning.ahead.choice import choose_night
from nightplan.planning.ahead.futures import LOOK_NIGHTS, clear_patterns, known_futures
from nightplan.planning.ahead.response import foresight_bound
from nightplan.planning.ahead.rows import Rows

if TYPE_CHECKING:
    from nightplan.model.config import Config


HISTORIES = 40
"""Chances are known to about 8 %; more skies cost as many times the seconds."""
SKY_SEED = 20271009
FUTURES_WITHIN = 6
STEPS_WITHIN = 24
"""Futures and steps of the response inside a history; twice as many change no mean by 1 %."""


@dataclass(frozen=True, eq=False)
class FirstNight:
    """What tonight's plan gives each row: equivalent hours, hours of open shutter, (row,)."""

    night: int
    tonight_h: Floats
    shutter_h: Floats


@dataclass(frozen=True, eq=False)
class Simulation:
    """What came of the histories.

    Attributes
    ----------
    shutter_h, equivalent_h : ndarray, shape (night, row)
        What the night holds if it is clear and every target stands where the middle history has
        it by then.
    finished : ndarray, shape (night, target)
        Share of the histories in which all of a target's goals are reached after the night.
    start_h, mean_h : ndarray, shape (row,)
        Equivalent hours before the first night, and the mean of the histories after the last.
    value, bound : float
        Mean value that the nights add; most that any way of sharing them could add.
    histories : int
    """

    shutter_h: Floats
    equivalent_h: Floats
    finished: Floats
    start_h: Floats
    mean_h: Floats
    value: float
    bound: float
    histories: int

    @property
    def gap_percent(self) -> float:
        """100 (bound − value) / bound."""
        return 100.0 * (self.bound - self.value) / self.bound if self.bound > 0.0 else 0.0


def simulate(
    config: Config,
    found: Assessment,
    nights: int,
    chance: float,
    lead: Floats,
    first: FirstNight | None,
    progress: Callable[[int, int], None] | None = None,
) -> Simulation:
    """Work through every history.

    Parameters
    ----------
    found : Assessment
        Of `nights` nights and `LOOK_NIGHTS` more, so that all look equally far.
    chance : float
        Chance of a clear night. 0 and 1 leave one history.
    lead : array (target,)
        As of `choose_night`.
    first : FirstNight or None
        What the first night's plan does.
    """
    rows = found.rows
    assert rows is not None
    certain = chance <= 0.0 or chance >= 1.0
    clear = clear_patterns(nights, chance, 1 if certain else HISTORIES, SKY_SEED)
    had = np.repeat(rows.gathered_h[None], clear.shape[1], axis=0)
    shutter, gained = np.zeros((nights, rows.goal_h.size)), np.zeros((nights, rows.goal_h.size))
    finished = np.zeros((nights, rows.targets))
    for night in range(nights):
        going = np.flatnonzero(clear[night])
        if first is not None and night == first.night:
            had[going] += first.tonight_h
            shutter[night], gained[night] = first.shutter_h, first.tonight_h
        elif found.ahead.slots[night] > 0:
            middle = middle_history(rows, had)
            choice = choose_night(
                rows,
                np.vstack([middle[None], had[going]]),
                found.rate[night, : found.ahead.slots[night]],
                found.futures_after(night, chance, night + 1 + LOOK_NIGHTS, FUTURES_WITHIN),
                night_rules(config, found, night),
                lead=lead,
                steps=STEPS_WITHIN,
            )
            had[going] += choice.tonight_h[1:]
            shutter[night] = choice.clock_h[0] * rows.shutter
            gained[night] = choice.tonight_h[0]
        finished[night] = rows.done(had).mean(axis=0)
        if progress is not None:
            progress(night + 1, nights)
    weight = rows.weight(rows.gathered_h)
    added = rows.value(had, weight) - rows.value(rows.gathered_h, weight)
    return Simulation(
        shutter_h=shutter,
        equivalent_h=gained,
        finished=finished,
        start_h=rows.gathered_h,
        mean_h=had.mean(axis=0),
        value=float(added.mean()),
        bound=foresight_bound(
            rows, rows.gathered_h, weight, known_futures(found.parts_h[:nights], clear.T)
        ),
        histories=clear.shape[1],
    )


def middle_history(rows: Rows, had_h: Floats) -> Floats:
    """Hours (row,) of the history that stands in the middle, target by target.

    Histories are ordered by the target's share of its goals; so the middle one is finished as
    soon as half of all are.
    """
    place = had_h.shape[0] // 2
    share = rows.share(had_h)
    middle = np.empty(had_h.shape[1])
    for target in range(rows.targets):
        own = rows.target == target
        middle[own] = had_h[np.argsort(share[:, target], kind="stable")[place], own]
    return middle
