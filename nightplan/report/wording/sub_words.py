"""Sub lengths in words: pins that break a bound, and short sets."""

from __future__ import annotations

from collections.abc import Sequence

from nightplan.report.documents.subs import ShortSetRow, SubBreak

_BROKEN = {
    "saturation": "stars that should not saturate do so in {limit:.0f} s",
    "guiding": "guiding holds for {limit:g} s",
    "user_maximum": "longest_s is {limit:g} s",
    "user_minimum": "shortest_s is {limit:g} s",
    "read_noise": "read noise asks for {limit:.0f} s",
}


def broken_words(rows: Sequence[SubBreak]) -> list[str]:
    """One line for each filter whose length, the user's own, breaks a bound."""
    told: dict[tuple[str, str, float], list[str]] = {}
    several = len({row.train for row in rows}) > 1
    for row in rows:
        key = (row.train, row.filter, row.sub_s)
        told.setdefault(key, []).append(_BROKEN[row.bound].format(limit=row.limit_s))
    return [
        f"{name}{f' with the {train}' if several else ''}: {sub_s:g} s as configured, though "
        f"{' and '.join(reasons)}."
        for (train, name, sub_s), reasons in told.items()
    ]


def short_set_words(row: ShortSetRow | None) -> str:
    """A short set in a sentence; empty without one."""
    if row is None:
        return ""
    told = (
        f"For the core, {row.core_fill:.1f} times full well in the normal sub, also "
        f"{row.count} × {row.sub_s:g} s of {' and '.join(row.filters)}, "
        f"{row.gain} gain; they are not in the schedule."
    )
    return told + (" It clips still." if row.clips_still else "")
