"""A campaign as text for the terminal: a line a night and target, and a line a target."""

from __future__ import annotations

import datetime

from nightplan.number_forms import number, percent
from nightplan.report.documents.campaign import CampaignDocument, CampaignWait
from nightplan.report.wording.screen import styled
from nightplan.report.wording.text_table import (
    first_that_fits,
    heading,
    note,
    paragraph,
    text_table,
)
from nightplan.report.wording.words import DAYS, MONTHS, counted, evening

LEAST_H = 0.05
"""Fewer hours read as none."""

REASONS = {
    "no_darkness": "the sun stays too high in all these nights",
    "setup_takes_the_window": "setting up takes all of the dark windows",
    "tear_down_comes_first": "tear-down is set before there is anything to shoot",
    "battery_ends_first": "the battery is empty before there is anything to shoot",
    "never_up": "never above the limits in these nights",
    "no_usable_time": "up, but always too near the moon or in too bright a sky",
    "not_within_the_nights": "not by then",
    "no_target_is_up": "no target is worth these nights",
    "all_goals_are_reached": "every goal is reached already",
}


def campaign_text(campaign: CampaignDocument, *, full: bool = False) -> str:
    """Lay out a campaign: when goals are reached, and as many nights as one screen holds.

    `full` has every night, why each target has its train, and what should wait.
    """
    dates = list(dict.fromkeys(row.date for row in campaign.nights))
    if full:
        return _laid_out(campaign, dates, full=True)
    return first_that_fits(
        lambda shown: _laid_out(campaign, dates[:shown], len(dates) - shown), len(dates)
    )


def _laid_out(
    campaign: CampaignDocument, dates: list[str], rest: int = 0, *, full: bool = False
) -> str:
    """The page with these nights; `rest` of them are left out."""
    title = f"Campaign of {counted(campaign.night_count, 'night')} from {evening(campaign.date)}"
    parts = [heading(f"{title} at {campaign.site}")]
    if campaign.finished:
        parts.append(_finished(campaign, full))
    if campaign.nights:
        parts.append(_nights(campaign, dates))
        if full:
            parts[-1] += "\n" + paragraph(_reading(campaign))
    else:
        reason = str(campaign.nights_reason)
        parts.append(paragraph(f"No night holds anything: {REASONS.get(reason, reason)}."))
    if full:
        parts.append("\n".join(paragraph(row.train_reason) for row in campaign.finished))
        parts += _waits(campaign)
    parts += ["\n".join(note(notice) for notice in campaign.notices)]
    if not full and campaign.nights:
        more = f"{counted(rest, 'more night')}, " if rest else ""
        parts.append(styled(paragraph(f"{more}trains, what should wait: --full"), "faint"))
    return "\n\n".join(part.rstrip() for part in parts if part) + "\n"


def _nights(campaign: CampaignDocument, dates: list[str]) -> str:
    rows = []
    last = None
    for row in campaign.nights:
        if row.date not in dates:
            continue
        new = row.date != last
        last = row.date
        rows.append(
            [
                _day(row.date) if new else "",
                percent(row.moon_illuminated_fraction, plain=True) if new else "",
                row.target,
                row.train,
                f"{row.hours:.1f}",
                "  ".join(
                    f"{name} {hours:.1f}"
                    for name, hours in row.filter_hours.items()
                    if hours >= LEAST_H
                ),
            ]
        )
    heads = ["if clear", "moon", "target", "train", "hours", "filters"]
    return text_table(heads, rows, right=(1, 4))


def _reading(campaign: CampaignDocument) -> str:
    chance = campaign.clear_night_chance
    text = "Hours are on the clock. Each line is what the night holds if it is clear"
    if 0.0 < chance < 1.0:
        return (
            f"{text}, from the progress made by then under the middle one of "
            f"{campaign.skies} skies in which a night is clear with a chance of "
            f"{percent(chance)}."
        )
    return f"{text}; {'every night is taken as clear' if chance else 'none is taken as clear'}."


def _finished(campaign: CampaignDocument, full: bool) -> str:
    """The targets; without `full` those that these nights give nothing in a line of their own."""
    rows, idle = [], []
    for row in campaign.finished:
        goal = sum(part.goal_h for part in row.goals)
        done = sum(part.gathered_h for part in row.goals)
        expected = sum(part.expected_h for part in row.goals)
        if not full and done + expected < LEAST_H and row.expected_date is None:
            idle.append(row.target)
            continue
        if row.expected_date is not None:
            when = f"{evening(row.expected_date)}, chance {percent(row.chance)}"
        else:
            reason = str(row.expected_date_reason)
            when = REASONS.get(reason, reason)
            if row.chance > 0.0:
                when += f" ({percent(row.chance)})"
        rows.append([row.target, row.train, *_hours(goal, done, expected), when])
    heads = ["target", "train", "goal", "so far", "expected", "goal reached"]
    parts = [text_table(heads, rows, right=(2, 3, 4))] if rows else []
    if idle:
        parts.append(paragraph(f"Nothing in these nights: {', '.join(idle)}."))
    return "\n".join(parts)


def _hours(goal: float, done: float, expected: float) -> list[str]:
    if not goal:
        return ["", "", ""]
    return [_rough(hours) for hours in (goal, done, done + expected)]


def _rough(hours: float) -> str:
    """Hours in as many digits as are known: ``4.2 h``, ``17 h``."""
    return f"{number(hours, 0 if hours >= 10.0 else 1)} h"


def _waits(campaign: CampaignDocument) -> list[str]:
    if not campaign.waits:
        return []
    lines = [paragraph(_wait(row), indent="- ") for row in campaign.waits]
    title = "What should wait for the dark of the moon, but for hours with the moon down"
    return [heading(title) + "\n" + "\n".join(lines)]


def _wait(row: CampaignWait) -> str:
    text = (
        f"{row.target}, {' '.join(row.filters)}: wait from {_short(row.wait_from_date)} "
        f"to {_short(row.wait_to_date)}"
    )
    if row.good_from_date is not None and row.good_to_date is not None:
        text += f"; good again from {_short(row.good_from_date)} to {_short(row.good_to_date)}"
    return f"{text}. {row.why[0].upper()}{row.why[1:]}"


def _day(text: str) -> str:
    when = datetime.date.fromisoformat(text)
    return f"{DAYS[when.weekday()]} {when.day} {MONTHS[when.month - 1]}"


def _short(text: str) -> str:
    when = datetime.date.fromisoformat(text)
    return f"{when.day} {MONTHS[when.month - 1]}"
