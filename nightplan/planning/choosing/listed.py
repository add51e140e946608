"""A ranking as a list shows it: framed as the plan frames it, and one entry a subject."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from nightplan.planning.choosing.held_back import with_reasons
from nightplan.planning.framing.framing import Framing, frame_target
from nightplan.planning.framing.mosaic_or_field import SINGLE_FIELD_COVERAGE, framing_value
from nightplan.planning.framing.subjects import merge_subjects, named_members

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.planning.choosing.selection import RankedTarget

FRAMED_EXACTLY = 60
"""Places from the top that are framed in earnest where one field does not hold the target."""


def as_subjects(
    config: Config,
    catalog: Catalog,
    ranked: Sequence[RankedTarget],
    asked: Collection[str],
    window_hours: float,
    most: int,
) -> tuple[RankedTarget, ...]:
    """The best `most` entries, each standing for all that its framing holds, with its reason.

    A score's framing part follows the plan's own framing where the closed form that ranks a whole
    catalogue may differ from it: for what one field cuts.

    Parameters
    ----------
    asked : collection of str
        Names that the imager asked for.
    """
    exact: dict[str, Framing] = {}

    def framed(entry: RankedTarget) -> Framing:
        if entry.target.name not in exact:
            exact[entry.target.name] = frame_target(
                config, entry.target, entry.train, in_full=False
            )
        return exact[entry.target.name]

    entries = [
        _as_framed(entry, framed(entry))
        if place < FRAMED_EXACTLY and entry.coverage < SINGLE_FIELD_COVERAGE
        else entry
        for place, entry in enumerate(ranked)
    ]
    entries.sort(key=lambda entry: -entry.score)
    subjects = merge_subjects(
        config,
        [entry.target for entry in entries],
        lambda index: framed(entries[index]),
        asked,
        most,
    )
    targets = [entry.target for entry in entries]
    faces = {targets[one.face].name for one in subjects}
    listed = [
        replace(
            entries[one.face],
            subject=named_members(config, catalog, targets, one, framed(entries[one.face]), faces),
        )
        for one in subjects
    ]
    return with_reasons(listed, entries, window_hours)


def _as_framed(entry: RankedTarget, framing: Framing) -> RankedTarget:
    by_form = float(framing_value(entry.coverage if entry.panels == 1 else 1.0, entry.panels))
    ratio = float(framing_value(framing.coverage, len(framing.panels))) / max(by_form, 1e-9)
    parts = {**entry.score_parts, "framing": entry.score_parts["framing"] * ratio}
    return replace(
        entry,
        score=entry.score * ratio,
        train_scores={**entry.train_scores, entry.train: entry.score * ratio},
        score_parts=parts,
        coverage=framing.coverage,
        panels=len(framing.panels),
    )
