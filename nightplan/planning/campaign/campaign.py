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

from nightplan.errors import InputError
from nightplan.model.goals import goal_for
from nightplan.planning.campaign.outlook import (
    NightRow,
    Outlook,
    night_rows,
    outlooks,
)
from nightplan.planning.campaign.policy import Rows
from nightplan.planning.campaign.reasons import empty_reason, no_room_reason, unfinished_reasons
from nightplan.planning.campaign.skies import HISTORIES, LUNATION_NIGHTS, Replay, replay
from nightplan.planning.campaign.sky import CampaignNights, campaign_nights, offers
from nightplan.planning.campaign.trains import choose_trains, posed
from nightplan.planning.campaign.waits import Wait, waits
from nightplan.planning.choosing.night_targets import best_targets, named_targets
from nightplan.planning.choosing.train_choice import TrainRanking, rank_trains
from nightplan.planning.returning.earlier_nights import EarlierNights, with_configured

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target

Progress = Callable[[int, int], None]

MOST_NIGHTS = 400
MOST_TARGETS = 40
NIGHTS_ACCEPTED = f"a whole number from 1 to {MOST_NIGHTS}"
CHANCE_ACCEPTED = "a number from 0 to 1"


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
    choice, reasons = choose_trains(config, ahead, targets, rankings, offered, known, chance)
    rows, rate, typical = posed(config, ahead, targets, rankings, choice, offered, known)
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
    held = night_rows(config, asked, targets, rows, done)
    unfinished = unfinished_reasons(config, asked, targets, rows, rate[:nights], up_h[:nights])
    ends = outlooks(config, asked, targets, rows, done, choice, reasons, unfinished)
    waiting = waits(
        rows,
        tuple(config.filter),
        ahead.evenings,
        ahead.moon_illuminated_fraction,
        rate.sum(axis=1) * ahead.slot_h[:, None],
        up_h,
        nights,
    )
    return Campaign(
        site=config.site.name,
        timezone=config.site.timezone,
        evening=evening,
        clear_night_chance=chance,
        targets=targets,
        sky=asked,
        rows=rows,
        replayed=done,
        nights=held,
        finished=ends,
        waits=tuple(wait for wait in waiting if _matters(wait, ends[wait.target])),
        empty_reason=None if held else empty_reason(rows, unfinished),
        notices=_notices(asked),
    )


def _matters(wait: Wait, end: Outlook) -> bool:
    """Whether a wait begins before its target is expected to be done."""
    return end.expected_date is None or wait.wait_from <= end.expected_date


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
        ahead.end_limit[:nights],
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


def _nothing(
    config: Config,
    evening: datetime.date,
    chance: float,
    targets: tuple[Target, ...],
    rankings: Sequence[TrainRanking],
    asked: CampaignNights,
    earlier: EarlierNights,
) -> Campaign:
    """A campaign without a working span, or without targets."""
    reason = "no_target_is_up" if asked.slots.any() else no_room_reason(asked)
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
    kinds: list[str | None] = [
        None if night is None else night.window_kind for night in asked.nights
    ]
    found = []
    for kind, words in (
        ("none", "without a dark window: the sun stays above -12 degrees"),
        ("nautical", "without astronomical darkness; their window is the nautical night"),
        (None, "left out of the site's calendar"),
    ):
        count = kinds.count(kind)
        if count:
            found.append(f"{count} of {len(kinds)} nights {words}.")
    cut = sum(night is not None and night.noon_cuts_window for night in asked.nights)
    if cut:
        found.append(
            f"{cut} of {len(kinds)} nights are dark at the site's civil noon and are cut by it, as "
            "the time zone disagrees with the longitude; the longer part counts."
        )
    notes = [
        night.earth_orientation.note
        for night in asked.nights
        if night is not None and night.earth_orientation.note is not None
    ]
    if notes:
        found.append(notes[-1] + ".")
    return tuple(found)
