"""The last moment for a sub: dawn, the hour of tear-down, or an empty battery."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from nightplan.sky.times import mjd_from_datetime

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.planning.tonight.night import Night


Limit = Literal["window", "tear_down", "battery"]


@dataclass(frozen=True)
class LatestEnd:
    """When work has to stop, what asks for it, and the sentence that says why."""

    utc_mjd: float
    limit: Limit
    reason: str


def clock_utc_mjd(night: Night, clock: str) -> float:
    """The first time after the evening's noon at which local clocks read `clock` (HH:MM)."""
    hours, minutes = (int(part) for part in clock.split(":"))
    day = night.evening if hours >= 12 else night.evening + datetime.timedelta(days=1)
    moment = datetime.datetime.combine(day, datetime.time(hours, minutes), tzinfo=night.zone)
    return mjd_from_datetime(moment)


def latest_end(config: Config, night: Night, power_on_utc_mjd: float) -> LatestEnd | None:
    """The earliest of window's end, tear-down and battery; None for a night without a window.

    Parameters
    ----------
    power_on_utc_mjd : float
        When the rig starts to draw from the battery: the start of cooling.
    """
    if night.window_end_utc_mjd is None:
        return None
    ends = [LatestEnd(night.window_end_utc_mjd, "window", "the window ends")]
    clock = config.preferences.tear_down
    if clock is not None:
        moment = clock_utc_mjd(night, clock)
        ends.append(LatestEnd(moment, "tear_down", f"tear-down is set for {clock}"))
    power = config.power
    if power is not None:
        usable_wh = power.battery_wh * (1.0 - power.reserve_share)
        hours = usable_wh / power.whole_draw_w
        ends.append(
            LatestEnd(
                power_on_utc_mjd + hours / 24.0,
                "battery",
                f"the battery's {usable_wh:.0f} Wh above its reserve last {hours:.1f} h "
                f"at {power.whole_draw_w:g} W",
            )
        )
    return min(ends, key=lambda end: end.utc_mjd)
