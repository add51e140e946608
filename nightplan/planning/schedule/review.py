"""The morning after: what a plan wanted, block by block, and what was shot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from nightplan.planning.photons.sub_sets import is_short
from nightplan.sky.times import mjd_from_iso

if TYPE_CHECKING:
    from nightplan.journal.records import Sub


@dataclass
class BlockReview:
    """A block of the plan and the subs that are taken for its own.

    `planned` is None for subs that no block wanted. Times are UTC as MJD, those of the subs None
    where there are none.
    """

    target: str
    panel: int
    filter: str
    start_utc_mjd: float
    end_utc_mjd: float
    planned: int | None
    sub_s: float
    short_set: bool = False
    subs: list[Sub] = field(default_factory=list)

    @property
    def accepted(self) -> int:
        """Subs that count."""
        return sum(sub.accepted for sub in self.subs)

    @property
    def rejected(self) -> int:
        """Subs that were shot and do not count."""
        return len(self.subs) - self.accepted

    @property
    def first_utc_mjd(self) -> float | None:
        """When the first of its subs began."""
        return min((sub.start_utc_mjd for sub in self.subs), default=None)

    @property
    def last_utc_mjd(self) -> float | None:
        """When the last of its subs ended."""
        return max(
            (sub.start_utc_mjd + sub.exposure_s / 86400.0 for sub in self.subs), default=None
        )

    @property
    def missing_s(self) -> float:
        """Shutter time planned and not shot."""
        if self.planned is None:
            return 0.0
        shot = sum(sub.exposure_s for sub in self.subs if sub.accepted)
        return max(0.0, self.planned * self.sub_s - shot)


def reviewed_blocks(plan: Mapping[str, Any], subs: Sequence[Sub]) -> list[BlockReview]:
    """Blocks of a plan document in order of time, each with its subs; then what no block wanted.

    A sub belongs to the block of its target, panel, filter and set in whose time it was begun, or
    else to the nearest of those in time.
    """
    rows = [
        BlockReview(
            target=row["target"],
            panel=int(row["panel"]),
            filter=row["filter"],
            start_utc_mjd=mjd_from_iso(row["start_utc"]),
            end_utc_mjd=mjd_from_iso(row["end_utc"]),
            planned=int(row["count"]),
            sub_s=float(row["sub_s"]),
            short_set=bool(row.get("short_set")),
        )
        for row in plan["blocks"]
    ]
    others: dict[tuple[str, int, str], BlockReview] = {}
    for sub in subs:
        at = sub.start_utc_mjd
        own = [
            row
            for row in rows
            if (row.target, row.panel, row.filter) == (sub.target, sub.panel, sub.filter)
        ]
        long_s = max((row.sub_s for row in own if not row.short_set), default=None)
        short_s = max((row.sub_s for row in own if row.short_set), default=None)
        short = is_short(sub.exposure_s, short_s, long_s)
        own = [row for row in own if row.short_set == short]
        if own:
            nearest = min(own, key=lambda row: max(row.start_utc_mjd - at, at - row.end_utc_mjd, 0))
            nearest.subs.append(sub)
            continue
        key = (sub.target, sub.panel, sub.filter)
        if key not in others:
            others[key] = BlockReview(*key, at, at, None, sub.exposure_s)
        others[key].subs.append(sub)
        others[key].end_utc_mjd = at + sub.exposure_s / 86400.0
    return sorted(rows, key=lambda row: row.start_utc_mjd) + list(others.values())
