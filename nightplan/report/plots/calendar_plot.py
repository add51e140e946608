"""A campaign as a calendar: which night serves which target, under which moon, and when it ends."""

from __future__ import annotations

import datetime as dt
import os
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from nightplan.errors import InputError
from nightplan.number_forms import number, percent
from nightplan.report.looks.hatching import hatch_colour
from nightplan.report.looks.style import area_colour, new_figure, save_figure, styled
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


@dataclass(frozen=True)
class CalendarNight:
    """What a night serves (None: nothing), for how long, and how much of the moon is lit.

    A night that serves several targets has one of these for each.
    """

    date: dt.date
    target: str | None
    train: str | None
    hours: float
    moon_illuminated_fraction: float | None = None


@dataclass(frozen=True)
class CalendarEnd:
    """When a target is expected to reach its goal (None: not in these nights), and how likely."""

    target: str
    expected_date: dt.date | None
    chance: float


@dataclass(frozen=True)
class CalendarPicture:
    """What the calendar shows.

    Raises
    ------
    nightplan.errors.InputError
        There is no night.
    """

    nights: tuple[CalendarNight, ...]
    finished: tuple[CalendarEnd, ...] = ()

    def __post_init__(self) -> None:
        if not self.nights:
            raise InputError("calendar", "nights", 0, "one night or more")

    @property
    def targets(self) -> tuple[str, ...]:
        """Targets in the order of their first night, then those that only end."""
        served = [night.target for night in self.nights if night.target is not None]
        return tuple(dict.fromkeys([*served, *(end.target for end in self.finished)]))

    @property
    def by_date(self) -> dict[dt.date, tuple[CalendarNight, ...]]:
        """The nights of each date, in order of the dates."""
        found: dict[dt.date, tuple[CalendarNight, ...]] = {}
        for night in sorted(self.nights, key=lambda one: one.date):
            found[night.date] = (*found.get(night.date, ()), night)
        return found


def calendar_picture(
    document: Mapping[str, Any], moon: Mapping[str, float] | None = None
) -> CalendarPicture:
    """The picture of a campaign document (as printed by ``campaign --json``).

    `moon` gives the illuminated fraction by evening date where the rows do not carry it. Evenings
    that the document names beside its nights are shown too.
    """
    lit = moon or {}
    served = {row["date"] for row in document["nights"]}
    idle = [
        CalendarNight(
            dt.date.fromisoformat(row["date"]), None, None, 0.0, row["moon_illuminated_fraction"]
        )
        for row in document.get("evenings", ())
        if row["date"] not in served
    ]
    return CalendarPicture(
        nights=(
            *idle,
            *(
                CalendarNight(
                    date=dt.date.fromisoformat(row["date"]),
                    target=row.get("target"),
                    train=row.get("train"),
                    hours=float(row.get("hours") or 0.0),
                    moon_illuminated_fraction=row.get(
                        "moon_illuminated_fraction", lit.get(row["date"])
                    ),
                )
                for row in document["nights"]
            ),
        ),
        finished=tuple(
            CalendarEnd(
                target=row["target"],
                expected_date=None
                if row.get("expected_date") is None
                else dt.date.fromisoformat(row["expected_date"]),
                chance=float(row["chance"]),
            )
            for row in document.get("finished", ())
        ),
    )


def calendar_figure(
    picture: CalendarPicture, *, style: str = "day", narrow: bool = False
) -> Figure:
    """The calendar with its key below. `style` is one of `nightplan.report.looks.style.STYLES`."""
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


