"""The two clocks of a night's picture: local time below, UTC above, right when clocks change."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from nightplan.report.looks.palettes import palette
from nightplan.report.wording.local_time import MJD_EPOCH, moment, offset_text, utc_mjd

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HOUR_D = 1.0 / 24.0


def whole_hours(
    start_utc_mjd: float, end_utc_mjd: float, zone: ZoneInfo, every_h: int = 1
) -> list[tuple[float, dt.datetime]]:
    """Whole hours of the local clock as (UTC MJD, local time), each real moment once.

    Through a change of the clocks the ticks stay whole hours of what a clock on the wall shows:
    an hour that comes twice is there twice, one that is left out is not there.
    """
    ticks: list[tuple[float, dt.datetime]] = []
    quarter = dt.timedelta(minutes=15)
    first = math.floor(start_utc_mjd * 96.0) / 96.0
    when = MJD_EPOCH + dt.timedelta(minutes=round(first * 1440.0))
    last = moment(end_utc_mjd)
    while when <= last:
        here = when.astimezone(zone)
        mjd = utc_mjd(when)
        if here.minute == 0 and here.hour % every_h == 0 and mjd >= start_utc_mjd - 1e-9:
            ticks.append((mjd, here))
        when += quarter
    return ticks


def clock_changes(
    start_utc_mjd: float, end_utc_mjd: float, zone: ZoneInfo
) -> list[tuple[float, str, str]]:
    """Changes of the offset as (UTC MJD, offset before, offset after), to the minute."""
    found: list[tuple[float, str, str]] = []
    step = dt.timedelta(minutes=15)
    when, last = moment(start_utc_mjd), moment(end_utc_mjd)
    while when < last:
        until = min(when + step, last)
        before, after = offset_text(when.astimezone(zone)), offset_text(until.astimezone(zone))
        if before != after:
            low, high = when, until
            while high - low > dt.timedelta(seconds=1):
                middle = low + (high - low) / 2
                if offset_text(middle.astimezone(zone)) == before:
                    low = middle
                else:
                    high = middle
            minute = (high + dt.timedelta(seconds=30)).replace(second=0, microsecond=0)
            found.append((utc_mjd(minute), before, after))
        when = until
    return found


def axis_title(start_utc_mjd: float, end_utc_mjd: float, zone: ZoneInfo) -> str:
    """Title of the local axis with the offset, or both offsets in their order."""
    offsets = dict.fromkeys(
        offset_text(moment(mjd).astimezone(zone)) for mjd in (start_utc_mjd, end_utc_mjd)
    )
    return "local time, UTC" + " then UTC".join(offsets)


def draw_clocks(
    local_axes: Axes,
    utc_axes: Axes,
    start_utc_mjd: float,
    end_utc_mjd: float,
    zone: ZoneInfo,
    *,
    style: str = "day",
    every_h: int = 1,
) -> None:
    """Put local hours below `local_axes` and UTC hours above `utc_axes` (both in UTC MJD)."""
    colours = palette(style)
    faint = colours["faint"]
    ticks = whole_hours(start_utc_mjd, end_utc_mjd, zone, every_h)
    for axes in dict.fromkeys((local_axes, utc_axes)):
        axes.set_xlim(start_utc_mjd, end_utc_mjd)
        axes.set_xticks([mjd for mjd, _ in ticks], labels=[])
        axes.grid(axis="x", color=colours["grid"], linewidth=0.5)
    local_axes.set_xticks([mjd for mjd, _ in ticks], labels=[f"{when:%H}" for _, when in ticks])
    local_axes.set_xlabel(axis_title(start_utc_mjd, end_utc_mjd, zone), labelpad=2, fontsize=8.5)
    upper = utc_axes.secondary_xaxis("top")
    utc_ticks = whole_hours(start_utc_mjd, end_utc_mjd, ZoneInfo("UTC"), every_h)
    upper.set_xticks([mjd for mjd, _ in utc_ticks], labels=[f"{when:%H}" for _, when in utc_ticks])
    upper.tick_params(colors=faint, length=3, pad=1.5)
    upper.set_xlabel("UTC", labelpad=2, color=faint, fontsize=8.0)
    for axes in dict.fromkeys((local_axes, utc_axes)):
        for mjd, _, _ in clock_changes(start_utc_mjd, end_utc_mjd, zone):
            axes.axvline(mjd, color=colours["warning"], linewidth=1.0, linestyle=(0, (1, 2)))
            if axes is utc_axes:
                axes.annotate(
                    "clocks change", (mjd, 0.0), (-2.0, 3.0), xycoords=axes.get_xaxis_transform(),
                    textcoords="offset points", rotation=90, ha="right", va="bottom", fontsize=6.5,
                    color=colours["ink"],
                )  # fmt: skip
