"""The document of `nightplan campaign`: what coming nights serve, when goals are reached."""

from __future__ import annotations

from nightplan.number_forms import percent
from nightplan.planning.ahead.rows import BRIGHT
from nightplan.planning.campaign.campaign import Campaign
from nightplan.planning.campaign.outlook import NightRow, Outlook
from nightplan.planning.campaign.waits import Wait
from nightplan.report.documents.base import Document


class CampaignNightRow(Document):
    """What one night holds of one target if it is clear; a night may have several rows.

    `filter_hours` and their sum `hours` are on the clock, with the shutter open. They belong to
    the progress that the middle one of all skies has by then.
    """

    date: str
    target: str
    train: str
    filters: list[str]
    filter_hours: dict[str, float]
    hours: float
    equivalent_h: float
    moon_illuminated_fraction: float


class CampaignGoal(Document):
    """One filter's goal over all panels, what stands before, and the mean gain of all skies."""

    filter: str
    goal_h: float
    gathered_h: float
    expected_h: float


class CampaignEnd(Document):
    """When one target is done.

    `expected_date` is the evening after which half of the skies have brought all its goals,
    `chance` the share of them that have by the last night.
    """

    target: str
    expected_date: str | None
    expected_date_reason: str | None = None
    chance: float
    train: str
    train_reason: str
    priority: float
    goals: list[CampaignGoal]


class CampaignWait(Document):
    """Filters of one target that should wait for darker nights, and why."""

    target: str
    filters: list[str]
    wait_from_date: str
    wait_to_date: str
    good_from_date: str | None
    good_from_date_reason: str | None = None
    good_to_date: str | None
    good_to_date_reason: str | None = None
    bright_share: float
    why: str


class CampaignEvening(Document):
    """One of the nights asked for, worked or not; `hours` is the span that subs can lie in."""

    date: str
    hours: float
    moon_illuminated_fraction: float | None
    moon_illuminated_fraction_reason: str | None = None


class CampaignDocument(Document):
    """The coming nights."""

    site: str
    date: str
    night_count: int
    clear_night_chance: float
    skies: int
    value: float
    bound: float
    gap_percent: float
    nights: list[CampaignNightRow]
    nights_reason: str | None = None
    finished: list[CampaignEnd]
    waits: list[CampaignWait]
    evenings: list[CampaignEvening]
    notices: list[str]


def campaign_document(campaign: Campaign) -> CampaignDocument:
    """Put a campaign into its document."""
    sky, done = campaign.asked, campaign.simulation
    return CampaignDocument(
        site=campaign.site,
        date=campaign.evening.isoformat(),
        night_count=len(sky),
        clear_night_chance=campaign.clear_night_chance,
        skies=0 if done is None else done.histories,
        value=0.0 if done is None else round(done.value, 4),
        bound=0.0 if done is None else round(done.bound, 4),
        gap_percent=0.0 if done is None else round(done.gap_percent, 3),
        nights=[_night(row) for row in campaign.nights],
        nights_reason=campaign.empty_reason,
        finished=[_end(row) for row in campaign.finished],
        waits=[_wait(row, campaign.found.targets[row.target].name) for row in campaign.waits],
        evenings=[
            CampaignEvening(
                date=evening.isoformat(),
                hours=round(float(hours), 3),
                moon_illuminated_fraction=None
                if night is None
                else round(night.moon_illuminated_fraction, 4),
                moon_illuminated_fraction_reason="date_left_out" if night is None else None,
            )
            for evening, night, hours in zip(sky.evenings, sky.nights, sky.work_h, strict=True)
        ],
        notices=list(campaign.notices),
    )


def _night(row: NightRow) -> CampaignNightRow:
    return CampaignNightRow(
        date=row.date.isoformat(),
        target=row.target,
        train=row.train,
        hours=round(row.hours, 3),
        equivalent_h=round(row.equivalent_h, 3),
        filters=[part.filter for part in row.filters],
        filter_hours={part.filter: round(part.hours, 3) for part in row.filters},
        moon_illuminated_fraction=round(row.moon_illuminated_fraction, 4),
    )


def _end(row: Outlook) -> CampaignEnd:
    return CampaignEnd(
        target=row.target,
        expected_date=None if row.expected_date is None else row.expected_date.isoformat(),
        expected_date_reason=row.reason,
        chance=round(row.chance, 4),
        train=row.train,
        train_reason=row.train_reason,
        priority=row.priority,
        goals=[
            CampaignGoal(
                filter=part.filter,
                goal_h=round(part.goal_h, 3),
                gathered_h=round(part.gathered_h, 3),
                expected_h=round(part.expected_h, 3),
            )
            for part in row.filters
        ],
    )


def _wait(row: Wait, target: str) -> CampaignWait:
    later = None if row.good_from is not None else "not_in_the_nights_looked_at"
    why = (
        f"with {percent(BRIGHT)} of the moon lit or more, an hour of "
        f"{' '.join(row.filters)} brings {_percent(row.bright_share)} of what it brings on the "
        f"best night"
    )
    if row.others and row.others_share is not None:
        keeps = "keeps" if len(row.others) == 1 else "keep"
        why += f"; {' '.join(row.others)} {keeps} {_percent(row.others_share)}"
    return CampaignWait(
        target=target,
        filters=list(row.filters),
        wait_from_date=row.wait_from.isoformat(),
        wait_to_date=row.wait_to.isoformat(),
        good_from_date=None if row.good_from is None else row.good_from.isoformat(),
        good_from_date_reason=later,
        good_to_date=None if row.good_to is None else row.good_to.isoformat(),
        good_to_date_reason=later,
        bright_share=round(row.bright_share, 4),
        why=why + ".",
    )


def _percent(share: float) -> str:
    return "nothing" if share <= 0.0 else percent(share)
