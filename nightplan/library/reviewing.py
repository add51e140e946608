"""The morning after a night: planned against shot, what it brought, and when it goes on."""

from __future__ import annotations

import datetime
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nightplan.errors import FileError
from nightplan.library.earlier import Remembered, remembered
from nightplan.library.following import first_plan_file, plan_file_of
from nightplan.library.outputs import Pictured
from nightplan.planning.photons.sub_sets import is_short
from nightplan.planning.schedule.review import BlockReview, reviewed_blocks
from nightplan.report.documents.review import (
    NextNight,
    ReviewDocument,
    ReviewedBlock,
    ReviewedGoal,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from nightplan.model.config import Config

MOST_NIGHTS = 60
LEAST_HOURS = 1.0
"""A night with less than this of a target is not worth waiting for (common practice, no source)."""
LEAST_MISSING_H = 0.05


class NightReview(Pictured):
    """A night's plan against what was shot."""

    def __init__(self, document: ReviewDocument, rows: Sequence[BlockReview], config: Config):
        self._document = document
        self._rows = rows
        self._config = config

    @property
    def document(self) -> ReviewDocument:
        """The JSON document of `nightplan review`."""
        return self._document

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.review_text import review_text

        return review_text(self._document)

    def figure(self, *, style: str = "day", narrow: bool = False) -> Figure:
        """The night as two lanes a filter: what was planned, and each sub as it was shot."""
        from nightplan.report.plots.night_picture import roles_of
        from nightplan.report.plots.review_plot import review_figure

        roles = roles_of(self._config)
        return review_figure(self._rows, self._config.site.zone, roles, style=style, narrow=narrow)


def review(
    config: Config, evening: datetime.date, plan_file: str | os.PathLike[str] | None = None
) -> NightReview:
    """Compare a night's plan with the subs of that evening in the journal.

    Parameters
    ----------
    config : Config
    evening : date
    plan_file : path, optional
        The plan document; else the one that `nightplan follow` began with.

    Raises
    ------
    nightplan.errors.FileError
        There is no plan of the night.
    nightplan.errors.InputError
        The plan is of another site, rig or night.
    """
    from nightplan.errors import InputError
    from nightplan.files import read_text
    from nightplan.planning.schedule.plan_reading import check_same_rig, read_plan_document

    source = Path(plan_file) if plan_file is not None else _own_plan(config, evening)
    plan = read_plan_document(str(source), read_text(source))
    check_same_rig(config, plan, str(source))
    if plan["date"] != evening.isoformat():
        raise InputError(str(source), "date", plan["date"], f"the night of {evening}")
    journal = remembered(config, without=evening)
    rows = reviewed_blocks(plan, journal.tonight)
    goals = _goals(plan, journal)
    shot_s = sum(sub.exposure_s for sub in journal.tonight if sub.accepted)
    notices = [] if journal.tonight else ["the journal holds no sub of this evening: collect first"]
    document = ReviewDocument.of(
        site=config.site.name,
        date=evening,
        timezone=config.site.timezone,
        plan_file=str(source),
        planned_min=sum((row.planned or 0) * row.sub_s for row in rows) / 60.0,
        shot_min=shot_s / 60.0,
        missing_min=sum(row.missing_s for row in rows) / 60.0,
        blocks=[_block(row) for row in rows],
        goals=goals,
        next_nights=_next_nights(config, evening, goals),
        notices=notices,
    )
    return NightReview(document, rows, config)


def _own_plan(config: Config, evening: datetime.date) -> Path:
    own = plan_file_of(config, evening)
    for path in (first_plan_file(own), own):
        if path.exists():
            return path
    raise FileError(own, "no plan of this night is kept there; give the saved one with --keep FILE")


def _block(row: BlockReview) -> ReviewedBlock:
    nothing = "nothing_shot" if row.first_utc_mjd is None else None
    return ReviewedBlock.of(
        row,
        planned_subs=row.planned,
        planned_subs_reason="not_in_the_plan" if row.planned is None else None,
        shot_subs=row.accepted,
        rejected_subs=row.rejected,
        shot_start_utc=row.first_utc_mjd,
        shot_start_utc_reason=nothing,
        shot_end_utc=row.last_utc_mjd,
        shot_end_utc_reason=nothing,
        missing_min=row.missing_s / 60.0,
    )


def _goals(plan: Mapping[str, Any], journal: Remembered) -> list[ReviewedGoal]:
    """By target and goal, short sets apart; panels of a mosaic together."""
    goal: dict[tuple[str, str, bool], float] = {}
    before: dict[tuple[str, str, bool], float] = {}
    length_s: dict[tuple[str, str, bool], float] = {}
    fed: dict[tuple[str, str, bool], dict[str, None]] = {}
    for row in plan.get("progress", ()):
        key = (row["target"], row["filter"], bool(row.get("short_set")))
        goal[key] = goal.get(key, 0.0) + float(row["goal_h"])
        before[key] = before.get(key, 0.0) + float(row["gathered_h"])
        for name in row.get("through", [row["filter"]]):
            length_s[key[0], name, key[2]] = float(row.get("sub_s", 0.0))
            fed.setdefault((key[0], name, key[2]), {})[key[1]] = None
    brought: dict[tuple[str, str, bool], float] = {}
    for sub in journal.tonight:
        both = [length_s.get((sub.target, sub.filter, short)) for short in (True, False)]
        short = is_short(sub.exposure_s, *both)
        goals = list(fed.get((sub.target, sub.filter, short), [sub.filter]))
        counted = {sub.filter: sub.counted_open_s} if short else sub.counted_by(goals)
        for name, counted_s in counted.items():
            key = (sub.target, name, short)
            brought[key] = brought.get(key, 0.0) + counted_s / 3600.0
    return [
        ReviewedGoal.of(
            target=key[0],
            filter=key[1],
            short_set=key[2],
            goal_h=wanted,
            before_h=before[key],
            tonight_h=brought.get(key, 0.0),
            missing_h=max(0.0, wanted - before[key] - brought.get(key, 0.0)),
        )
        for key, wanted in goal.items()
    ]


def _next_nights(
    config: Config, evening: datetime.date, goals: Sequence[ReviewedGoal]
) -> list[NextNight]:
    """For each target that misses something, the next evening that can give it: with the moon down
    where a broad filter is missing."""
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.season.season import season, year_nights

    missing: dict[str, list[str]] = {}
    for row in goals:
        if row.missing_h >= LEAST_MISSING_H:
            names = missing.setdefault(row.target, [])
            names += [row.filter] if row.filter not in names else []
    if not missing:
        return []
    catalog = catalog_for(config)
    targets = [catalog.target(catalog.find(name)) for name in missing]
    nights = year_nights(config.site, evening + datetime.timedelta(days=1), MOST_NIGHTS)
    table = season(config, nights, [t.ra_deg for t in targets], [t.dec_deg for t in targets])
    found = []
    for number, (name, filters) in enumerate(missing.items()):
        known = config.with_all_filters.channel
        narrow = all(known[one].is_narrow for one in filters if one in known)
        hours = table.usable_hours[number] if narrow else table.moonless_hours[number]
        at = next((i for i, value in enumerate(hours) if value >= LEAST_HOURS), None)
        why = None if at is not None else f"none_within_{MOST_NIGHTS}_nights"
        found.append(
            NextNight.of(
                target=name,
                missing_filters=filters,
                date=None if at is None else nights.evenings[at],
                date_reason=why,
                usable_hours=None if at is None else table.usable_hours[number, at],
                usable_hours_reason=why,
                moonless_hours=None if at is None else table.moonless_hours[number, at],
                moonless_hours_reason=why,
            )
        )
    return found
