"""Efficiency against time: what an hour of each filter counts for through the night."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from nightplan.number_forms import percent
from nightplan.report.looks.contrast import legible
from nightplan.report.looks.palettes import filter_look
from nightplan.report.looks.style import new_figure, styled
from nightplan.report.plots.time_axis import draw_clocks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from nightplan.planning.choosing.exposure import Exposure
    from nightplan.planning.photons.photon_budget import PhotonBudget

LABEL_GAP = 0.035


def worth_figure(exposure: Exposure, *, style: str = "day", narrow: bool = False) -> Figure:
    """Efficiency of every filter through the window, altitudes of target and moon below.

    `narrow` lays it out for a phone. Raises InputError (`style` is unknown).
    """
    budget = exposure.through_the_night()
    figure = new_figure((3.75, 5.0) if narrow else (9.0, 5.6), style)
    left, wide, top = (0.14, 0.70, 0.80) if narrow else (0.075, 0.83, 0.85)
    with styled(style) as colours:
        axes = figure.add_axes((left, 0.36, wide, top - 0.36))
        lower = figure.add_axes((left, 0.105, wide, 0.235))
        draw_worth(axes, exposure, budget, style=style)
        if narrow:
            axes.set_ylabel("")  # the words above say it, and the page ends here
        _altitudes(lower, exposure, budget, colours)
        start, end = float(budget.utc_mjd[0]), float(budget.utc_mjd[-1])
        every = 3 if narrow else 1
        draw_clocks(lower, axes, start, end, exposure.night.zone, style=style, every_h=every)
        evening = exposure.night.evening
        title = (
            f"{exposure.target.name} with the {exposure.train}, {exposure.night.site.name}, "
            f"night of {evening:%a} {evening.day} {evening:%b %Y}"
        )
        words = "What an hour counts for, against one at the zenith with no moon, by filter."
        letters = 48 if narrow else 200
        figure.text(
            0.03 if narrow else left, 0.985 if narrow else 0.965, textwrap.fill(title, letters),
            fontsize=8.0 if narrow else 10.0, weight="bold", va="top",
        )  # fmt: skip
        figure.text(
            0.03 if narrow else left, 0.925, textwrap.fill(words, letters),
            fontsize=7.0 if narrow else 8.0, va="top", color=colours["faint"],
        )  # fmt: skip
    return figure


def draw_worth(axes: Axes, exposure: Exposure, budget: PhotonBudget, *, style: str = "day") -> None:
    """Draw the curves into axes of one's own, over UTC MJD; each is named at its right end."""
    with styled(style) as colours:
        times = budget.utc_mjd
        worth = budget.worth[0]
        ends: list[tuple[float, str, str]] = []
        marks = np.linspace(0, times.size - 1, 9).astype(int)[1:-1]
        for index, name in enumerate(budget.filter_names):
            look = filter_look(exposure.config.channel[name].role, style)
            places = np.unique(np.clip(marks + index * times.size // 70, 0, times.size - 1))
            axes.plot(
                times, worth[index], color=look.line_colour, linestyle=look.line, linewidth=1.6,
                marker=look.marker, markersize=4.5, markevery=places.tolist(),
                markerfacecolor=colours["panel"], zorder=3.0,
            )  # fmt: skip
            ends.append((float(worth[index, -1]), name, look.line_colour))
        top = max(1.05, float(worth.max()) * 1.05)
        axes.set_ylim(0.0, top)
        axes.set_ylabel("efficiency")
        shares = np.arange(0.0, top, 0.2)
        axes.set_yticks(shares, labels=[percent(share) for share in shares])
        axes.axhline(1.0, color=colours["faint"], linewidth=0.8, linestyle=(0, (6, 3)), zorder=1.5)
        axes.grid(axis="y", color=colours["grid"], linewidth=0.5)
        axes.set_axisbelow(True)
        for height, (_, name, colour) in zip(_spread(ends, top), sorted(ends), strict=True):
            look = filter_look(exposure.config.channel[name].role, style)
            axes.plot(
                [1.012], [height / top], transform=axes.transAxes, marker=look.marker,
                markersize=4.5, color=colour, markerfacecolor=colours["paper"], clip_on=False,
            )  # fmt: skip
            axes.annotate(
                name, (1.0, height / top), (15.0, 0.0), xycoords="axes fraction",
                textcoords="offset points", va="center", fontsize=8.5, weight="bold",
                color=legible(colour, colours["paper"]),
            )  # fmt: skip


def _spread(ends: list[tuple[float, str, str]], top: float) -> list[float]:
    """Heights for the names, in the curves' order, none nearer than a line of text."""
    gap = 2.0 * LABEL_GAP * top
    heights: list[float] = []
    for value, *_ in sorted(ends):
        heights.append(value if not heights else max(value, heights[-1] + gap))
    over = max(0.0, heights[-1] - (top - 0.5 * gap)) if heights else 0.0
    for i in range(len(heights) - 1, -1, -1):
        ceiling = heights[i] - over if i == len(heights) - 1 else heights[i + 1] - gap
        heights[i] = min(heights[i], ceiling)
    return heights


def _altitudes(axes: Axes, exposure: Exposure, budget: PhotonBudget, colours: Any) -> None:
    from matplotlib.patheffects import withStroke

    times, geometry = budget.utc_mjd, budget.geometry
    moon = np.maximum(geometry.moon_altitude_deg, 0.0)
    axes.fill_between(
        times, 0.0, moon, facecolor=colours["moon"], alpha=0.35, edgecolor="none", zorder=1.0
    )
    axes.plot(
        times, geometry.moon_altitude_deg, color=colours["ink"], linewidth=1.0,
        linestyle=(0, (5, 2, 1, 2)), zorder=2.0,
    )  # fmt: skip
    axes.plot(times, geometry.altitude_deg[0], color=colours["target"], linewidth=1.8, zorder=3.0)
    minimum = exposure.config.preferences.minimum_altitude_deg
    axes.axhline(minimum, color=colours["faint"], linewidth=0.8, linestyle=(0, (6, 3)))
    axes.set_ylim(0.0, 90.0)
    axes.set_yticks([0, 30, 60, 90], labels=["0°", "30°", "60°", "90°"])
    axes.set_ylabel("altitude")
    axes.grid(axis="y", color=colours["grid"], linewidth=0.5)
    for altitude, name, colour in (
        (geometry.altitude_deg[0], exposure.target.name, colours["target"]),
        (geometry.moon_altitude_deg, "moon", colours["ink"]),
    ):
        best = int(np.argmax(altitude))
        if altitude[best] <= 3.0:
            continue
        below = name == "moon" or altitude[best] > 75.0
        best = int(np.clip(best, times.size * 0.05, times.size * 0.95))
        axes.annotate(
            name, (times[best], altitude[best]), (0.0, -5.0 if below else 4.0),
            textcoords="offset points", ha="center", va="top" if below else "bottom",
            fontsize=8.0, color=legible(colour, colours["panel"]), weight="bold", zorder=4.0,
            path_effects=[withStroke(linewidth=2.5, foreground=colours["panel"])],
        )  # fmt: skip
