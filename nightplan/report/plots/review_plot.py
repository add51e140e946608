"""Planned against shot as a picture: a block of the plan above, each sub as it was shot below."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from nightplan.planning.schedule.review import BlockReview
from nightplan.report.looks.hatching import hatch_colour
from nightplan.report.looks.palettes import filter_look
from nightplan.report.looks.style import new_figure, styled
from nightplan.report.plots.time_axis import draw_clocks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LANE_IN = 0.55
BESIDE_DAYS = 0.25 / 24.0


def review_figure(
    rows: Sequence[BlockReview],
    zone: ZoneInfo,
    roles: Mapping[str, str],
    *,
    style: str = "day",
    narrow: bool = False,
) -> Figure:
    """A figure with `draw_review` on it, as high as it has lanes; `narrow` for a phone."""
    lanes = max(1, len(_lanes(rows)))
    figure = new_figure((4.0 if narrow else 9.0, 1.5 + LANE_IN * lanes + 0.2 * narrow), style)
    with styled(style):
        axes = figure.subplots()
        draw_review(axes, rows, zone, roles, style=style, narrow=narrow)
        figure.tight_layout()
    return figure


def draw_review(
    axes: Axes,
    rows: Sequence[BlockReview],
    zone: ZoneInfo,
    roles: Mapping[str, str],
    *,
    style: str = "day",
    narrow: bool = False,
) -> None:
    """Draw a lane for each target and filter, in UTC MJD along x; sets the axes' limits.

    The upper half of a lane holds the blocks planned, in the filter's hatch and colour, with their
    counts (narrow: beside the lane's name); the lower half each sub, full where it counts and
    crossed out where it was rejected. `roles` are those of the filters by name.
    """
    lanes = _lanes(rows)
    with styled(style) as colours:
        axes.set_ylim(len(lanes) - 0.5, -0.5)
        axes.set_yticks(
            range(len(lanes)), labels=[_lane_name(rows, lane, narrow) for lane in lanes]
        )
        axes.grid(axis="y", visible=False)
        axes.set_axisbelow(True)
        times: list[float] = []
        for row in rows:
            lane = lanes.index((row.target, row.filter))
            look = filter_look(roles.get(row.filter, "luminance"), style)
            if row.planned is not None:
                times += [row.start_utc_mjd, row.end_utc_mjd]
                with hatch_colour(look.on_colour):
                    axes.barh(
                        lane - 0.2, row.end_utc_mjd - row.start_utc_mjd, 0.36, row.start_utc_mjd,
                        color=look.colour, hatch=look.hatch, edgecolor=colours["ink"],
                    )  # fmt: skip
                if not narrow:
                    axes.annotate(
                        f"{row.accepted} of {row.planned}",
                        (0.5 * (row.start_utc_mjd + row.end_utc_mjd), lane - 0.2),
                        ha="center", va="center", fontsize=7.5, color=colours["ink"],
                        bbox={"facecolor": colours["panel"], "edgecolor": "none", "pad": 0.8},
                    )  # fmt: skip
            for sub in row.subs:
                length = sub.exposure_s / 86400.0
                times += [sub.start_utc_mjd, sub.start_utc_mjd + length]
                axes.barh(
                    lane + 0.22, length, 0.3, sub.start_utc_mjd, edgecolor=colours["ink"],
                    color=look.colour if sub.accepted else colours["panel"], linewidth=0.6,
                    hatch="" if sub.accepted else "xxx",
                )  # fmt: skip
        low, high = (min(times), max(times)) if times else (0.0, 1.0)
        low, high = low - BESIDE_DAYS, high + BESIDE_DAYS
        axes.set_xlim(low, high)
        for lane in np.arange(len(lanes) - 1) + 0.5:
            axes.axhline(lane, color=colours["grid"], linewidth=0.6, zorder=0)
        draw_clocks(axes, axes, low, high, zone, style=style, every_h=3 if narrow else 1)
        key = ("Upper: planned, with counts.", "Lower: subs as shot; crossed: rejected.")
        title = ("\n" if narrow else " ").join(key)
        axes.set_title(title, fontsize=8 if narrow else 9, loc="left")


def _lane_name(rows: Sequence[BlockReview], lane: tuple[str, str], narrow: bool) -> str:
    target, name = lane
    if not narrow:
        return f"{target} {name}"
    own = [row for row in rows if (row.target, row.filter) == lane and row.planned is not None]
    counts = f" {sum(row.accepted for row in own)} of {sum(row.planned or 0 for row in own)}"
    broken = target.replace(" + ", " +\n")
    return f"{broken}\n{name}{counts if own else ''}"


def _lanes(rows: Sequence[BlockReview]) -> list[tuple[str, str]]:
    return list(dict.fromkeys((row.target, row.filter) for row in rows))
