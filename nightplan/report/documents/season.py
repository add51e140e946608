"""The documents of `nightplan season`: a target's year, or the best targets of a month."""

from __future__ import annotations

from collections.abc import Sequence

from nightplan.model.catalog import Catalog
from nightplan.planning.season.ranking import MonthRank
from nightplan.planning.season.season import Season
from nightplan.report.documents.base import Document


class SeasonNight(Document):
    """One night of a target: hours of the window inside the limits.

    `usable_moonless_hours` is the part of them with the moon's upper limb below the horizon.
    """

    date: str
    usable_hours: float
    usable_moonless_hours: float
    moon_illuminated_fraction: float


class MonthTarget(Document):
    """One target of the month's ranking; hours are sums over the month's nights."""

    target: str
    subject: list[str] | None
    subject_reason: str | None = None
    common_name: str | None
    common_name_reason: str | None = None
    ra_deg: float
    dec_deg: float
    kind: str
    major_arcmin: float
    train: str
    score: float
    framing: float
    contrast: float
    usable_hours: float
    usable_moonless_hours: float
    share_of_best_month: float
    best_month: str
    first_useful_date: str | None
    first_useful_date_reason: str | None = None
    last_useful_date: str | None
    last_useful_date_reason: str | None = None


def season_document(table: Season, row: int = 0) -> list[SeasonNight]:
    """The nights of one target."""
    nights = table.nights
    return [
        SeasonNight(
            date=day.isoformat(),
            usable_hours=round(float(table.usable_hours[row, i]), 3),
            usable_moonless_hours=round(float(table.moonless_hours[row, i]), 3),
            moon_illuminated_fraction=round(float(nights.moon_illuminated_fraction[i]), 4),
        )
        for i, day in enumerate(nights.evenings)
    ]


def month_document(ranking: Sequence[MonthRank], catalog: Catalog) -> list[MonthTarget]:
    """The best targets of a month."""
    rows = []
    for rank in ranking:
        target = catalog.target(rank.row)
        span = None if rank.span is None else [day.isoformat() for day in rank.span]
        reason = "never_long_enough" if span is None else None
        rows.append(
            MonthTarget(
                target=target.name,
                subject=[target.name, *rank.subject] if rank.subject else None,
                subject_reason=None if rank.subject else "stands_alone",
                common_name=target.common_names[0] if target.common_names else None,
                common_name_reason=None if target.common_names else "none_known",
                ra_deg=round(target.ra_deg, 5),
                dec_deg=round(target.dec_deg, 5),
                kind=target.kind,
                major_arcmin=target.major_arcmin or 0.0,
                train=rank.train,
                score=round(rank.score, 3),
                framing=round(rank.framing, 4),
                contrast=round(rank.contrast, 4),
                usable_hours=round(rank.usable_hours, 2),
                usable_moonless_hours=round(rank.moonless_hours, 2),
                share_of_best_month=round(rank.share_of_best_month, 4),
                best_month="{:04d}-{:02d}".format(*rank.best_month),
                first_useful_date=None if span is None else span[0],
                first_useful_date_reason=reason,
                last_useful_date=None if span is None else span[1],
                last_useful_date_reason=reason,
            )
        )
    return rows
