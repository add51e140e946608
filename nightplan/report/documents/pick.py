"""The document of `nightplan pick`: the targets of the night, best first."""

from __future__ import annotations

from nightplan.planning.choosing.selection import Ranking
from nightplan.planning.tonight.night import Night
from nightplan.report.documents.base import Document
from nightplan.report.documents.target import TargetDocument, target_document
from nightplan.sky.times import utc_iso


class PickedTarget(Document):
    """One target with every part of its score; the score is the product of its parts."""

    name: str
    subject: list[str] | None
    subject_reason: str | None = None
    common_name: str
    kind: str
    constellation: str
    ra_deg: float
    dec_deg: float
    major_arcmin: float | None
    major_arcmin_reason: str | None = None
    train: str
    score: float
    score_parts: dict[str, float]
    hours: float
    best_utc: str
    max_altitude_deg: float
    moon_altitude_deg: float
    moon_separation_deg: float
    grade: str
    target_facts: TargetDocument
    why: str


class PickDocument(Document):
    """The ranked targets of one night; empty with a reason where none is worth it."""

    site: str
    date: str
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
            PickedTarget(
                name=target.name,
                subject=[target.name, *ranked.subject] if ranked.subject else None,
                subject_reason=None if ranked.subject else "stands_alone",
                common_name=target.common_names[0] if target.common_names else "",
                kind=target.kind,
                constellation=target.constellation,
                ra_deg=round(target.ra_deg, 5),
                dec_deg=round(target.dec_deg, 5),
                major_arcmin=target.major_arcmin,
                major_arcmin_reason="size_unknown" if target.major_arcmin is None else None,
                train=ranked.train,
                score=round(ranked.score, 5),
                score_parts={key: round(value, 5) for key, value in ranked.score_parts.items()},
                hours=round(ranked.hours, 3),
                best_utc=utc_iso(ranked.best_utc_mjd),
                max_altitude_deg=round(ranked.max_altitude_deg, 3),
                moon_altitude_deg=round(ranked.moon_altitude_deg, 3),
                moon_separation_deg=round(ranked.moon_separation_deg, 3),
                grade=target.grade,
                target_facts=target_document(target),
                why=ranked.why,
            )
        )
    return PickDocument(
        site=night.site.name,
        date=night.evening.isoformat(),
        targets=rows,
        targets_reason=None if rows else ranking.empty_reason,
        considered=ranking.considered,
        notices=[*night.notices, *ranking.notices],
    )
