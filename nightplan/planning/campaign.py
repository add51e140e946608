"""The coming nights as a whole: which serve which target and train, and when goals are reached.

The objective is that of a single night's plan: sum over targets of priority × mean over filters
of p(2 - p). Each clear night is given out by `campaign_policy` from the progress that stands by
then; `campaign_skies` replays that over many histories of clear and cloudy nights. The expected
date of a target is the evening after which half of the histories have reached its goals; its
chance is the share of them that have by the last night asked for.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.errors import InputError
from nightplan.model.goals import goal_for
from nightplan.planning.campaign_policy import DONE, Rows, night_work
from nightplan.planning.campaign_rows import campaign_rows
from nightplan.planning.campaign_skies import (
    HISTORIES,
    LUNATION_NIGHTS,
    Replay,
    replay,
    typical_rates,
)
from nightplan.planning.campaign_sky import CampaignNights, Offer, campaign_nights, offers
from nightplan.planning.campaign_waits import Wait, waits
from nightplan.planning.earlier_nights import EarlierNights, with_configured
from nightplan.planning.night_targets import best_targets, named_targets
from nightplan.planning.train_choice import TrainRanking, rank_trains

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target

Floats = NDArray[np.float64]
Progress = Callable[[int, int], None]

MOST_NIGHTS = 400
MOST_TARGETS = 40
NIGHTS_ACCEPTED = f"a whole number from 1 to {MOST_NIGHTS}"
CHANCE_ACCEPTED = "a number from 0 to 1"
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


@dataclass(frozen=True, eq=False)
class Campaign:
    """The answer, with what it was made from.

    Attributes
    ----------
    sky : CampaignNights
        The nights asked for.
    rows, replayed : Rows, Replay, or None
        None where there is no target or no night to work in.
    waits : tuple of Wait
        `Wait.target` indexes `targets`.
    empty_reason : str or None
        Why no night holds anything.
    """

    site: str
    timezone: str
    evening: datetime.date
    clear_night_chance: float
    targets: tuple[Target, ...]
    sky: CampaignNights
    rows: Rows | None
    replayed: Replay | None
    nights: tuple[NightRow, ...]
    finished: tuple[Outlook, ...]
    waits: tuple[Wait, ...]
    empty_reason: str | None
    notices: tuple[str, ...]


def make_campaign(
    config: Config,
    evening: datetime.date,
    nights: int,
    catalog: Catalog,
    names: Sequence[str] = (),
    *,
    earlier: EarlierNights | None = None,
    chance: float | None = None,
    histories: int = HISTORIES,
    progress: Progress | None = None,
) -> Campaign:
    """Look over the coming nights.

    Parameters
    ----------
    evening : date
        The first evening.
    nights : int
        How many, 1 to 400.
    names : sequence of str
        Targets; else those with a goal or in `preferences.targets`, else the best of the first
        night that has a window.
    chance : float, optional
        That a night is clear; by default `preferences.clear_night_chance`.
    histories : int
        Skies drawn.
    progress : callable, optional
        Called with steps done and their number.

    Raises
    ------
    TargetError
        A name is unknown or ambiguous.
    InputError
        `nights`, `chance` or the number of targets is out of range.
    """
    chance = config.preferences.clear_night_chance if chance is None else chance
    check_range(nights, chance)
    report = _Steps(progress, nights + LUNATION_NIGHTS, nights)
    ahead = campaign_nights(config, evening, nights + LUNATION_NIGHTS, report.part(0))
    asked = _first(ahead, nights)
    targets = _targets(config, ahead, catalog, names, earlier)
    if len(targets) > MOST_TARGETS:
        raise InputError(
            "campaign", "targets", len(targets), f"at most {MOST_TARGETS} targets at a time"
        )
    known = with_configured(config, earlier or EarlierNights(), targets)
    trains = tuple(config.train)
    found, up_h = offers(config, ahead, targets, trains, report.part(1))
    rankings = [rank_trains(config, target, used_angles=_used(config, known, target))
                for target in targets]  # fmt: skip
    if not found or not targets:
        return _nothing(config, evening, chance, targets, rankings, asked, known)
    offered = {offer.train: offer for offer in found}
    choice, reasons = _choose_trains(config, ahead, targets, rankings, offered, known, chance)
    rows, rate, typical = _posed(config, ahead, targets, rankings, choice, offered, known)
    done = replay(
        rows,
        rate[:nights],
        typical[:nights],
        ahead.slot_h[:nights],
        ahead.slots[:nights],
        chance,
        config.preferences.balance,
        histories,
        report.part(2),
    )
    night_rows = _night_rows(config, asked, targets, rows, done)
    return Campaign(
        site=config.site.name,
        timezone=config.site.timezone,
        evening=evening,
        clear_night_chance=chance,
        targets=targets,
        sky=asked,
        rows=rows,
        replayed=done,
        nights=night_rows,
        finished=_outlooks(
            config, asked, targets, rows, done, choice, reasons, rate[:nights], up_h[:nights]
        ),
        waits=waits(
            rows,
            tuple(config.filter),
            ahead.evenings,
            ahead.moon_illuminated_fraction,
            rate.sum(axis=1) * ahead.slot_h[:, None],
            up_h,
            nights,
        ),
        empty_reason=None
        if night_rows
        else _empty_reason(rows, rate[:nights], up_h[:nights], asked),
        notices=_notices(asked),
    )


def check_range(nights: int, chance: float, source: str = "campaign", prefix: str = "") -> None:
    """Raise InputError for a number of nights or a chance that is out of range."""
    if not 1 <= nights <= MOST_NIGHTS:
        raise InputError(source, f"{prefix}nights", nights, NIGHTS_ACCEPTED)
    if not 0.0 <= chance <= 1.0:
        raise InputError(source, f"{prefix}chance", chance, CHANCE_ACCEPTED)


class _Steps:
    """Three parts of the work as one count of steps."""

    def __init__(self, progress: Progress | None, ahead: int, asked: int) -> None:
        self._progress = progress
        self._sizes = (ahead, ahead, asked)

    def part(self, number: int) -> Progress | None:
        if self._progress is None:
            return None
        show = self._progress
        before, size, total = sum(self._sizes[:number]), self._sizes[number], sum(self._sizes)

        def step(done: int, count: int) -> None:
            show(before + round(size * done / max(count, 1)), total)

        return step


def _first(ahead: CampaignNights, nights: int) -> CampaignNights:
    return CampaignNights(
        ahead.evenings[:nights],
        ahead.nights[:nights],
        ahead.start_utc_mjd[:nights],
        ahead.end_utc_mjd[:nights],
        ahead.slots[:nights],
        ahead.slot_h[:nights],
    )


def _targets(
    config: Config,
    ahead: CampaignNights,
    catalog: Catalog,
    names: Sequence[str],
    earlier: EarlierNights | None,
) -> tuple[Target, ...]:
    wanted = tuple(names) or (*config.goal, *config.preferences.targets)
    if wanted:
        return named_targets(catalog, wanted)
    first = next((n for n in ahead.nights if n is not None and n.window_utc_mjd is not None), None)
    if first is None:
        return ()
    return best_targets(config, first, catalog, (earlier or EarlierNights()).by_filter())


def _used(config: Config, earlier: EarlierNights, target: Target) -> dict[str, tuple[float, ...]]:
    return {train: earlier.used_angles.get((target.name, train), ()) for train in config.train}


def _posed(
    config: Config,
    ahead: CampaignNights,
    targets: Sequence[Target],
    rankings: Sequence[TrainRanking],
    choice: Sequence[str],
    offered: dict[str, Offer],
    earlier: EarlierNights,
) -> tuple[Rows, Floats, Floats]:
    """Rows of a choice of trains, their rates (night, slot, row) and typical rates."""
    first = next(n for n in ahead.nights if n is not None and n.window_utc_mjd is not None)
    rows = campaign_rows(config, first, targets, rankings, choice, offered, earlier)
    names = list(config.train)
    rate = np.stack(
        [
            offered[names[train]].rate[:, :, target, column]
            for train, target, column in zip(rows.train, rows.target, rows.filter, strict=True)
        ],
        axis=-1,
    )
    return rows, rate, typical_rates(rate, ahead.slot_h, ahead.slots)


def _choose_trains(
    config: Config,
    ahead: CampaignNights,
    targets: Sequence[Target],
    rankings: Sequence[TrainRanking],
    offered: dict[str, Offer],
    earlier: EarlierNights,
    chance: float,
) -> tuple[list[str], list[str]]:
    """A train for each target, and why: what was begun goes on; else the choice that gains most.

    Each target in its own best train makes a night serve only those of the night's train; one
    train for several gives some of them a worse one. Compared is the expected gain of the first
    lunation, each target's weighted by its train's score over its best.
    """
    begun = [_begun_train(config, target, earlier) for target in targets]
    best = [kept or ranking.best.train for kept, ranking in zip(begun, rankings, strict=True)]
    options = [best]
    for train in config.train:
        option = [kept or train for kept in begun]
        if option not in options:
            options.append(option)
    values = [
        _expected_gain(config, ahead, targets, rankings, option, offered, earlier, chance)
        for option in options
    ]
    place = int(np.argmax(values))
    chosen, value = list(options[place]), values[place]
    for index, ranking in enumerate(rankings):
        if begun[index] is not None or len(targets) == 1:
            continue
        for fit in ranking.fits:
            trial = [*chosen]
            trial[index] = fit.train
            if trial in options:
                continue
            options.append(trial)
            gain = _expected_gain(config, ahead, targets, rankings, trial, offered, earlier, chance)
            if gain > value * (1.0 + 1e-6):
                chosen, value = trial, gain
    reasons = []
    for target, ranking, train, kept in zip(targets, rankings, chosen, begun, strict=True):
        if kept is not None:
            reasons.append(f"{train}: {target.name} was begun with it.")
        elif train == ranking.best.train:
            reasons.append(ranking.reason)
        else:
            score = ranking.of(train).score / ranking.best.score
            reasons.append(
                f"{train}, so that it shares nights with others; alone it would do "
                f"{100.0 * (1.0 - score):.0f} % better with the {ranking.best.train}."
            )
    return chosen, reasons


def _begun_train(config: Config, target: Target, earlier: EarlierNights) -> str | None:
    """The train with most of a target's hours; None where none is known."""
    hours = dict.fromkeys(config.train, 0.0)
    for row in earlier.gathered:
        if row.target == target.name and row.train in hours:
            hours[row.train] += row.hours
    most = max(hours, key=lambda train: hours[train])
    return most if hours[most] > 0.0 else None


