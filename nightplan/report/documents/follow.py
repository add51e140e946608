"""The document of `nightplan follow`: how the night stood when it ended."""

from __future__ import annotations

from nightplan.report.documents.base import Document


class StandingRow(Document):
    """Subs of one target and filter: to be over by then, and shot."""

    target: str
    filter: str
    planned_subs: int
    shot_subs: int


class FollowDocument(Document):
    """Where a night stands against its plan in force."""

    site: str
    date: str
    now_utc: str
    folder: str
    plan_file: str
    added: int
    replans: int
    behind_min: float
    beyond_min: float
    standing: list[StandingRow]
    line: str
    notices: list[str]
