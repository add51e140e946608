"""Which targets of the whole catalogue are best in one month, for a train's field."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.model.catalog import Catalog
from nightplan.model.wishes import goal_for
from nightplan.planning.choosing.merits import Merits
from nightplan.planning.framing.framing import Framing, frame_target
from nightplan.planning.framing.subjects import merge_subjects, named_members
from nightplan.planning.optics.train_optics import TrainOptics
from nightplan.planning.season.season import Season, month_sums, useful_span

if TYPE_CHECKING:
    from nightplan.model.config import Config

LEAST_FILL = 0.12
MOST_FILL = 1.1
"""Shares of the field's short and long side between which a target is worth a train's field."""


@dataclass(frozen=True)
class MonthRank:
    """One target in one month.

    `train` is the one that `framing` and `contrast` are of, `subject` what else its framing holds.
    `share_of_best_month` compares its moonless hours with those of its own best month. `framing`
    and `contrast` are the parts of `pick`: how it fills the field and stands out of the sky.
    `score` is the product of these three and of the moonless hours, a night's counted up to those
    that its goal can use: a fine picture, many hours now, and little to gain by waiting.
    """

    row: int
    train: str
    score: float
    framing: float
    contrast: float
    usable_hours: float
    moonless_hours: float
    share_of_best_month: float
    best_month: tuple[int, int]
    span: tuple[datetime.date, datetime.date] | None
    subject: tuple[str, ...] = ()


def fitting(catalog: Catalog, optics: TrainOptics) -> NDArray[np.bool_]:
    """Whether each target's size suits a train's field."""
    with np.errstate(invalid="ignore"):
        large = catalog.major_arcmin >= LEAST_FILL * optics.short_side_arcmin
        fits = catalog.major_arcmin <= MOST_FILL * optics.long_side_arcmin
    return np.asarray(large & fits)


def one_a_subject(config: Config, catalog: Catalog, ranks: Sequence[MonthRank]) -> list[MonthRank]:
    """Entries best first, each standing for all that its framing holds; goals keep their own."""
    targets = catalog.targets(rank.row for rank in ranks)
    asked = {one.name for one in targets if goal_for(config, one) is not None}
    framings: dict[int, Framing] = {}

    def framed(index: int) -> Framing:
        if index not in framings:
            framings[index] = frame_target(
                config, targets[index], ranks[index].train, in_full=False
            )
        return framings[index]

    subjects = merge_subjects(config, targets, framed, asked)
    faces = {targets[one.face].name for one in subjects}
    return [
        replace(
            ranks[one.face],
            subject=named_members(config, catalog, targets, one, framed(one.face), faces),
        )
        for one in subjects
    ]


def rank_month(
    table: Season,
    rows: np.ndarray,
    merits: Merits,
    month: tuple[int, int],
    count: int,
    least_hours: float,
) -> list[MonthRank]:
    """The `count` best of some rows in a month, best first.

    Parameters
    ----------
    table : Season
        Of those rows, in their order.
    rows : ndarray of int
        Rows of the catalogue.
    merits : Merits
        Of those rows.
    month : (year, month)
        One that the season holds; the ranking is empty otherwise.
    least_hours : float
        What makes a night useful, for the span.
    """
    months, moonless = month_sums(table.nights, table.moonless_hours)
    _, usable = month_sums(table.nights, table.usable_hours)
    if month not in months:
        return []
    column = months.index(month)
    top = moonless.max(axis=1)
    share = np.divide(moonless[:, column], top, out=np.zeros(len(rows)), where=top > 0.0)
    useful = np.minimum(table.moonless_hours, merits.goal_h[:, None])
    _, useful_month = month_sums(table.nights, useful)
    score = useful_month[:, column] * share * merits.framing * merits.contrast
    order = np.lexsort((rows, -score.round(9)))[:count]
    return [
        MonthRank(
            row=int(rows[i]),
            train=str(merits.train[i]),
            score=float(score[i]),
            framing=float(merits.framing[i]),
            contrast=float(merits.contrast[i]),
            usable_hours=float(usable[i, column]),
            moonless_hours=float(moonless[i, column]),
            share_of_best_month=float(share[i]),
            best_month=months[int(np.argmax(moonless[i]))],
            span=useful_span(table.nights, table.usable_hours[i], least_hours),
        )
        for i in order
        if score[i] > 0.0
    ]
