"""Subs that clouds or the wind have spoilt, told by what a capture program counted in them.

Compared are subs of one evening, target, train, filter and exposure, so that altitude, filter and
length leave the median where it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import TYPE_CHECKING, TypeVar

from nightplan.journal.records import CalibrationFrame, Sub

if TYPE_CHECKING:
    from nightplan.model.preferences import RejectSubs

FEWEST_TO_COMPARE = 5
"""A median of fewer says nothing."""

F = TypeVar("F", bound=Sub | CalibrationFrame)


@dataclass(frozen=True)
class StarCards:
    """Stars counted in a light and their width (pixels or arcsec, one unit a night); none where
    no card says."""

    count: float | None
    width: float | None


def judged_by_stars(
    frames: Sequence[F], stars: Mapping[str, StarCards], limits: RejectSubs
) -> tuple[list[F], tuple[str, ...]]:
    """The frames, those subs rejected that lie beyond the limits; and what to say of it."""
    groups: dict[tuple[object, ...], list[Sub]] = {}
    for one in frames:
        if isinstance(one, Sub) and one.identity in stars:
            key = (one.evening, one.target, one.train, one.filter, one.exposure_s)
            groups.setdefault(key, []).append(one)
    reasons: dict[str, str] = {}
    for members in groups.values():
        reasons |= _spoilt(members, stars, limits)
    if not reasons:
        return list(frames), ()
    judged = [
        replace(one, accepted=False, reason=reasons[one.identity])
        if isinstance(one, Sub) and one.identity in reasons
        else one
        for one in frames
    ]
    count = len(reasons)
    told = (
        f"{count} sub{'' if count == 1 else 's'} rejected by the stars in "
        f"{'it' if count == 1 else 'them'} (count and width against the median of the evening; "
        "preferences.reject). --accept takes a folder's subs back."
    )
    return judged, (told,)


def _spoilt(
    members: Sequence[Sub], stars: Mapping[str, StarCards], limits: RejectSubs
) -> dict[str, str]:
    found: dict[str, str] = {}
    counts = [value for one in members if (value := stars[one.identity].count) is not None]
    widths = [value for one in members if (value := stars[one.identity].width) is not None]
    usual_count = median(counts) if len(counts) >= FEWEST_TO_COMPARE else None
    usual_width = median(widths) if len(widths) >= FEWEST_TO_COMPARE else None
    for one in members:
        own = stars[one.identity]
        if usual_count and own.count is not None and own.count < limits.fewest_stars * usual_count:
            found[one.identity] = f"{own.count:.0f} stars where the median has {usual_count:.0f}"
        elif (
            usual_width and own.width is not None and own.width > limits.widest_stars * usual_width
        ):
            found[one.identity] = (
                f"stars {own.width:.1f} wide where the median has {usual_width:.1f}"
            )
    return found
