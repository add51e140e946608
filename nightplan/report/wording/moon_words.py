"""The moon of a night in half a sentence."""

from __future__ import annotations

from nightplan.number_forms import percent
from nightplan.planning.tonight.night import Night
from nightplan.report.wording.local_time import NightClock

EDGE_DAY = 1.0 / 1440.0


def moon_words(night: Night) -> str:
    """``moon 45 % lit, up until 23:11``; lit at local midnight, up inside the window."""
    lit = f"moon {percent(night.moon_illuminated_fraction)} lit"
    window = night.window_utc_mjd
    if window is None:
        return lit
    inside = [
        (max(a, window[0]), min(b, window[1]))
        for a, b in night.moon_up_utc_mjd
        if min(b, window[1]) > max(a, window[0])
    ]
    if not inside:
        return f"{lit}, down all the dark time"
    clock = NightClock(night.zone, window)
    spans = []
    for start, end in inside:
        early, late = start <= window[0] + EDGE_DAY, end >= window[1] - EDGE_DAY
        if early and late:
            return f"{lit}, up all the dark time"
        if early:
            spans.append(f"until {clock.clock(end)}")
        elif late:
            spans.append(f"from {clock.clock(start)} on")
        else:
            spans.append(f"from {clock.clock(start)} to {clock.clock(end)}")
    return f"{lit}, up {' and '.join(spans)}"
