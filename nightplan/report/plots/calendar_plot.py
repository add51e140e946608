"""A campaign as a calendar: which night serves which target, under which moon, and when it ends."""

from __future__ import annotations

import datetime as dt
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from nightplan.number_forms import number, percent
from nightplan.report.looks.hatching import hatch_colour
from nightplan.report.looks.palettes import area_colour
from nightplan.report.looks.style import new_figure, styled
from nightplan.report.plots.calendar_picture import CalendarNight, CalendarPicture
from nightplan.report.wording.words import counted

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
HATCHES = ("", "//", "..", "\\\\", "xx", "||", "--", "++", "oo", "OO", "**", "//..")
FILLS = ("first", "target", "second", "third", "sun", "ghost")
WIDE_IN = 8.0
NARROW_IN = 3.75
ROW_IN = 0.62
LINE_IN = 0.17
BAR_HIGH = 0.17
CELL_LINES = 3
CELL_LETTERS = {False: 17, True: 9}
"""Letters that a cell is wide, on a page and, narrow, on a phone."""


def calendar_figure(
    picture: CalendarPicture, *, style: str = "day", narrow: bool = False
) -> Figure:
    """The calendar with its key below, in one of `nightplan.report.looks.palettes.STYLES`."""
    _, weeks = _grid(picture)
    key = _key_lines(picture, narrow)
    width = NARROW_IN if narrow else WIDE_IN
    left, right, top, foot = 0.34 if narrow else 0.55, 0.08, 0.62, 0.12
    row_in = ROW_IN * (0.95 if narrow else 1.0)
    key_in = LINE_IN * len(key) + 0.12
    height = top + weeks * row_in + key_in + foot
    figure = new_figure((width, height), style)
    with styled(style) as colours:
        box = (
            left / width,
            (foot + key_in) / height,
            (width - left - right) / width,
            weeks * row_in / height,
        )
        axes = figure.add_axes(box)
        draw_calendar(axes, picture, style=style, narrow=narrow)
        dates = list(picture.by_date)
        first, last = dates[0], dates[-1]
        figure.text(
            left / width, 1.0 - 0.12 / height,
            f"Campaign, {_day(first)} to {_day(last)} {last.year}",
            fontsize=10.0, weight="bold", va="top", color=colours["ink"],
        )  # fmt: skip
        for i, (target, line) in enumerate(key):
            y = (foot + key_in - 0.16 - LINE_IN * i) / height
            if target is not None:
                _swatch(figure, picture, target, left / width, y, width, height, colours)
            figure.text(
                (left + 0.3) / width, y, line, fontsize=7.0, va="center", color=colours["ink"]
            )
    return figure


def draw_calendar(
    axes: Axes, picture: CalendarPicture, *, style: str = "day", narrow: bool = False
) -> None:
    """Draw weeks as rows and days as columns into axes of one's own.

    A cell has the day, the moon's lit part, the targets, and a bar of the hours in each target's
    hatch; a heavy frame marks the night on which a target is expected to be done.
    """
    from matplotlib.patches import Rectangle

    first, weeks = _grid(picture)
    by_date = picture.by_date
    longest = max(sum(night.hours for night in nights) for nights in by_date.values()) or 1.0
    ends: dict[dt.date | None, list[str]] = {}
    for end in picture.finished:
        ends.setdefault(end.expected_date, []).append(end.target)
    with styled(style) as colours:
        axes.set_xlim(0.0, 7.0)
        axes.set_ylim(float(weeks), 0.0)
        axes.set_xticks([i + 0.5 for i in range(7)], labels=list(DAYS))
        axes.xaxis.tick_top()
        axes.tick_params(axis="both", length=0, pad=2, labelsize=8.0)
        axes.set_yticks([])
        for side in axes.spines.values():
            side.set_visible(False)
        _write_months(axes, by_date, first, colours)
        for date, nights in by_date.items():
            week, day = divmod((date - first).days, 7)
            axes.add_patch(
                Rectangle((day, week), 1.0, 1.0, facecolor=colours["panel"],
                          edgecolor=colours["grid"], linewidth=0.8)
            )  # fmt: skip
            axes.text(
                day + 0.06, week + 0.07, str(date.day), fontsize=7.0, va="top",
                color=colours["ink"],
            )  # fmt: skip
            _moon(axes, picture, nights[0], day, week, colours, narrow)
            _served(axes, picture, nights, day, week, longest, colours)
            _write_cell(axes, nights, ends.get(date, []), day, week, colours, narrow)


