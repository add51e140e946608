"""The calendar heat map of a target's year: a row a month, a cell a night."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from nightplan.planning.season.season import Season
from nightplan.report.looks.contrast import ink_on
from nightplan.report.looks.palettes import palette
from nightplan.report.looks.style import new_figure, styled
from nightplan.report.wording.words import MONTHS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FULL, NEW = 0.97, 0.03
"""Illuminated fractions beyond which a night counts as full or new moon in the picture."""
_RAMPS = {
    "day": ("#FFFFFF", "#0072B2"),
    "dark": ("#161A23", "#56B4E9"),
    "red": ("#000000", "#380000"),  # dim throughout: the figures on it can still be read
    "print": ("#FFFFFF", "#4A4A4A"),
}


def season_figure(
    table: Season, label: str, *, row: int = 0, style: str = "day", narrow: bool = False
) -> Figure:
    """Heat map of one target's usable hours by night, with the moonless part as a bar.

    `row` is the target's in `table`. Raises InputError for an unknown style.
    """
    months = _months(table)
    wide, high = (5.0, 0.36 * len(months)) if narrow else (10.5, 0.42 * len(months))
    left, right, top, bottom = (0.8, 0.55, 0.6, 0.85) if narrow else (0.95, 0.75, 0.45, 0.9)
    tall = high + top + bottom
    figure = new_figure((wide, tall), style)
    box = (left / wide, bottom / tall, 1.0 - (left + right) / wide, high / tall)
    with styled(style):
        axes = figure.add_axes(box)
        draw_season(axes, table, row=row, style=style, narrow=narrow)
        joint = "\n" if narrow else ": "
        axes.set_title(f"{label}{joint}usable hours by night", loc="left")
        bar = figure.add_axes((1.0 - (right - 0.1) / wide, box[1], 0.12 / wide, box[3]))
        _colour_bar(figure, bar, table, row, style)
        figure.text(0.12 / wide, 0.14 / tall, _legend(narrow), fontsize=7.5)
    return figure


def draw_season(
    axes: Axes, table: Season, *, row: int = 0, style: str = "day", narrow: bool = False
) -> None:
    """Draw the heat map on given axes; colours and ticks are the style's."""
    from matplotlib.collections import PatchCollection
    from matplotlib.patches import Rectangle

    colours = palette(style)
    months = _months(table)
    usable, moonless = table.usable_hours[row], table.moonless_hours[row]
    most = _scale(usable)
    low, high = (_rgb(text) for text in _RAMPS[style])
    cells, fills, bars, bar_fills = [], [], [], []
    for i, day in enumerate(table.nights.evenings):
        x, y = day.day, months.index((day.year, day.month))
        share = usable[i] / most
        fill = low + (high - low) * share
        cells.append(Rectangle((x - 0.5, y - 0.5), 1.0, 1.0))
        fills.append(fill)
        if moonless[i] > 0.0:
            bars.append(Rectangle((x - 0.42, y + 0.34), 0.84 * moonless[i] / most, 0.1))
            plain = style in ("red", "print")
            bar_fills.append(_ink_on(fill, style) if plain else colours["sun"])
        _cell_text(axes, x, y, usable[i], fill, style, narrow)
        _moon_mark(axes, x, y, table.nights.moon_illuminated_fraction[i], fill, colours, style)
    axes.add_collection(
        PatchCollection(cells, facecolor=fills, edgecolor=colours["grid"], linewidth=0.4)
    )
    axes.add_collection(PatchCollection(bars, facecolor=bar_fills, edgecolor="none", zorder=3))
    axes.set_xlim(0.5, 31.5)
    axes.set_ylim(len(months) - 0.5, -0.5)
    axes.set_xticks(range(1, 32, 5 if narrow else 2))
    axes.set_yticks(range(len(months)))
    axes.set_yticklabels([f"{MONTHS[month - 1]} {year}" for year, month in months])
    axes.set_xlabel("day of the month (evening)")
    axes.tick_params(length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)


def _cell_text(
    axes: Axes, x: float, y: float, hours: float, fill: Any, style: str, narrow: bool
) -> None:
    if narrow or hours < 0.05:
        return
    axes.text(
        x, y + 0.04, f"{hours:.0f}" if hours >= 9.95 else f"{hours:.1f}",
        ha="center", va="center", fontsize=5.5, color=_ink_on(fill, style),
    )  # fmt: skip


def _moon_mark(
    axes: Axes, x: float, y: float, lit: float, fill: Any, colours: Any, style: str
) -> None:
    if NEW <= lit <= FULL:
        return
    ink = _ink_on(fill, style)
    axes.plot(
        [x - 0.33], [y - 0.31],
        marker="o", markersize=3.2, markeredgewidth=0.6, markeredgecolor=ink,
        markerfacecolor=ink if lit < NEW else "none", linestyle="none",
    )  # fmt: skip


def _colour_bar(figure: Figure, bar: Axes, table: Season, row: int, style: str) -> None:
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import LinearSegmentedColormap, Normalize

    ramp = LinearSegmentedColormap.from_list("hours", list(_RAMPS[style]))
    scale = Normalize(0.0, _scale(table.usable_hours[row]))
    figure.colorbar(ScalarMappable(scale, ramp), cax=bar)
    bar.set_title("h", fontsize=8.0)


def _legend(narrow: bool) -> str:
    words = "bar: moonless part   filled dot: new moon   ring: full moon"
    return words if narrow else "number: usable hours   " + words


def _months(table: Season) -> list[tuple[int, int]]:
    days: tuple[datetime.date, ...] = table.nights.evenings
    return sorted({(day.year, day.month) for day in days})


def _scale(hours: Any) -> float:
    return float(max(1.0, np.ceil(np.max(hours, initial=0.0))))


def _rgb(text: str) -> Any:
    return np.array([int(text[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])


def _ink_on(fill: Any, style: str) -> str:
    """A colour that can be read on a cell."""
    if style == "red":
        return "#FF0000"
    return ink_on("#" + "".join(f"{round(255.0 * float(part)):02X}" for part in fill))
