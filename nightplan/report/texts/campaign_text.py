"""A campaign as text for the terminal: a line a night and target, and a line a target."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from nightplan.report.wording.text_table import paragraph, text_table
from nightplan.report.wording.words import number, percent

Campaign = Mapping[str, Any]

REASONS = {
    "no_darkness": "the sun stays too high in all these nights",
    "setup_takes_the_window": "setting up takes all of the dark windows",
    "tear_down_comes_first": "tear-down is set before there is anything to shoot",
    "battery_ends_first": "the battery is empty before there is anything to shoot",
    "never_up": "never above the limits in these nights",
    "no_usable_time": "up, but always too near the moon or in too bright a sky",
    "not_within_the_nights": "not within these nights",
    "no_target_is_up": "no target is worth these nights",
    "all_goals_are_reached": "every goal is reached already",
}


def campaign_text(campaign: Campaign, *, rules: bool | None = None) -> str:
    """Lay out a campaign document (a `CampaignDocument` dump, or ``campaign --json``).

    Parameters
    ----------
    campaign : mapping
        The document.
    rules : bool or None
        Rules under table headings; by default only on a terminal.

    Returns
    -------
    str
        Lines of at most 80 columns.
    """
    count = campaign["night_count"]
    title = f"Campaign of {count} night{'' if count == 1 else 's'} from {campaign['date']}"
    parts = [paragraph(f"{title} at {campaign['site']}")]
    if campaign["nights"]:
        parts.append(_nights(campaign, rules))
        parts.append(paragraph(_reading(campaign)))
    else:
        reason = str(campaign.get("nights_reason"))
        parts.append(paragraph(f"No night holds anything: {REASONS.get(reason, reason)}."))
    if campaign["finished"]:
        parts.append("When the goals are reached\n" + _finished(campaign, rules))
        parts.append("\n".join(paragraph(row["train_reason"]) for row in campaign["finished"]))
    if campaign["waits"]:
        lines = [paragraph(_wait(row), indent="- ") for row in campaign["waits"]]
        title = "What should wait for the dark of the moon, but for hours with the moon down"
        parts.append(title + "\n" + "\n".join(lines))
    parts.extend(paragraph(f"Note: {notice}") for notice in campaign["notices"])
    return "\n\n".join(part.rstrip() for part in parts) + "\n"


def _nights(campaign: Campaign, rules: bool | None) -> str:
    rows = []
    last = None
    for row in campaign["nights"]:
        new = row["date"] != last
        last = row["date"]
        rows.append(
            [
                _day(row["date"]) if new else "",
                percent(row["moon_illuminated_fraction"]) if new else "",
                row["target"],
                row["train"],
                f"{row['hours']:.1f}",
                f"{row['equivalent_h']:.1f}",
                " ".join(part["filter"] for part in row["filters"]),
            ]
        )
    heads = ["evening", "moon", "target", "train", "hours", "worth", "filters"]
    return text_table(heads, rows, right=(1, 4, 5), rules=rules)


def _reading(campaign: Campaign) -> str:
    chance = campaign["clear_night_chance"]
    text = (
        "Hours are on the clock, worth is in hours of moonless zenith. Each line is what the "
        "night holds if it is clear"
    )
    if 0.0 < chance < 1.0:
        return (
            f"{text}, from the progress made by then under the middle one of "
            f"{campaign['skies']} skies in which a night is clear with a chance of "
            f"{percent(chance)}."
        )
    return f"{text}; {'every night is taken as clear' if chance else 'none is taken as clear'}."


def _finished(campaign: Campaign, rules: bool | None) -> str:
    rows = []
    for row in campaign["finished"]:
        goal = sum(part["goal_h"] for part in row["goals"])
        gathered = sum(part["gathered_h"] for part in row["goals"])
        expected = sum(part["expected_h"] for part in row["goals"])
        if row["expected_date"] is not None:
            when = _day(row["expected_date"])
        else:
            reason = str(row.get("expected_date_reason"))
            when = REASONS.get(reason, reason)
        rows.append(
            [
                row["target"],
                row["train"],
                number(row["priority"], 2),
                f"{goal:.1f}" if goal else "",
                f"{gathered:.1f}" if goal else "",
                f"{expected:.1f}" if goal else "",
                percent(row["chance"]),
                when,
            ]
        )
    heads = ["target", "train", "priority", "goal", "so far", "to come", "chance", "expected"]
    return text_table(heads, rows, right=(2, 3, 4, 5, 6), rules=rules)


def _wait(row: Mapping[str, Any]) -> str:
    text = (
        f"{row['target']}, {' '.join(row['filters'])}: wait from {_short(row['wait_from_date'])} "
        f"to {_short(row['wait_to_date'])}"
    )
    if row["good_from_date"] is not None:
        text += f"; good again from {_short(row['good_from_date'])}"
        text += f" to {_short(row['good_to_date'])}"
    why = str(row["why"])
    return f"{text}. {why[0].upper()}{why[1:]}"


def _day(text: str) -> str:
    return f"{datetime.date.fromisoformat(text):%a} {text}"


def _short(text: str) -> str:
    when = datetime.date.fromisoformat(text)
    return f"{when.day} {when:%b}"
