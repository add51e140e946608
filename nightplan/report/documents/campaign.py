"""The document of `nightplan campaign`: what coming nights serve, when goals are reached."""

from __future__ import annotations

from nightplan.number_forms import percent
from nightplan.planning.ahead.rows import BRIGHT
from nightplan.planning.campaign.campaign import Campaign
from nightplan.planning.campaign.outlook import NightRow, Outlook
from nightplan.planning.campaign.waits import Wait
from nightplan.report.documents.base import Day, Document, To3, To4


class CampaignNightRow(Document):
    """What one night holds of one target if it is clear; a night may have several rows.

    `filter_hours` and their sum `hours` are on the clock, with the shutter open. They belong to
    the progress that the middle one of all skies has by then.
    """

    date: Day
    target: str
    train: str
    filters: list[str]
    filter_hours: dict[str, To3]
    hours: To3
    equivalent_h: To3
    moon_illuminated_fraction: To4


class CampaignGoal(Document):
    """One filter's goal over all panels, what stands before, and the mean gain of all skies."""

    filter: str
    goal_h: To3
    gathered_h: To3
    expected_h: To3


class CampaignEnd(Document):
    """When one target is done.

    `expected_date` is the evening after which half of the skies have brought all its goals,
    `chance` the share of them that have by the last night.
    """

    target: str
    expected_date: Day | None
    expected_date_reason: str | None = None
    chance: To4
    train: str
    train_reason: str
    priority: float
    goals: list[CampaignGoal]


class CampaignWait(Document):
    """Filters of one target that should wait for darker nights, and why."""

    target: str
    filters: list[str]
    wait_from_date: Day
    wait_to_date: Day
    good_from_date: Day | None
    good_from_date_reason: str | None = None
    good_to_date: Day | None
    good_to_date_reason: str | None = None
    bright_share: To4
    why: str


class CampaignEvening(Document):
    """One of the nights asked for, worked or not; `hours` is the span that subs can lie in."""

    date: Day
    hours: To3
    moon_illuminated_fraction: To4 | None
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
            CampaignEvening.of(
                date=evening,
                hours=hours,
                moon_illuminated_fraction=night and night.moon_illuminated_fraction,
                moon_illuminated_fraction_reason="date_left_out" if night is None else None,
            )
            for evening, night, hours in zip(sky.evenings, sky.nights, sky.work_h, strict=True)
        ],
        notices=list(campaign.notices),
    )


def _night(row: NightRow) -> CampaignNightRow:
    return CampaignNightRow.of(
        row,
        filters=[part.filter for part in row.filters],
        filter_hours={part.filter: part.hours for part in row.filters},
    )


def _end(row: Outlook) -> CampaignEnd:
    goals = [CampaignGoal.of(part) for part in row.filters]
    return CampaignEnd.of(row, expected_date_reason=row.reason, goals=goals)


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
    return CampaignWait.of(
        row,
        target=target,
        wait_from_date=row.wait_from,
        wait_to_date=row.wait_to,
        good_from_date=row.good_from,
        good_from_date_reason=later,
        good_to_date=row.good_to,
        good_to_date_reason=later,
        why=why + ".",
    )


def _percent(share: float) -> str:
    return "nothing" if share <= 0.0 else percent(share)
