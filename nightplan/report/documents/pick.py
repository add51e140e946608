"""The document of `nightplan pick`: the targets of the night, best first."""

from __future__ import annotations

from nightplan.planning.choosing.selection import Ranking
from nightplan.planning.tonight.night import Night
from nightplan.report.documents.base import Day, Document, To3, To5, Utc
from nightplan.report.documents.target import TargetDocument, target_document


class PickedTarget(Document):
    """One target with every part of its score; the score is the product of its parts."""

    name: str
    subject: list[str] | None
    subject_reason: str | None = None
    common_name: str
    kind: str
    constellation: str
    ra_deg: To5
    dec_deg: To5
    major_arcmin: float | None
    major_arcmin_reason: str | None = None
    train: str
    score: To5
    score_parts: dict[str, To5]
    hours: To3
    best_utc: Utc
    max_altitude_deg: To3
    moon_altitude_deg: To3
    moon_separation_deg: To3
    grade: str
    target_facts: TargetDocument
    why: str


class PickDocument(Document):
    """The ranked targets of one night; empty with a reason where none is worth it."""

    site: str
    date: Day
    targets: list[PickedTarget]
    targets_reason: str | None = None
    considered: int
    notices: list[str]


def pick_document(night: Night, ranking: Ranking, count: int) -> PickDocument:
    """Put the first `count` targets of a ranking into their document."""
    rows = []
    for ranked in ranking.first(count):
        target = ranked.target
        rows.append(
            PickedTarget.of(
                ranked,
                name=target.name,
                subject=[target.name, *ranked.subject] if ranked.subject else None,
                subject_reason=None if ranked.subject else "stands_alone",
                common_name=target.common_names[0] if target.common_names else "",
                kind=target.kind,
                constellation=target.constellation,
                ra_deg=target.ra_deg,
                dec_deg=target.dec_deg,
                major_arcmin=target.major_arcmin,
                major_arcmin_reason="size_unknown" if target.major_arcmin is None else None,
                grade=target.grade,
                target_facts=target_document(target),
            )
        )
    return PickDocument.of(
        site=night.site.name,
        date=night.evening,
        targets=rows,
        targets_reason=None if rows else ranking.empty_reason,
        considered=ranking.considered,
        notices=[*night.notices, *ranking.notices],
    )
