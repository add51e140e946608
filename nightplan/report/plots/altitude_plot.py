"""Altitude of targets and moon through one night, with what is planned below it."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.number_forms import number
from nightplan.report.looks.palettes import OTHER_TARGET, TARGET_INKS
from nightplan.report.looks.style import new_figure, styled
from nightplan.report.plots.curve_names import (
    LEVELS_DEG,
    MARKERS,
    band_edges,
    name_bands,
    name_curves,
)
from nightplan.report.plots.filter_lanes import draw_lanes, lane_count
from nightplan.report.plots.night_picture import NightPicture, PictureTarget, runs
from nightplan.report.plots.time_axis import draw_clocks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


WIDE_IN = (9.0, 6.2)
NARROW_IN = (3.75, 5.6)
LANES_IN = 1.9
KEY_LINE_IN = 0.122
KEY_LETTERS_PER_IN = 17.0


def night_figure(
    picture: NightPicture,
    *,
    style: str = "day",
    narrow: bool = False,
    lanes: bool = True,
    titled: bool = True,
    size_in: tuple[float, float] | None = None,
) -> Figure:
    """The whole picture of a night: altitudes above, filter lanes below, both clocks.

    `narrow` lays it out for a phone held upright (3.75 inches wide); without `lanes` they and their
    height are left out, without `titled` the title. `size_in` is (width, height) in inches.
    """
    bright = bool(np.min(picture.sun_altitude_deg) > LEVELS_DEG[-2])
    if picture.window_start_utc_mjd is None and bright and not picture.blocks and size_in is None:
        return _sentence(picture, style, narrow)
    rows = lane_count(picture) if picture.blocks and lanes else 0
    head = 0.0 if titled else 0.22
    if size_in is None:
        width, height = NARROW_IN if narrow else WIDE_IN
        height -= head if lanes else head + LANES_IN
    else:
        width, height = size_in
    figure = new_figure((width, height), style)
    with styled(style) as colours:
        lane_in = 0.23 * rows
        left, right = (0.44, 0.10) if narrow else (0.62, 0.18)
        top, bottom, between = (0.98 if narrow else 0.86) - head, 0.46, 0.10 if rows else 0.0
        ticks = lanes and not narrow
        lines = len(_key(picture, width, ticks, ["moon, over 99 % lit"]).split("\n"))
        top += KEY_LINE_IN * max(0, lines - (3 if narrow else 2))
        inner = height - top - bottom - between - lane_in

        def box(low: float, tall: float) -> tuple[float, float, float, float]:
            return left / width, low / height, (width - left - right) / width, tall / height

        axes = figure.add_axes(box(bottom + lane_in + between, inner))
        lanes_axes = figure.add_axes(box(bottom, lane_in)) if rows else None
        unnamed = draw_altitude(axes, lanes_axes, picture, style=style, narrow=narrow)
        title = f"{picture.site}, night of {picture.evening:%a} {picture.evening.day} "
        title += f"{picture.evening:%b %Y}"
        if titled:
            figure.text(
                left / width, 1.0 - 0.11 / height, title, fontsize=10.0, weight="bold", va="top",
                color=colours["ink"],
            )  # fmt: skip
        figure.text(
            left / width, 1.0 - (0.31 - head) / height, _key(picture, width, ticks, unnamed),
            fontsize=7.0, va="top", color=colours["faint"], linespacing=1.25,
        )  # fmt: skip
    return figure


def _sentence(picture: NightPicture, style: str, narrow: bool) -> Figure:
    """A night without a window, said rather than drawn as an empty frame."""
    width = NARROW_IN[0] if narrow else WIDE_IN[0]
    figure = new_figure((width, 1.3), style)
    day = f"{picture.evening:%a} {picture.evening.day} {picture.evening:%b %Y}"
    words = f"No dark hours at {picture.site} in the night of {day}: the sun stays too high."
    lines = textwrap.wrap(words, round(8.5 * width))
    with styled(style) as colours:
        figure.text(
            0.5, 0.5, "\n".join(lines), ha="center", va="center", fontsize=11.0,
            color=colours["ink"], linespacing=1.4,
        )  # fmt: skip
    return figure


def draw_altitude(
    axes: Axes,
    lanes_axes: Axes | None,
    picture: NightPicture,
    *,
    style: str = "day",
    narrow: bool = False,
) -> list[str]:
    """Draw a night into axes of one's own, altitude in degrees over UTC MJD; lanes where wanted.

    A target's line is heavy while it is imaged, plain while it could be, and a thin dotted line
    where it is too low or behind the skyline; there the skyline at its azimuth is filled in.
    Returns labels that found no room: a moon that is up for moments only.
    """
    with styled(style) as colours:
        start, end = float(picture.utc_mjd[0]), float(picture.utc_mjd[-1])
        axes.set_ylim(0.0, 90.0)
        axes.set_yticks(range(0, 91, 15), labels=[f"{a}°" for a in range(0, 91, 15)])
        axes.set_ylabel("" if narrow else "altitude")
        axes.grid(axis="y", color=colours["grid"], linewidth=0.5)
        axes.set_axisbelow(True)
        every = 2 if narrow or end - start > 0.75 else 1
        draw_clocks(lanes_axes or axes, axes, start, end, picture.zone, style=style, every_h=every)
        _twilight(axes, picture, colours)
        if lanes_axes is not None:
            _twilight(lanes_axes, picture, colours)
            draw_lanes(lanes_axes, picture, style=style, narrow=narrow)
            lanes_axes.tick_params(axis="y", labelsize=7.0 if narrow else 8.0)
        _window(axes, picture, colours)
        for event in picture.events:
            if event.kind == "flip":
                axes.axvline(
                    0.5 * (event.start_utc_mjd + event.end_utc_mjd),
                    color=colours["warning"], linewidth=1.2, linestyle=(0, (3, 1.5)), zorder=1.5,
                )  # fmt: skip
        if picture.minimum_altitude_deg > 0.0:
            axes.axhline(
                picture.minimum_altitude_deg, color=colours["faint"], linewidth=0.8,
                linestyle=(0, (6, 3)), zorder=1.6,
            )  # fmt: skip
        _moon(axes, picture, colours)
        inks = target_inks(picture, style)
        for i, target in enumerate(picture.targets):
            _target(axes, picture, target, i, inks[target.name], colours)
        written = name_bands(axes, picture, colours, narrow)
        return name_curves(axes, picture, inks, colours, written)


def target_inks(picture: NightPicture, style: str = "day") -> dict[str, str]:
    """The colour of each target's line: one of its own where it is planned, else grey.

    Where nothing is planned every target counts as planned.
    """
    planned = dict.fromkeys(block.target for block in picture.blocks)
    names = list(planned) or [target.name for target in picture.targets]
    own = TARGET_INKS[style]
    inks = {name: own[place % len(own)] for place, name in enumerate(names)}
    return {target.name: inks.get(target.name, OTHER_TARGET[style]) for target in picture.targets}


def _twilight(axes: Axes, picture: NightPicture, colours: Mapping[str, str]) -> None:
    shades = ("panel", "civil", "nautical", "astronomical", "night")
    for a, b, index in band_edges(picture):
        # Half strength: the sky is a backdrop, and the lines on it must be told apart.
        axes.axvspan(
            a, b, facecolor=colours[shades[index]], edgecolor="none", alpha=0.55, zorder=0.1
        )


def _window(axes: Axes, picture: NightPicture, colours: Mapping[str, str]) -> None:
    for edge in (picture.window_start_utc_mjd, picture.window_end_utc_mjd):
        if edge is not None:
            axes.axvline(edge, color=colours["ink"], linewidth=1.0, zorder=1.8)


def _moon(axes: Axes, picture: NightPicture, colours: Mapping[str, str]) -> None:
    altitude = picture.moon_altitude_deg
    if not np.any(altitude > 0.0):
        return
    axes.fill_between(
        picture.utc_mjd, 0.0, np.maximum(altitude, 0.0), facecolor=colours["moon"],
        alpha=0.10 + 0.30 * picture.moon_illuminated_fraction, edgecolor="none", zorder=1.2,
    )  # fmt: skip
    axes.plot(
        picture.utc_mjd, altitude, color=colours["ink"], linewidth=1.0,
        linestyle=(0, (5, 2, 1, 2)), zorder=2.5,
    )  # fmt: skip


def _target(
    axes: Axes,
    picture: NightPicture,
    target: PictureTarget,
    index: int,
    colour: str,
    colours: Mapping[str, str],
) -> None:
    times, altitude = picture.utc_mjd, target.altitude_deg
    usable = picture.usable(target)
    axes.plot(times, altitude, color=colour, linewidth=0.8, linestyle=(0, (1, 2.2)), zorder=2.2)
    hidden = (altitude < target.skyline_deg) & (altitude >= 0.0)
    axes.fill_between(
        times, np.maximum(altitude, 0.0), np.maximum(target.skyline_deg, 0.0), where=hidden,
        facecolor=colours["obstacle"], edgecolor=colours["faint"], hatch="////",
        linewidth=0.3, alpha=0.5, zorder=1.4,
    )  # fmt: skip
    for a, b in runs(usable):
        axes.plot(times[a : b + 1], altitude[a : b + 1], color=colour, linewidth=1.1, zorder=3.0)
    for block in picture.blocks_of(target.name):
        inside = np.linspace(block.start_utc_mjd, block.end_utc_mjd, 40)
        axes.plot(
            inside, np.interp(inside, times, altitude), color=colour, linewidth=3.4,
            solid_capstyle="butt", zorder=3.2,
        )  # fmt: skip
    marked = np.flatnonzero(usable & _hourly(times))
    axes.plot(
        times[marked], altitude[marked], linestyle="none", marker=MARKERS[index % len(MARKERS)],
        markersize=5.5, markerfacecolor=colours["panel"], markeredgecolor=colour,
        markeredgewidth=1.1, zorder=3.4,
    )  # fmt: skip


def _hourly(times: NDArray[np.float64]) -> NDArray[np.bool_]:
    """The grid time nearest to each whole hour of UTC."""
    hours = np.arange(np.ceil(times[0] * 24.0), np.floor(times[-1] * 24.0) + 1.0) / 24.0
    mask = np.zeros(times.shape, dtype=bool)
    if hours.size:
        mask[np.abs(times[:, None] - hours[None, :]).argmin(axis=0)] = True
    return mask


def _key(picture: NightPicture, width_in: float, ticks: bool, unnamed: list[str]) -> str:
    """What the strokes mean, in words, so that no box of samples hides the curves."""
    parts = []
    if picture.blocks:
        parts.append("Heavy line: planned.")
    parts.append("Plain: within limits. Dotted: too low or behind the skyline (hatched).")
    if picture.minimum_altitude_deg > 0.0:
        parts.append(f"Dashed: least altitude {number(picture.minimum_altitude_deg)}°.")
    if picture.blocks and ticks:
        parts.append("Ticks in the lanes: focus.")
    if any(event.kind == "flip" for event in picture.events):
        parts.append("Upright dashes: meridian flip.")
    parts += [f"Dash and dot: {label}." for label in unnamed]
    return "\n".join(textwrap.wrap(" ".join(parts), round(KEY_LETTERS_PER_IN * width_in)))
