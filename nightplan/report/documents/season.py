"""The documents of `nightplan season`: a target's year, or the best targets of a month."""

from __future__ import annotations

from collections.abc import Sequence

from nightplan.model.catalog import Catalog
from nightplan.planning.season.ranking import MonthRank
from nightplan.planning.season.season import Season
from nightplan.report.documents.base import Day, Document, To2, To3, To4, To5


class SeasonNight(Document):
    """One night of a target: hours of the window inside the limits.

    `usable_moonless_hours` is the part of them with the moon's upper limb below the horizon.
    """

    date: Day
    usable_hours: To3
    usable_moonless_hours: To3
    moon_illuminated_fraction: To4


class MonthTarget(Document):
    """One target of the month's ranking; hours are sums over the month's nights."""

    target: str
    subject: list[str] | None
    subject_reason: str | None = None
    common_name: str | None
    common_name_reason: str | None = None
    ra_deg: To5
    dec_deg: To5
    kind: str
    major_arcmin: float
    train: str
    score: To3
    framing: To4
    contrast: To4
    usable_hours: To2
    usable_moonless_hours: To2
    share_of_best_month: To4
    best_month: str
    first_useful_date: Day | None
    first_useful_date_reason: str | None = None
    last_useful_date: Day | None
    last_useful_date_reason: str | None = None


def season_document(table: Season, row: int = 0) -> list[SeasonNight]:
    """The nights of one target."""
    nights = table.nights
    return [
        SeasonNight.of(
            date=day,
            usable_hours=table.usable_hours[row, i],
            usable_moonless_hours=table.moonless_hours[row, i],
            moon_illuminated_fraction=nights.moon_illuminated_fraction[i],
        )
        for i, day in enumerate(nights.evenings)
    ]


def month_document(ranking: Sequence[MonthRank], catalog: Catalog) -> list[MonthTarget]:
    """The best targets of a month."""
    rows = []
    for rank in ranking:
        target = catalog.target(rank.row)
        first, last = rank.span or (None, None)
        reason = "never_long_enough" if rank.span is None else None
        rows.append(
            MonthTarget.of(
                rank,
                target=target.name,
                subject=[target.name, *rank.subject] if rank.subject else None,
                subject_reason=None if rank.subject else "stands_alone",
                common_name=target.common_names[0] if target.common_names else None,
                common_name_reason=None if target.common_names else "none_known",
                ra_deg=target.ra_deg,
                dec_deg=target.dec_deg,
                kind=target.kind,
                major_arcmin=target.major_arcmin or 0.0,
                usable_moonless_hours=rank.moonless_hours,
                best_month="{:04d}-{:02d}".format(*rank.best_month),
                first_useful_date=first,
                first_useful_date_reason=reason,
                last_useful_date=last,
                last_useful_date_reason=reason,
            )
        )
    return rows
