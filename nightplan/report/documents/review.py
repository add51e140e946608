"""The documents of `nightplan review` and `follow`: a night's plan against what was shot."""

from __future__ import annotations

from nightplan.report.documents.base import Day, Document, To2, To3, Utc


class ReviewedBlock(Document):
    """A block of the plan with what was shot for it; without a plan, subs that no block wanted."""

    target: str
    panel: int
    filter: str
    short_set: bool
    start_utc: Utc
    end_utc: Utc
    sub_s: float
    planned_subs: int | None
    planned_subs_reason: str | None = None
    shot_subs: int
    rejected_subs: int
    shot_start_utc: Utc | None
    shot_start_utc_reason: str | None = None
    shot_end_utc: Utc | None
    shot_end_utc_reason: str | None = None
    missing_min: To2


class ReviewedGoal(Document):
    """What the night brought of one filter of a target, in equivalent hours."""

    target: str
    filter: str
    short_set: bool
    goal_h: To3
    before_h: To3
    tonight_h: To3
    missing_h: To3


class NextNight(Document):
    """The next evening on which an unfinished target can be shot."""

    target: str
    missing_filters: list[str]
    date: Day | None
    date_reason: str | None = None
    usable_hours: To2 | None
    usable_hours_reason: str | None = None
    moonless_hours: To2 | None
    moonless_hours_reason: str | None = None


class ReviewDocument(Document):
    """Planned against shot, what the night brought of each goal, and when it goes on."""

    site: str
    date: Day
    timezone: str
    plan_file: str
    planned_min: To2
    shot_min: To2
    missing_min: To2
    blocks: list[ReviewedBlock]
    goals: list[ReviewedGoal]
    next_nights: list[NextNight]
    notices: list[str]


class StandingRow(Document):
    """Subs of one target and filter: to be over by then, and shot."""

    target: str
    filter: str
    planned_subs: int
    shot_subs: int


class FollowDocument(Document):
    """Where a night stands against its plan in force."""

    site: str
    date: Day
    now_utc: Utc
    folder: str
    plan_file: str
    added: int
    replans: int
    behind_min: To3
    beyond_min: To3
    standing: list[StandingRow]
    line: str
    notices: list[str]
