"""The coming nights as a whole: which serve which target and train, and when goals are reached.

The first night that can be worked is what `nightplan.planning.tonights_plan` plans; each later
clear night follows the same rule from the progress that stands by then, over many histories of
clear and clouded nights (`nightplan.planning.campaign.simulation`). The expected date of a target
is the evening after which half of the histories have reached its goals; its chance is the share
of them that have by the last night asked for.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.errors import InputError
from nightplan.planning.ahead.assessment import Assessment, assess
from nightplan.planning.ahead.choice import FIRST
from nightplan.planning.ahead.futures import LOOK_NIGHTS
from nightplan.planning.ahead.nights_ahead import NightsAhead
from nightplan.planning.campaign.outlook import NightRow, Outlook, night_rows, outlooks
from nightplan.planning.campaign.reasons import empty_reason, no_room_reason, unfinished_reasons
from nightplan.planning.campaign.simulation import FirstNight, Simulation, simulate
from nightplan.planning.campaign.waits import Wait, waits
from nightplan.planning.choosing.night_targets import Candidates, candidates, named_targets
from nightplan.planning.framing.subject_hours import with_subject_hours
from nightplan.planning.returning.earlier_nights import EarlierNights, with_configured
from nightplan.planning.tonight.limits import planned_night
from nightplan.planning.tonights_plan.plan import NightPlan, make_plan

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target

Progress = Callable[[int, int], None]

MOST_NIGHTS = 400
MOST_TARGETS = 40
SEASON_LOOKS = 4
"""Nights, evenly spread, whose best targets a campaign without names chooses from."""
SEASON_TARGETS = 8
NIGHTS_ACCEPTED = f"a whole number from 1 to {MOST_NIGHTS}"
CHANCE_ACCEPTED = "a number from 0 to 1"


@dataclass(frozen=True, eq=False)
class Campaign:
    """The answer, with what it was made from.

    Attributes
    ----------
    found : Assessment
        Of the nights asked for, and of those that the last of them looks ahead to.
    asked : NightsAhead
        The nights asked for.
    plan : NightPlan or None
        Of the first night that can be worked.
    simulation : Simulation or None
        None where there is no target or no night to work in.
    waits : tuple of Wait
        `Wait.target` indexes the targets of `found`.
    empty_reason : str or None
        Why no night holds anything.
    """

    site: str
    timezone: str
    evening: datetime.date
    clear_night_chance: float
    found: Assessment
    asked: NightsAhead
    plan: NightPlan | None
    simulation: Simulation | None
    nights: tuple[NightRow, ...]
    finished: tuple[Outlook, ...]
    waits: tuple[Wait, ...]
    empty_reason: str | None
    notices: tuple[str, ...]

    @property
    def targets(self) -> tuple[Target, ...]:
        """All targets that were looked at."""
        return self.found.targets


def make_campaign(
    config: Config,
    evening: datetime.date,
    nights: int,
    catalog: Catalog,
    names: Sequence[str] = (),
    *,
    earlier: EarlierNights | None = None,
    chance: float | None = None,
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
        Targets; else those with a goal, in `preferences.targets` or begun, filled up with the
        best of the season.
    chance : float, optional
        That a night is clear; by default `preferences.clear_night_chance`.
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
    preferences = config.preferences.model_copy(update={"clear_night_chance": chance})
    config = config.model_copy(update={"preferences": preferences})
    known = earlier or EarlierNights()
    report = _Steps(progress, nights + LOOK_NIGHTS, nights)
    plan = _first_plan(config, evening, nights, catalog, names, known)
    chosen = _candidates(config, evening, nights, catalog, names, known, plan)
    if len(chosen.targets) > MOST_TARGETS:
        raise InputError(
            "campaign", "targets", len(chosen.targets), f"at most {MOST_TARGETS} targets at a time"
        )
    wanted = [one for one, own in zip(chosen.targets, chosen.wanted, strict=True) if own]
    known = with_subject_hours(config, catalog, known, wanted)
    known = with_configured(config, known, chosen.targets)
    found = assess(
        config,
        evening,
        nights + LOOK_NIGHTS,
        chosen.targets,
        known,
        chance,
        merits=chosen.merit,
        fixed_trains=_trains(config, chosen, known, plan),
        progress=report.part(0),
    )
    asked = found.ahead.first(nights)
    if found.rows is None:
        return _nothing(config, evening, found, asked)
    lead = np.where(np.asarray(chosen.wanted), FIRST, 1.0)
    first = None if plan is None else _as_first(config, evening, found, plan)
    done = simulate(config, found, nights, chance, lead, first, report.part(1))
    held = night_rows(config, asked, found.targets, found.trains, found.rows, done)
    unfinished = unfinished_reasons(
        config, asked, found.targets, found.rows, found.rate[:nights], found.up_h[:nights]
    )
    ends = outlooks(config, asked, found, done, unfinished, known)
    waiting = waits(
        found.rows,
        tuple(config.channel),
        found.ahead.evenings,
        found.ahead.moon_illuminated_fraction,
        found.parts_h.sum(axis=1),
        found.up_h,
        nights,
    )
    return Campaign(
        site=config.site.name,
        timezone=config.site.timezone,
        evening=evening,
        clear_night_chance=chance,
        found=found,
        asked=asked,
        plan=plan,
        simulation=done,
        nights=held,
        finished=ends,
        waits=tuple(wait for wait in waiting if _matters(wait, ends[wait.target])),
        empty_reason=None if held else empty_reason(found.rows, unfinished),
        notices=_notices(asked),
    )


def _first_plan(
    config: Config,
    evening: datetime.date,
    nights: int,
    catalog: Catalog,
    names: Sequence[str],
    earlier: EarlierNights,
) -> NightPlan | None:
    """The plan of the first night that holds any block; None where none does."""
    for step in range(nights):
        try:
            night = planned_night(config, evening + datetime.timedelta(days=step))
        except InputError:  # crossing the date line took this date out of the calendar
            continue
        if night.window_utc_mjd is None:
            continue
        plan = make_plan(config, night, catalog, names, earlier=earlier)
        return plan if plan.solution is not None and plan.solution.schedule.blocks else None
    return None


def _candidates(
    config: Config,
    evening: datetime.date,
    nights: int,
    catalog: Catalog,
    names: Sequence[str],
    earlier: EarlierNights,
    plan: NightPlan | None,
) -> Candidates:
    """Named targets; else what is wanted, what the first night shoots, and the season's best."""
    if names:
        return Candidates.named(named_targets(catalog, names))
    looks = []
    for step in np.linspace(0, nights - 1, min(nights, SEASON_LOOKS)).round().astype(int):
        try:
            night = planned_night(config, evening + datetime.timedelta(days=int(step)))
        except InputError:
            continue
        if night.window_utc_mjd is not None:
            looks.append(night)
    found = candidates(config, looks, catalog, earlier.by_filter(), SEASON_TARGETS)
    return found.with_others(() if plan is None else plan.targets)