def save_calendar_plot(
    path: str | os.PathLike[str],
    picture: CalendarPicture,
    style: str = "day",
    *,
    narrow: bool = False,
    dpi: float = 150.0,
) -> None:
    """Save `calendar_figure` to a .png, .svg or .pdf file, whole or not at all.

    Raises
    ------
    nightplan.errors.FileError
        The name ends otherwise, or the file cannot be written.
    """
    save_figure(path, calendar_figure(picture, style=style, narrow=narrow), dpi=dpi)


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
        for date, nights in by_date.items():
            week, day = divmod((date - first).days, 7)
            axes.add_patch(
                Rectangle((day, week), 1.0, 1.0, facecolor=colours["panel"],
                          edgecolor=colours["grid"], linewidth=0.8)
            )  # fmt: skip
            if date.day == 1 or date == next(iter(by_date)):
                axes.annotate(
                    f"{date:%b}", (0.0, week + 0.5), (-3.0, 0.0),
                    textcoords="offset points", ha="right", va="center", fontsize=8.0,
                    weight="bold", color=colours["ink"], annotation_clip=False,
                )  # fmt: skip
            axes.text(
                day + 0.06, week + 0.07, str(date.day), fontsize=7.0, va="top",
                color=colours["ink"],
            )  # fmt: skip
            _moon(axes, picture, nights[0], day, week, colours, narrow)
            served = sorted((one for one in nights if one.target), key=lambda one: -one.hours)
            if len(served) == 1:
                share = served[0].hours / longest
                _served(axes, picture, served[0], day, week, share, colours, narrow)
            elif served:
                _served_several(axes, picture, served, day, week, longest, colours, narrow)
            if date in ends:
                _done(axes, ends[date], len(served), day, week, colours, narrow)


def _served(
    axes: Axes,
    picture: CalendarPicture,
    night: CalendarNight,
    day: int,
    week: int,
    share: float,
    colours: Mapping[str, str],
    narrow: bool,
) -> None:
    from matplotlib.patches import Rectangle

    assert night.target is not None
    mark, looks = _looks(picture, night.target, colours)
    with hatch_colour(mark):
        for look in looks:
            axes.add_patch(Rectangle((day + 0.06, week + 0.74), 0.88 * share, 0.18, **look))
    splits = narrow and len(night.target) > 6
    name = night.target.replace(" ", "\n", 1) if splits else night.target
    label = name if narrow else f"{name}\n{night.hours:.1f} h"
    axes.text(
        day + 0.06, week + 0.50, label, fontsize=5.5 if narrow else 7.0, va="center",
        color=colours["ink"], linespacing=1.1,
    )  # fmt: skip


def _served_several(
    axes: Axes,
    picture: CalendarPicture,
    served: Sequence[CalendarNight],
    day: int,
    week: int,
    longest: float,
    colours: Mapping[str, str],
    narrow: bool,
) -> None:
    """Several targets in one night: a line for each, and their bars end to end."""
    from matplotlib.patches import Rectangle

    start = day + 0.06
    for night in served:
        assert night.target is not None
        mark, looks = _looks(picture, night.target, colours)
        wide = 0.88 * night.hours / longest
        with hatch_colour(mark):
            for look in looks:
                axes.add_patch(Rectangle((start, week + 0.74), wide, 0.18, **look))
        start += wide
    told = list(served) if len(served) <= 3 else list(served[:2])
    lines = [str(night.target) if narrow else f"{night.target} {night.hours:.1f} h"
             for night in told]  # fmt: skip
    if len(told) < len(served):
        lines.append(f"+ {len(served) - len(told)}")
    size = (5.5 if narrow else 7.0) - 0.5 * (len(lines) > 2)
    axes.text(
        day + 0.06, week + 0.70, "\n".join(lines), fontsize=size, va="bottom",
        color=colours["ink"], linespacing=1.05,
    )  # fmt: skip


def _done(
    axes: Axes,
    targets: Sequence[str],
    served: int,
    day: int,
    week: int,
    colours: Mapping[str, str],
    narrow: bool,
) -> None:
    """The heavy frame of a night on which targets are expected done, with their names."""
    from matplotlib.patches import Rectangle

    axes.add_patch(
        Rectangle((day + 0.03, week + 0.03), 0.94, 0.94, fill=False,
                  edgecolor=colours["warning"], linewidth=2.0, zorder=5)
    )  # fmt: skip
    if narrow:
        return
    if served <= 1 and len(targets) == 1:
        axes.text(
            day + 0.94, week + 0.68, f"{targets[0]}\ndone", fontsize=6.0, ha="right", va="bottom",
            color=colours["ink"], weight="bold", linespacing=1.1,
        )  # fmt: skip
        return
    words = f"{targets[0]} done" if len(targets) == 1 else f"{len(targets)} done"
    axes.text(
        day + 0.53, week + 0.08, words, fontsize=6.0, ha="center", va="top", color=colours["ink"],
        weight="bold",
    )  # fmt: skip


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
    closing = "Bar: hours. Disc: the moon's lit part. Heavy frame: a target is expected done."
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
