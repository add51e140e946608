"""Subs out of the common: short sets, and lengths of the user's own that break a bound."""

from __future__ import annotations

from collections.abc import Sequence

from nightplan.planning.photons.filter_budget import FilterBudget
from nightplan.planning.photons.short_set import ShortSet
from nightplan.report.documents.base import Document


class ShortSetRow(Document):
    """Short subs for a core that the normal ones burn out; `count` for each of `filters`, all at
    one gain and length. `core_fill` is how many times over the core fills a pixel in the normal
    sub."""

    filters: list[str]
    gain: str
    sub_s: float
    count: int
    core_fill: float
    clips_still: bool
    core_source: str


def short_set_row(found: ShortSet | None) -> ShortSetRow | None:
    """Put a short set into its row."""
    if found is None:
        return None
    return ShortSetRow(
        filters=list(found.filters),
        gain=found.gain,
        sub_s=found.sub_s,
        count=found.count,
        core_fill=round(found.core_fill, 2),
        clips_still=found.clips_still,
        core_source=found.core_source,
    )


class SubBreak(Document):
    """A length of the user's own that is kept, and the bound that it breaks."""

    train: str
    filter: str
    sub_s: float
    bound: str
    limit_s: float


def sub_breaks(train: str, budgets: Sequence[FilterBudget]) -> list[SubBreak]:
    """One row for each bound that a filter's own length breaks."""
    return [
        SubBreak(
            train=train,
            filter=budget.filter,
            sub_s=budget.sub_s,
            bound=bound,
            limit_s=round(getattr(budget.limits, f"{bound}_s"), 1),
        )
        for budget in budgets
        for bound in budget.setting.broken
    ]
