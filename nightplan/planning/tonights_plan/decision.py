"""What a night is for: which targets, through which train, framed how, and the value of their
hours tonight beside the nights that follow."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from nightplan.model.wishes import goal_for
from nightplan.planning.ahead.assessment import Assessment, assess, night_rules
from nightplan.planning.ahead.choice import FIRST, NightChoice, choose_night
from nightplan.planning.ahead.futures import FUTURES, LOOK_NIGHTS
from nightplan.planning.ahead.prices import NightPrice, night_prices
from nightplan.planning.choosing.train_choice import (
    NightTrain,
    one_train,
    train_losses,
)
from nightplan.planning.choosing.train_reason import begun_words
from nightplan.planning.framing.framing import Framing, frame_target
from nightplan.planning.framing.shared_angle import with_shared_angle
from nightplan.planning.value.curve import ValueCurve
from nightplan.planning.value.progress_value import row_curve

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.choosing.night_targets import Candidates
    from nightplan.planning.returning.earlier_nights import EarlierNights
    from nightplan.planning.tonight.night import Night

RowKey = tuple[str, int, str]

MINUTES_H = 0.75
"""What is missing less than this is not put off: later nights could always bring it, and so it
would never be shot (the star colours of a nebula)."""

URGENT = 4.0
"""Hours that the imager wants of every night count so many times more: a begun target's weight at
most, so that nothing else comes first."""


@dataclass(frozen=True, eq=False)
class Decision:
    """What was decided before the schedule.

    Attributes
    ----------
    targets, framings : tuples
        Of tonight, the night's own first, then fillers, then those that cannot be shot tonight.
    train : NightTrain
    curves : mapping of (target, panel, filter) to ValueCurve
    fillers : frozenset of str
        Targets for hours that tonight's own targets cannot use, or do not need.
    barred : frozenset of str
        Those of them that wait until no other can be shot.
    not_tonight : tuple of str
        Wanted targets that could be shot but have no place among tonight's.
    prices : tuple of NightPrice
        What makes hours of tonight dear or cheap.
    assessment, choice
        What it was decided from.
    """

    targets: tuple[Target, ...]
    framings: tuple[Framing, ...]
    train: NightTrain
    curves: Mapping[RowKey, ValueCurve]
    fillers: frozenset[str] = frozenset()
    barred: frozenset[str] = frozenset()
    not_tonight: tuple[str, ...] = ()
    prices: tuple[NightPrice, ...] = ()
    assessment: Assessment | None = None
    choice: NightChoice | None = None


def decide(
    config: Config,
    night: Night,
    candidates: Candidates,
    earlier: EarlierNights,
) -> Decision:
    """Decide a night over candidate targets, by their curves and the nights ahead.

    One that was not asked for is taken only where those asked for leave hours over.
    """
    chance, wanted = config.preferences.clear_night_chance, candidates.wanted
    found = assess(
        config,
        night.evening,
        1 + LOOK_NIGHTS,
        candidates.targets,
        earlier,
        chance,
        merits=candidates.merit,
    )
    if found.rows is None or not found.ahead.slots[0]:
        return _nothing(config, found, wanted)
    lead = np.where(np.asarray(wanted), FIRST, 1.0)
    if not any(wanted) and lead.size:
        # The first of the ranking opens the night, so that `pick` and `plan` say the same.
        lead[0] = np.sqrt(FIRST)
    choice = choose_night(
        found.rows,
        found.rows.gathered_h[None],
        found.rate[0, : found.ahead.slots[0]],
        found.futures_after(0, chance, 1 + LOOK_NIGHTS, FUTURES),
        night_rules(config, found, 0),
        lead=lead,
    )
    return _decided(config, night, found, choice, wanted, earlier)


def _decided(
    config: Config,
    night: Night,
    found: Assessment,
    choice: NightChoice,
    wanted: Sequence[bool],
    earlier: EarlierNights,
) -> Decision:
    rows = found.rows
    assert rows is not None
    chosen, filler = np.flatnonzero(choice.chosen[0]), np.flatnonzero(choice.filler[0])
    offered = (found.rate[0].any(axis=0) @ rows.member) > 0.0
    without = [i for i in range(len(found.targets)) if wanted[i] and not offered[i]]
    held = [*chosen, *filler, *without]
    others = [i for i in range(len(found.targets)) if wanted[i] and offered[i] and i not in held]
    if not held:
        return _nothing(config, found, wanted)
    rankings = [found.rankings[i] for i in held]
    trains = [found.trains[i] for i in held]
    framings = [one.of(train).framing for one, train in zip(rankings, trains, strict=True)]
    targets = tuple(found.targets[i] for i in held)
    begun = [earlier.begun_train(target.name, config.train) for target in targets]
    if len(set(trains[: max(1, chosen.size + filler.size)])) == 1:
        train = one_train(rankings, trains[0])
        train = replace(train, reason=train.reason + begun_words(rankings, begun, trains[0]))
    else:
        reason = "Each target through the train that suits it, for what the change costs."
        train = NightTrain(trains[0], reason, train_losses(rankings, trains))
    return Decision(
        targets=targets,
        framings=_one_angle(config, targets, framings),
        train=train,
        curves=night_curves(config, found, choice, earlier, night.window_hours),
        fillers=frozenset(found.targets[i].name for i in filler),
        barred=frozenset(found.targets[i].name for i in np.flatnonzero(choice.barred[0])),
        not_tonight=tuple(found.targets[i].name for i in others),
        prices=night_prices(found, choice, tuple(config.channel)),
        assessment=found,
        choice=choice,
    )


def night_curves(
    config: Config,
    found: Assessment,
    choice: NightChoice,
    earlier: EarlierNights,
    window_h: float,
) -> dict[RowKey, ValueCurve]:
    """A value curve for each row of each panel, given what the nights after tonight would add."""
    rows = found.rows
    assert rows is not None
    weight = rows.weight(rows.gathered_h)
    curves: dict[RowKey, ValueCurve] = {}
    wheel = tuple(config.channel)
    for row in range(rows.goal_h.size):
        panels = int(rows.panels[row])
        target, filter_name = found.targets[rows.target[row]].name, wheel[rows.channel[row]]
        train = found.trains[rows.target[row]]
        later_h = choice.later_h[0, :, row] / panels
        if float(rows.goal_h[row] - rows.gathered_h[row]) / panels < MINUTES_H:
            later_h = np.zeros_like(later_h)
        goal = goal_for(config, found.targets[rows.target[row]])
        least_h = 0.0 if goal is None else goal.tonight_hours.get(filter_name, 0.0)
        for panel in range(1, panels + 1):
            curve = row_curve(
                float(rows.goal_h[row]) / panels,
                earlier.gathered_h(target, panel, filter_name, train),
                float(weight[row]),
                later_h,
                # Worth hardly passes 1: an hour on the clock is at most about an hour.
                1.2 * window_h,
                rows.fall,
                float(rows.dear[row]),
            )
            if least_h > 0.0:
                curve = curve.with_urgent_start(least_h / panels, URGENT)
            curves[target, panel, filter_name] = curve
    return curves


def _one_angle(
    config: Config,
    targets: Sequence[Target],
    framings: Sequence[Framing],
) -> tuple[Framing, ...]:
    """Framings at one angle of the camera, train by train."""
    moved = list(framings)
    for train in dict.fromkeys(framing.train for framing in framings):
        mine = [i for i, framing in enumerate(framings) if framing.train == train]

        def reframe(
            index: int, angle_deg: float, mine: list[int] = mine, train: str = train
        ) -> Framing:
            return frame_target(config, targets[mine[index]], train, angle_deg=angle_deg)

        for i, framing in zip(
            mine, with_shared_angle([framings[i] for i in mine], reframe), strict=True
        ):
            moved[i] = framing
    return tuple(moved)


def _nothing(config: Config, found: Assessment, wanted: Sequence[bool]) -> Decision:
    """Nothing can be shot: the targets asked for stay, so that the plan can say why."""
    held = [i for i, one in enumerate(wanted) if one] or list(range(min(1, len(found.targets))))
    held = held[: config.preferences.tonight_most_targets]
    if not held:
        return Decision((), (), NightTrain(next(iter(config.train)), "", ()), {})
    rankings = [found.rankings[i] for i in held]
    train = found.trains[held[0]]
    return Decision(
        tuple(found.targets[i] for i in held),
        tuple(ranking.of(train).framing for ranking in rankings),
        one_train(rankings, train),
        {},
        assessment=found,
    )


def kept_curves(plan: Mapping[str, Any]) -> dict[RowKey, ValueCurve]:
    """The curves that a plan document publishes; a re-plan goes on by them."""
    curves: dict[RowKey, ValueCurve] = {}
    for row in plan.get("progress", ()):
        points = row.get("value_curve")
        if points and len(points) > 1:
            hours, value = zip(*points, strict=True)
            curves[row["target"], int(row["panel"]), row["filter"]] = ValueCurve(hours, value)
    return curves