def _expected_gain(
    config: Config,
    ahead: CampaignNights,
    targets: Sequence[Target],
    rankings: Sequence[TrainRanking],
    choice: Sequence[str],
    offered: dict[str, Offer],
    earlier: EarlierNights,
    chance: float,
) -> float:
    """Utility gained in the first lunation with every night bringing its expected part."""
    rows, rate, typical = _posed(config, ahead, targets, rankings, choice, offered, earlier)
    share = rows.share[None, :]
    for night in range(min(LUNATION_NIGHTS, len(ahead))):
        if ahead.slots[night]:
            work = night_work(
                rows,
                share,
                rate[night, : ahead.slots[night]],
                typical[night],
                float(ahead.slot_h[night]),
                config.preferences.balance,
            )
            share = share + chance * (work.share - share)
    merit = np.array(
        [
            ranking.of(train).score / ranking.best.score if ranking.best.score > 0.0 else 1.0
            for ranking, train in zip(rankings, choice, strict=True)
        ]
    )
    start, end = rows.share, share[0]
    gain = rows.weight * (end * (2.0 - end) - start * (2.0 - start))
    return float((merit[rows.target] * gain).sum())


def _night_rows(
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


def _outlooks(
    config: Config,
    asked: CampaignNights,
    targets: Sequence[Target],
    rows: Rows,
    done: Replay,
    choice: Sequence[str],
    reasons: Sequence[str],
    rate: Floats,
    up_h: Floats,
) -> tuple[Outlook, ...]:
    filters = list(config.filter)
    found = []
    for index, target in enumerate(targets):
        own = np.flatnonzero(rows.target == index)
        reached = done.finished[:, index]
        half = np.flatnonzero(reached >= 0.5)
        reason = None
        if half.size == 0:
            reason = _why_not(rate[:, :, own], up_h[:, index], asked)
        found.append(
            Outlook(
                target=target.name,
                train=choice[index],
                train_reason=reasons[index],
                priority=float(rows.priority[own[0]]),
                expected_date=asked.evenings[half[0]] if half.size else None,
                reason=reason,
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


def _why_not(rate: Floats, up_h: Floats, asked: CampaignNights) -> str:
    if not asked.slots.any():
        return "no_darkness"
    if not up_h.any():
        return "never_up"
    return "not_within_the_nights" if rate.any() else "no_usable_time"


def _empty_reason(rows: Rows, rate: Floats, up_h: Floats, asked: CampaignNights) -> str:
    if (rows.share >= DONE).all():
        return "all_goals_are_reached"
    return _why_not(rate, up_h, asked)


def _nothing(
    config: Config,
    evening: datetime.date,
    chance: float,
    targets: tuple[Target, ...],
    rankings: Sequence[TrainRanking],
    asked: CampaignNights,
    earlier: EarlierNights,
) -> Campaign:
    """A campaign without darkness, or without targets."""
    reason = "no_darkness" if not asked.slots.any() else "no_target_is_up"
    finished = []
    for target, ranking in zip(targets, rankings, strict=True):
        goal = goal_for(config, target)
        finished.append(
            Outlook(
                target=target.name,
                train=ranking.best.train,
                train_reason=ranking.reason,
                priority=1.0 if goal is None else goal.priority,
                expected_date=None,
                reason=reason,
                chance=0.0,
                filters=(),
            )
        )
    return Campaign(
        site=config.site.name,
        timezone=config.site.timezone,
        evening=evening,
        clear_night_chance=chance,
        targets=targets,
        sky=asked,
        rows=None,
        replayed=None,
        nights=(),
        finished=tuple(finished),
        waits=(),
        empty_reason=reason,
        notices=_notices(asked),
    )


def _notices(asked: CampaignNights) -> tuple[str, ...]:
    kinds = [None if night is None else night.window_kind for night in asked.nights]
    found = []
    for kind, words in (
        ("none", "without a dark window: the sun stays above -12 degrees"),
        ("nautical", "without astronomical darkness; their window is the nautical night"),
        (None, "left out of the site's calendar"),
    ):
        count = kinds.count(kind)
        if count:
            found.append(f"{count} of {len(kinds)} nights {words}.")
    notes = [
        night.earth_orientation.note
        for night in asked.nights
        if night is not None and night.earth_orientation.note is not None
    ]
    if notes:
        found.append(notes[-1] + ".")
    return tuple(found)