def _write_months(
    axes: Axes, dates: Iterable[dt.date], first: dt.date, colours: Mapping[str, str]
) -> None:
    """Left of each week in which a month begins, and of the first, its months."""
    months: dict[str, int] = {}
    for date in dates:
        months.setdefault(f"{date:%b %Y}", (date - first).days // 7)
    for week in set(months.values()):
        names = [month[:3] for month, its in months.items() if its == week]
        axes.annotate(
            "\n".join(names), (0.0, week + 0.5), (-3.0, 0.0), textcoords="offset points",
            ha="right", va="center", fontsize=8.0, weight="bold", color=colours["ink"],
            annotation_clip=False,
        )  # fmt: skip


def _served(
    axes: Axes,
    picture: CalendarPicture,
    nights: Sequence[CalendarNight],
    day: int,
    week: int,
    longest: float,
    colours: Mapping[str, str],
) -> None:
    """The hours of a night's targets, most first, as bars end to end."""
    from matplotlib.patches import Rectangle

    start = day + 0.06
    for night in _by_hours(nights):
        mark, looks = _looks(picture, str(night.target), colours)
        wide = 0.88 * night.hours / longest
        with hatch_colour(mark):
            for look in looks:
                axes.add_patch(Rectangle((start, week + 0.76), wide, BAR_HIGH, **look))
        start += wide


def _write_cell(
    axes: Axes,
    nights: Sequence[CalendarNight],
    done: Sequence[str],
    day: int,
    week: int,
    colours: Mapping[str, str],
    narrow: bool,
) -> None:
    """Names above the bars; those expected done say so, and the night has a heavy frame."""
    from matplotlib.patches import Rectangle

    if done:
        axes.add_patch(
            Rectangle((day + 0.03, week + 0.03), 0.94, 0.94, fill=False,
                      edgecolor=colours["warning"], linewidth=2.0, zorder=5)
        )  # fmt: skip
    served = _by_hours(nights)
    room = CELL_LETTERS[narrow]
    others = [name for name in done if name not in [night.target for night in served]]
    lines = []
    for night in served:
        name, ends = str(night.target), night.target in done
        told = "done" if ends else f"{night.hours:.1f} h"
        if narrow:
            lines.append((_short(name, room), ends))
        elif len(served) == 1 and not others:
            lines += [(_short(name, room), ends), (told, ends)]
        else:
            lines.append((_beside(name, told, room), ends))
    lines += [(_short(name, room) if narrow else _beside(name, "done", room), True)
              for name in others]  # fmt: skip
    if len(lines) > CELL_LINES:
        lines = [*lines[: CELL_LINES - 1], (f"+ {len(lines) - CELL_LINES + 1}", False)]
    size = (5.2 if narrow else 7.0) - 0.6 * (len(lines) == CELL_LINES)
    pitch = 0.0025 * size * (9.6 if narrow else 9.0)
    for place, (words, heavy) in enumerate(reversed(lines)):
        axes.text(
            day + 0.06, week + 0.73 - pitch * place, words, fontsize=size, va="bottom",
            color=colours["ink"], weight="bold" if heavy else "normal",
        )  # fmt: skip


def _by_hours(nights: Sequence[CalendarNight]) -> list[CalendarNight]:
    return sorted((one for one in nights if one.target), key=lambda one: -one.hours)


def _beside(name: str, told: str, room: int) -> str:
    return f"{_short(name, room - len(told) - 1)} {told}"


def _short(name: str, room: int) -> str:
    """A name for a cell; of a field of several the first: ``M 52 +1``."""
    first, *others = name.split(" + ")
    if len(name) > room and others:
        name = f"{first} +{len(others)}"
    return name if len(name) <= room else name[: room - 1].rstrip() + "…"


def _moon(
    axes: Axes,
    picture: CalendarPicture,
    night: CalendarNight,
    day: int,
    week: int,
    colours: Mapping[str, str],
    narrow: bool,
) -> None:
    lit = night.moon_illuminated_fraction
    if lit is None:
        return
    radius_x = 0.10 if narrow else 0.055
    extent = axes.get_window_extent()
    radius_y = radius_x * extent.width / 7.0 / (extent.height / abs(np.diff(axes.get_ylim())[0]))
    disc = disc_outline(1.0, True) * (radius_x, radius_y)
    part = disc_outline(lit, _waxes(picture, night)) * (radius_x, radius_y)
    at = np.array([day + 0.97 - radius_x * 1.2, week + 0.06 + radius_y])
    shades = sorted((colours["paper"], colours["ink"]), key=_brightness)
    axes.fill(*(disc + at).T, facecolor=shades[0], edgecolor=colours["ink"], linewidth=0.7)
    axes.fill(*(part + at).T, facecolor=shades[1], edgecolor="none")


def disc_outline(lit: float, waxes: bool, points: int = 40) -> NDArray[np.float64]:
    """Outline (point, 2) of the lit part of a unit disc, as seen from the northern hemisphere.

    The terminator is half an ellipse whose half axis is 1 - 2 `lit`; so the area is `lit` of the
    disc's. Waxing is lit on the right.
    """
    angle = np.linspace(-0.5 * np.pi, 0.5 * np.pi, points)
    limb = np.column_stack((np.cos(angle), np.sin(angle)))
    terminator = np.column_stack(((1.0 - 2.0 * lit) * np.cos(angle), np.sin(angle)))[::-1]
    outline = np.concatenate((limb, terminator))
    return outline if waxes else outline * (-1.0, 1.0)


def _brightness(colour: str) -> int:
    return sum(int(colour[i : i + 2], 16) for i in (1, 3, 5))


def _waxes(picture: CalendarPicture, night: CalendarNight) -> bool:
    """Whether the moon is lit more on the next night with a figure (or was less on the last)."""
    known = {
        date: nights[0].moon_illuminated_fraction
        for date, nights in picture.by_date.items()
        if nights[0].moon_illuminated_fraction is not None
    }
    dates = list(known)
    place = dates.index(night.date)
    before, after = dates[max(place - 1, 0)], dates[min(place + 1, len(dates) - 1)]
    return (known[after] or 0.0) >= (known[before] or 0.0)


def _grid(picture: CalendarPicture) -> tuple[dt.date, int]:
    """Monday of the first week, and the number of weeks."""
    dates = list(picture.by_date)
    first = dates[0] - dt.timedelta(days=dates[0].weekday())
    return first, (dates[-1] - first).days // 7 + 1


def _looks(
    picture: CalendarPicture, target: str, colours: Mapping[str, str]
) -> tuple[str, tuple[dict[str, Any], dict[str, Any]]]:
    """A target's hatch colour, and how its bars are filled, then outlined."""
    index = picture.targets.index(target)
    fill = area_colour(colours, FILLS[index % len(FILLS)])
    hatch = HATCHES[index % len(HATCHES)]
    mark = max(
        (colours["ink"], colours["panel"]), key=lambda c: abs(_brightness(c) - _brightness(fill))
    )
    filled = {"facecolor": fill, "edgecolor": mark, "hatch": hatch, "linewidth": 0.0}
    return mark, (filled, {"fill": False, "edgecolor": colours["ink"], "linewidth": 0.6})


def _key_lines(picture: CalendarPicture, narrow: bool) -> list[tuple[str | None, str]]:
    lines: list[tuple[str | None, str]] = []
    ends = {end.target: end for end in picture.finished}
    for target in picture.targets:
        served = [night for night in picture.nights if night.target == target]
        trains = sorted({night.train for night in served if night.train})
        hours = number(sum(night.hours for night in served))
        words = f"{target}: {counted(len(served), 'night')}, {hours} h"
        if trains:
            words += f" ({', '.join(trains)})"
        end = ends.get(target)
        if end is not None and end.expected_date is not None:
            words += f"; done about {_day(end.expected_date)}, chance {percent(end.chance)}"
        elif end is not None:
            words += f"; not done in these nights, chance {percent(end.chance)}"
        wrapped = textwrap.wrap(words, 54 if narrow else 140)
        lines += [(target if i == 0 else None, line) for i, line in enumerate(wrapped)]
    closing = "Bar: hours. Disc: the moon's lit part. Heavy frame, bold name: expected done."
    lines += [(None, line) for line in textwrap.wrap(closing, 54 if narrow else 140)]
    return lines


def _swatch(
    figure: Figure,
    picture: CalendarPicture,
    target: str,
    x: float,
    y: float,
    width: float,
    height: float,
    colours: Mapping[str, str],
) -> None:
    from matplotlib.patches import Rectangle

    mark, looks = _looks(picture, target, colours)
    corner = (x, y - 0.05 / height)
    with hatch_colour(mark):
        for look in looks:
            figure.add_artist(Rectangle(corner, 0.22 / width, 0.10 / height, **look))


def _day(date: dt.date) -> str:
    return f"{date.day} {date:%b}"
