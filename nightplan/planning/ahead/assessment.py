"""Tonight and the nights after it, for given targets: what each train collects, which train each
target keeps, and the rows of progress. Tonight's plan and the campaign both start from this."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from nightplan.arrays import Floats
from nightplan.planning.ahead.choice import NightRules
from nightplan.planning.ahead.futures import LOOK_NIGHTS, Futures, joined_parts, sampled_futures
from nightplan.planning.ahead.nights_ahead import NightsAhead, Offer, nights_ahead, offers
from nightplan.planning.ahead.response import respond
from nightplan.planning.ahead.rows import Rows, dark_only, progress_rows, row_rates
from nightplan.planning.choosing.train_assignment import best_assignment
from nightplan.planning.choosing.train_choice import TrainRanking, rank_trains
from nightplan.planning.framing.mosaic_or_field import framing_value
from nightplan.planning.schedule.night_problem import overheads

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.returning.earlier_nights import EarlierNights

Progress = Callable[[int, int], None]

TRIAL_FUTURES = 8
TRIAL_STEPS = 30
"""Trains are compared on fewer futures and steps: their differences are several per cent."""


@dataclass(frozen=True, eq=False)
class Assessment:
    """What was found.

    Attributes
    ----------
    ahead : NightsAhead
        From the first evening on.
    targets, rankings, trains : tuples, one a target
        `trains` is the train that each target keeps.
    rows : Rows or None
        None where no night has a working span, or there is no target.
    rate : array (night, slot, row)
        Equivalent hours per hour.
    parts_h : array (night, part, row)
        Equivalent hours that each part of a night offers.
    up_h : array (night, target)
        Hours inside the limits of altitude and skyline.
    """

    ahead: NightsAhead
    targets: tuple[Target, ...]
    rankings: tuple[TrainRanking, ...]
    trains: tuple[str, ...]
    rows: Rows | None
    rate: Floats
    parts_h: Floats
    up_h: Floats

    def futures_after(self, night: int, chance: float, last: int, count: int) -> Futures:
        """Futures of the nights behind one, to `last` at most."""
        return sampled_futures(self.parts_h[night + 1 : last], chance, count)


def assess(
    config: Config,
    evening: datetime.date,
    nights: int,
    targets: Sequence[Target],
    earlier: EarlierNights,
    chance: float,
    *,
    merits: Sequence[float] | None = None,
    fixed_trains: Sequence[str | None] | None = None,
    progress: Progress | None = None,
) -> Assessment:
    """Look at `nights` nights from `evening` on.

    Parameters
    ----------
    chance : float
        That a night after the first is clear.
    merits : sequence of float, optional
        What each target's hours count, 0 to 1, beside its priority.
    fixed_trains : sequence of str or None, optional
        Trains that are settled (a plan in force); else what a target was begun with settles.
    """
    ahead = nights_ahead(config, evening, nights, progress)
    names = tuple(config.train)
    found, up_h = offers(config, ahead, targets, names)
    rankings = tuple(_ranked(config, target, earlier) for target in targets)
    if not found or not targets:
        none = np.zeros((nights, 0, 0))
        trains = tuple(ranking.best.train for ranking in rankings)
        return Assessment(ahead, tuple(targets), rankings, trains, None, none, none, up_h)
    offered = {offer.train: offer for offer in found}
    begun = [earlier.begun_train(target.name, config.train) for target in targets]
    settled = begun if fixed_trains is None else list(fixed_trains)

    def posed(trains: Sequence[str]) -> tuple[Rows, Floats, Floats]:
        rows = _rows(config, targets, rankings, trains, offered, earlier)
        rate = row_rates(rows, offered, names)
        near = slice(0, 1 + LOOK_NIGHTS)
        dear = dark_only(rate[near], ahead.moon_illuminated_fraction[near])
        rows = replace(rows, dear=dear)
        if merits is not None:
            rows = replace(rows, priority=rows.priority * np.asarray(merits)[rows.target])
        if config.preferences.allow_train_change:
            # Any target may then follow any other: to the choice of a night all are of one train.
            rows = replace(rows, train=np.zeros_like(rows.train))
        return rows, rate, joined_parts(rate, ahead.slot_h, ahead.slots)

    whole = {train: posed((train,) * len(targets))[0] for train in names}

    def gain(trains: Sequence[str]) -> float:
        rows, rate, parts_h = posed(trains)
        fair = _per_picture(rows, whole, rankings, trains)
        value = _value_ahead(fair, rate, parts_h, ahead, chance)
        if config.preferences.allow_train_change and len(set(trains)) > 1:
            value *= _left_by_change(config, ahead)
        return value

    trains = best_assignment(names, rankings, settled, gain).best
    rows, rate, parts_h = posed(trains)
    return Assessment(ahead, tuple(targets), rankings, tuple(trains), rows, rate, parts_h, up_h)


def night_rules(config: Config, assessment: Assessment, night: int) -> NightRules:
    """What the choice of a night keeps to, from the same overheads as its schedule."""
    held = assessment.ahead.nights[night]
    assert held is not None
    rules = overheads(config, held, *dict.fromkeys(assessment.trains))
    centring_s = rules.slew_centre_s + rules.settle_s
    return NightRules(
        slot_h=float(assessment.ahead.slot_h[night]),
        most_targets=config.preferences.tonight_most_targets,
        shortest_h=config.preferences.shortest_block_min / 60.0,
        change_h=(rules.filter_change_s + rules.focus_s) / 3600.0,
        target_h=centring_s / 3600.0,
    )


def _ranked(config: Config, target: Target, earlier: EarlierNights) -> TrainRanking:
    used = {train: earlier.used_angles.get((target.name, train), ()) for train in config.train}
    return rank_trains(config, target, used_angles=used, flats_angles=earlier.flats_angles)


def _rows(
    config: Config,
    targets: Sequence[Target],
    rankings: Sequence[TrainRanking],
    trains: Sequence[str],
    offered: dict[str, Offer],
    earlier: EarlierNights,
) -> Rows:
    fits = [ranking.of(train) for ranking, train in zip(rankings, trains, strict=True)]
    panels = [len(fit.framing.panels) for fit in fits]
    return progress_rows(config, targets, trains, panels, offered, earlier)


def _per_picture(
    rows: Rows,
    whole: dict[str, Rows],
    rankings: Sequence[TrainRanking],
    trains: Sequence[str],
) -> Rows:
    """Rows that count pictures, to compare trains: one that needs twice the hours for the same
    picture, for want of light or for its panels, counts each of them half; and one that shows it
    worse counts less (the parts of its score but for the time). A mosaic is weighed as `pick` and
    the framing weigh it, for nights enough to finish it may never come."""
    goals = {train: one.goal_h @ one.member for train, one in whole.items()}
    least = np.min(list(goals.values()), axis=0)
    scale = np.ones(len(rankings))
    for index, (ranking, train) in enumerate(zip(rankings, trains, strict=True)):
        looks = {
            fit.train: fit.score / max(fit.parts["time"], 1e-9)
            * float(framing_value(1.0, len(fit.framing.panels)))
            for fit in ranking.fits
        }  # fmt: skip
        best = max(looks.values())
        scale[index] = least[index] / goals[train][index]
        scale[index] *= looks[train] / best if best > 0.0 else 1.0
    return replace(rows, priority=rows.priority * scale[rows.target])


def _value_ahead(
    rows: Rows, rate: Floats, parts_h: Floats, ahead: NightsAhead, chance: float
) -> float:
    """Mean value that the first night, clear, and the nights after it would add."""
    night = int(np.argmax(ahead.slots > 0))
    had = rows.gathered_h[None]
    weight = rows.weight(had)
    tonight = rate[night, : ahead.slots[night]][None] * ahead.slot_h[night]
    last = night + 1 + LOOK_NIGHTS
    futures = sampled_futures(parts_h[night + 1 : last], chance, TRIAL_FUTURES)
    found = respond(rows, had, weight, tonight, futures, TRIAL_STEPS)
    reached = had[:, None] + found.tonight_h[:, None] + found.later_h
    return float((rows.value(reached, weight[:, None]) - rows.value(had, weight)[:, None]).mean())


def _left_by_change(config: Config, ahead: NightsAhead) -> float:
    """Share of a mean night that a change of train in it leaves."""
    hours = ahead.work_h[ahead.slots > 0].mean()
    return max(0.0, 1.0 - config.preferences.train_change_min / 60.0 / float(hours))
