"""Why a campaign holds nothing, or does not finish a target: the limit that binds, by its name.

`no_darkness`: no night has a window; `setup_takes_the_window`, `tear_down_comes_first`,
`battery_ends_first`: windows there are, but set-up, tear-down or battery leave nothing of them,
or nothing of the target's time in them; `never_up`: the target never clears its limits in any
window; `no_usable_time`: it does, but never away from the moon and in the dark that its filters
ask for; `not_within_the_nights`: it only takes longer; `all_goals_are_reached`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from nightplan.arrays import Floats
from nightplan.planning.ahead.rows import Rows
from nightplan.planning.tonight.limits import geometry_margin_deg
from nightplan.planning.tonight.night_end import Limit
from nightplan.planning.tonight.visibility import sky_tracks

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.ahead.nights_ahead import NightsAhead


SAMPLE_MIN = 10.0
_REASON_OF: dict[Limit, str] = {
    "window": "setup_takes_the_window",
    "tear_down": "tear_down_comes_first",
    "battery": "battery_ends_first",
}


def no_room_reason(asked: NightsAhead) -> str:
    """Why no night has a working span: what takes most of the nights that have a window."""
    return _most([_REASON_OF[limit] for limit in asked.end_limit if limit is not None])


def unfinished_reasons(
    config: Config,
    asked: NightsAhead,
    targets: Sequence[Target],
    rows: Rows,
    rate: Floats,
    up_h: Floats,
) -> list[str]:
    """For each target why its goals are not reached, should they not be.

    Parameters
    ----------
    rate : ndarray, shape (night, slot, row)
    up_h : ndarray, shape (night, target)
        Hours of the working spans inside the limits of altitude and skyline.
    """
    if not asked.slots.any():
        return [no_room_reason(asked)] * len(targets)
    out = [int(index) for index in np.flatnonzero(~up_h.any(axis=0))]
    beyond = _beyond_the_span(config, asked, [targets[index] for index in out])
    found = []
    for index in range(len(targets)):
        if index in out:
            found.append(beyond[out.index(index)])
        else:
            some = rate[:, :, rows.target == index].any()
            found.append("not_within_the_nights" if some else "no_usable_time")
    return found


def empty_reason(rows: Rows, reasons: Sequence[str]) -> str:
    """Why no night holds anything, from the reasons of the targets."""
    return "all_goals_are_reached" if rows.done(rows.gathered_h).all() else _most(reasons)


def _beyond_the_span(config: Config, asked: NightsAhead, targets: Sequence[Target]) -> list[str]:
    """Reasons of targets that are never up in a working span: what cuts their time off it."""
    if not targets:
        return []
    ra = [target.ra_deg for target in targets]
    dec = [target.dec_deg for target in targets]
    cut: list[list[str]] = [[] for _ in targets]
    spans = zip(asked.nights, asked.end_limit, asked.start_utc_mjd, asked.end_utc_mjd, strict=True)
    for night, limit, start, end in spans:
        if night is None or night.window_utc_mjd is None or limit is None:
            continue
        low, high = night.window_utc_mjd
        utc_mjd = np.linspace(low, high, 1 + max(1, round((high - low) * 1440.0 / SAMPLE_MIN)))
        up = geometry_margin_deg(config, sky_tracks(night, ra, dec, utc_mjd)) >= 0.0
        late = (up & ~(utc_mjd <= end)).any(axis=1)  # all of it where there is no span
        early = (up & (utc_mjd < start)).any(axis=1)
        for index in np.flatnonzero(late | early):
            cut[index].append(_REASON_OF[limit if late[index] else "window"])
    return [_most(one) if one else "never_up" for one in cut]


def _most(reasons: Sequence[str]) -> str:
    """The commonest, the first of several; without any there was no window."""
    return Counter(reasons).most_common(1)[0][0] if reasons else "no_darkness"
