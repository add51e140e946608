"""How a night stands: what the plan in force wanted by now, against what was really shot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from nightplan.dates import DAY_S
from nightplan.planning.photons.sub_sets import is_short, row_set, set_name
from nightplan.planning.schedule.done import DoneKey
from nightplan.sky.times import mjd_from_iso

if TYPE_CHECKING:
    from nightplan.journal.records import Sub

GRACE_S = 60.0
"""From the end of a sub to its file: download, writing, a shared folder's delay."""

Pair = tuple[str, str]


@dataclass(frozen=True)
class Standing:
    """Counts by target and set (``L``, ``L short``), in subs of the plan's length.

    Attributes
    ----------
    planned, shot : dict
        Subs that were to be over by now, and accepted subs that were shot.
    missing_min, beyond_min : float
        Shutter time planned by now and not shot, summed over pairs; and shot beyond the plan.
    foreign : dict
        Subs of targets and filters that the plan does not hold.
    """

    planned: dict[Pair, int]
    shot: dict[Pair, int]
    missing_min: float
    beyond_min: float
    foreign: dict[Pair, int]

    @property
    def done(self) -> dict[DoneKey, int]:
        """What a re-plan is told: every pair that was begun, or was to be."""
        return {pair: self.shot.get(pair, 0) for pair in dict.fromkeys([*self.planned, *self.shot])}


def standing(plan: Mapping[str, Any], subs: Sequence[Sub], now_utc_mjd: float) -> Standing:
    """Compare a plan document with tonight's subs.

    Parameters
    ----------
    plan : mapping
        The plan document in force; of a re-plan its kept blocks count as planned.
    subs : sequence of Sub
        Those of the evening; rejected ones do not count.
    """
    wanted: dict[Pair, float] = {}
    planned: dict[Pair, int] = {}
    length_s: dict[Pair, float] = {}
    for row in plan["progress"]:
        length_s.setdefault((row["target"], row_set(row)), float(row.get("sub_s", 0.0)))
    for row in plan["blocks"]:
        pair = (row["target"], row_set(row))
        length_s[pair] = row["sub_s"]
        start, end = mjd_from_iso(row["start_utc"]), mjd_from_iso(row["end_utc"])
        if start >= now_utc_mjd:
            continue
        each = (end - start) / row["count"]
        late = now_utc_mjd - start - GRACE_S / DAY_S
        over = min(row["count"], max(0, int(late / each + 1e-9)))
        planned[pair] = planned.get(pair, 0) + over
        wanted[pair] = wanted.get(pair, 0.0) + over * row["sub_s"]
    got: dict[Pair, float] = {}
    foreign: dict[Pair, int] = {}
    for sub in subs:
        if not sub.accepted:
            continue
        pair = _pair(sub, length_s)
        if pair not in length_s:
            foreign[pair] = foreign.get(pair, 0) + 1
        else:
            length_s[pair] = length_s[pair] or sub.exposure_s
            got[pair] = got.get(pair, 0.0) + sub.exposure_s
    pairs = dict.fromkeys([*wanted, *got])
    gaps = [wanted.get(pair, 0.0) - got.get(pair, 0.0) for pair in pairs]
    return Standing(
        planned,
        # A sub of another length counts by its exposure.
        {pair: int(seconds / length_s[pair] + 1e-6) for pair, seconds in got.items()},
        sum(gap for gap in gaps if gap > 0.0) / 60.0,
        -sum(gap for gap in gaps if gap < 0.0) / 60.0,
        foreign,
    )


def _pair(sub: Sub, length_s: Mapping[Pair, float]) -> Pair:
    """The set that a sub belongs to: of two of one filter that whose length is nearer."""
    own, short = ((sub.target, set_name(sub.filter, one)) for one in (False, True))
    return short if is_short(sub.exposure_s, length_s.get(short), length_s.get(own)) else own