def _trains(
    config: Config, chosen: Candidates, earlier: EarlierNights, plan: NightPlan | None
) -> list[str | None]:
    """Trains that are settled: of what was begun, and of what the first night shoots."""
    shot = {} if plan is None else {one.target: one.train for one in plan.framings}
    return [
        earlier.begun_train(target.name, config.train) or shot.get(target.name)
        for target in chosen.targets
    ]


def _as_first(
    config: Config, evening: datetime.date, found: Assessment, plan: NightPlan
) -> FirstNight:
    """What the first night's plan gives each row; panels of a mosaic together."""
    rows = found.rows
    assert rows is not None
    assert plan.solution is not None
    wheel = list(config.channel)
    names = [target.name for target in found.targets]
    row_of = {
        (names[target], wheel[column]): row
        for row, (target, column) in enumerate(zip(rows.target, rows.channel, strict=True))
    }
    tonight, shutter = np.zeros(rows.goal_h.size), np.zeros(rows.goal_h.size)
    for part in plan.solution.evaluation.progress:
        row = row_of.get((part.target, part.filter))
        if row is not None:
            tonight[row] += part.tonight_h
            shutter[row] += part.tonight_clock_h
    night = (plan.night.evening - evening).days
    return FirstNight(night, tonight, shutter)


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
    """Two parts of the work as one count of steps."""

    def __init__(self, progress: Progress | None, ahead: int, asked: int) -> None:
        self._progress = progress
        self._sizes = (ahead, asked)

    def part(self, number: int) -> Progress | None:
        if self._progress is None:
            return None
        show = self._progress
        before, size, total = sum(self._sizes[:number]), self._sizes[number], sum(self._sizes)

        def step(done: int, count: int) -> None:
            show(before + round(size * done / max(count, 1)), total)

        return step


def _nothing(
    config: Config, evening: datetime.date, found: Assessment, asked: NightsAhead
) -> Campaign:
    """A campaign without a working span, or without targets."""
    reason = "no_target_is_up" if asked.slots.any() else no_room_reason(asked)
    return Campaign(
        site=config.site.name,
        timezone=config.site.timezone,
        evening=evening,
        clear_night_chance=config.preferences.clear_night_chance,
        found=found,
        asked=asked,
        plan=None,
        simulation=None,
        nights=(),
        finished=outlooks(config, asked, found, None, [reason] * len(found.targets), None),
        waits=(),
        empty_reason=reason,
        notices=_notices(asked),
    )


def _notices(asked: NightsAhead) -> tuple[str, ...]:
    nights = [night for night in asked.nights if night is not None]
    found = [
        f"{count} of {len(asked.nights)} nights {words}."
        for count, words in (
            (
                sum(night.window_kind == "none" for night in nights),
                "without a dark window: the sun stays above −12°",
            ),
            (
                sum(night.window_kind == "nautical" and not night.dark_hours for night in nights),
                "without astronomical darkness; their window is the nautical night",
            ),
            (len(asked.nights) - len(nights), "left out of the site's calendar"),
        )
        if count
    ]
    cut = sum(night.noon_cuts_window for night in nights)
    if cut:
        found.append(
            f"{cut} of {len(asked.nights)} nights are dark at the site's civil noon and are cut by "
            "it, as the time zone disagrees with the longitude; the longer part counts."
        )
    notes = [
        night.earth_orientation.note for night in nights if night.earth_orientation.note is not None
    ]
    if notes:
        found.append(notes[-1] + ".")
    return tuple(found)
