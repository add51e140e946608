"""The names on a chart: of trains, panels, the guider's patches, the target and its neighbours."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from nightplan.model.star_catalog import Floats
from nightplan.planning.framing.guide_star import GuideSide
from nightplan.report.charts.chart_labels import Box, Wish, around, place
from nightplan.report.charts.chart_looks import FRAME_COLOURS
from nightplan.report.charts.drawing import Drawing
from nightplan.report.looks.contrast import legible

Centres = Callable[[float, float], Floats]
"""Where a label of some width and height could have its centre, best first; pixels."""


def write_names(chart: Drawing, taken: list[Box]) -> None:
    """Write all names where they cover least; `taken` are boxes in pixels to keep clear of."""
    writer = _Writer(chart)
    writer.add_panels()
    writer.add_trains()
    writer.add_guider()
    writer.add_target()
    writer.add_neighbours()
    writer.settle(taken)


class _Writer:
    """Collects names in the order of their importance, then finds places for all at once."""

    def __init__(self, chart: Drawing) -> None:
        figure = chart.axes.figure
        self.chart = chart
        self.renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined, union-attr]
        self.scale = figure.dpi / 72.0
        self.big, self.small = (7.0, 6.0) if chart.narrow else (9.0, 7.5)
        self.names: list[tuple[Any, Wish]] = []

    def pixels(self, places: Floats) -> Floats:
        """Places (n, 2) on the sky, in pixels."""
        return self.chart.axes.transData.transform(self.chart.xy(places))

    def add(
        self, text: str, centres: Centres, size: float, colour: str, must: bool, **more: Any
    ) -> None:
        colours = self.chart.colours
        artist = self.chart.axes.text(
            0, 0, text, fontsize=size, color=legible(colours[colour], colours["panel"]),
            ha="center", va="center", zorder=9, path_effects=self.chart.halo(2.2), **more,
        )  # fmt: skip
        box = artist.get_window_extent(self.renderer)
        wide, tall = box.width + 3.0 * self.scale, box.height + 1.5 * self.scale
        self.names.append((artist, Wish(wide, tall, centres(wide, tall), must)))

    def add_panels(self) -> None:
        panels = self.chart.scene.chosen.framing.panels
        for number, panel in enumerate(panels, start=1):
            if len(panels) > 1:
                (middle,) = self.pixels(np.array([[panel.ra_deg, panel.dec_deg]]))
                self.add(
                    str(number), partial(_near, middle), self.big + 3, "first",
                    True, weight="bold",
                )  # fmt: skip

    def add_trains(self) -> None:
        scene = self.chart.scene
        for rank, frame in enumerate((scene.chosen, *scene.others)):
            corners = self.pixels(frame.corners[0])
            self.add(
                frame.framing.train, partial(_along_sides, corners), self.big,
                FRAME_COLOURS[min(rank, 3)], True, weight="bold",
            )  # fmt: skip

    def add_guider(self) -> None:
        guide = self.chart.scene.guide
        if guide is None:
            return
        for when, side in (("before", guide.before_meridian), ("after", guide.after_meridian)):
            corners = self.pixels(np.array(side.corners))
            middle, reach = corners.mean(axis=0), np.ptp(corners, axis=0).max() / 2.0
            self.add(
                self._guider_words(when, side),
                partial(around, middle[0], middle[1], gap=3.0 * self.scale, reach=reach),
                self.small, "ink", True,
            )  # fmt: skip

    def _guider_words(self, when: str, side: GuideSide) -> str:
        panel = f"panel {side.panel}" if len(self.chart.scene.chosen.framing.panels) > 1 else ""
        if self.chart.narrow:
            return "\n".join(filter(None, ("guider", when, panel))).replace("r\n", "r ", 1)
        star = f"G {side.stars[0].g_mag:.1f}" if side.stars else ""
        return ", ".join(filter(None, (f"guider {when} meridian", panel, star)))

    def add_target(self) -> None:
        scene = self.chart.scene
        outline = np.concatenate([self.pixels(each) for each in scene.outlines])
        self.add(
            scene.target.name, partial(_within_or_beside, outline, scale=self.scale),
            self.big, "target", True, weight="bold",
        )  # fmt: skip

    def add_neighbours(self) -> None:
        for one in self.chart.scene.neighbours[: 6 if self.chart.narrow else 14]:
            if one.outlines:
                edge = np.concatenate([self.pixels(each) for each in one.outlines])
                centres: Centres = partial(_within_or_beside, edge, scale=self.scale)
            else:
                (at,) = self.pixels(np.array([[one.ra_deg, one.dec_deg]]))
                centres = partial(
                    around, at[0], at[1], gap=2.0 * self.scale, reach=3.0 * self.scale
                )
            self.add(one.name, centres, self.small, "faint", False)

    def settle(self, taken: list[Box]) -> None:
        """Move every name to its place; those that find none go."""
        chart, stars = self.chart, self.chart.scene.stars
        bright = np.where(stars.g_mag < 7.5, 1.0, 0.15)
        chart.marks.append(
            np.column_stack((chart.xy(np.column_stack((stars.ra_deg, stars.dec_deg))), bright))
        )
        points = chart.all_marks
        points[:, :2] = chart.axes.transData.transform(points[:, :2])
        frame = chart.axes.get_window_extent(self.renderer)
        wishes = [wish for _, wish in self.names]
        found = place(wishes, (frame.x0, frame.y0, frame.x1, frame.y1), points, taken)
        to_data = chart.axes.transData.inverted().transform
        for (artist, _), centre in zip(self.names, found, strict=True):
            if centre is None:
                artist.remove()
            else:
                artist.set_position(to_data(centre))


def _near(middle: Floats, width: float, height: float) -> Floats:
    shifts = np.array([(0, 0), (0, 1.2), (0, -1.2), (1.5, 0), (-1.5, 0), (2, 2), (-2, -2)])
    return middle + shifts * np.array([width, height])


def _within_or_beside(outline: Floats, width: float, height: float, scale: float) -> Floats:
    """Inside an outline that is large enough, first near its middle, or just outside it."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    middle = (low + high) / 2.0
    spread = outline[:: max(1, len(outline) // 24)] - middle
    ways = spread / np.maximum(np.hypot(*spread.T), 1e-9)[:, None]
    room = np.abs(ways) @ np.array([width, height]) / 2.0 + 2.0 * scale
    beside = middle + spread + ways * room[:, None]
    if np.any(high - low < 1.4 * np.array([width, height])):
        return beside
    inside = [middle + share * spread for share in (0.3, 0.5, 0.7)]
    return np.concatenate((_near(middle, width, height), *inside, beside))


def _along_sides(corners: Floats, width: float, height: float) -> Floats:
    """Places just inside and outside a rectangle, along its sides."""
    after = np.roll(corners, -1, axis=0)
    middle = corners.mean(axis=0)
    places = []
    for start, end in zip(corners, after, strict=True):
        for share in (0.5, 0.3, 0.7, 0.15, 0.85):
            at = start + share * (end - start)
            away = at - middle
            normal = np.array([end[1] - start[1], start[0] - end[0]])
            normal = normal / max(float(np.hypot(*normal)), 1e-9)
            normal *= np.sign(normal @ away) or 1.0
            room = abs(normal[0]) * width / 2.0 + abs(normal[1]) * height / 2.0 + 2.0
            places += [at - normal * room, at + normal * room]
    return np.array(places)
