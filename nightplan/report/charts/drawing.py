"""A chart while it is drawn: its Axes and colours, and what labels must not cover."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from nightplan.model.star_catalog import Floats
from nightplan.report.charts.chart_scene import Scene, side_points

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class Drawing:
    """One scene on its Axes.

    Attributes
    ----------
    axes, scene, colours, narrow
        As of `nightplan.report.charts.framing_chart.draw_framing_chart`.
    marks : list of ndarray, shape (n, 3)
        Points that a label should not cover: x, y in the chart's plane, and how bad it is.
    """

    axes: Axes
    scene: Scene
    colours: Mapping[str, str]
    narrow: bool
    marks: list[Floats] = field(default_factory=list)

    def xy(self, places: Floats) -> Floats:
        """Places (n, 2) on the sky in the chart's plane."""
        return self.scene.plane.xy(places[:, 0], places[:, 1])

    def outline(self, places: Floats, weight: float = 0.0, **look: Any) -> Floats:
        """Draw a closed line through places on the sky; returns its points on the chart."""
        points = self.xy(places)
        self.axes.plot(*np.concatenate((points, points[:1])).T, solid_joinstyle="miter", **look)
        if weight:
            sides = places if len(places) > 8 else side_points(places)
            self.mark(self.xy(sides[:: max(1, len(sides) // 120)]), weight)
        return points

    def fill(self, points: Floats, **look: Any) -> None:
        """Fill a polygon of the chart's plane."""
        from matplotlib.patches import Polygon

        self.axes.add_patch(Polygon(points, closed=True, **look))

    def mark(self, points: Floats, weight: float) -> None:
        """Keep labels off some points of the chart's plane."""
        self.marks.append(np.column_stack((points, np.full(len(points), weight))))

    def arrow(self, start: Floats, end: Floats, colour: str, size: float, width: float) -> None:
        """An arrow on the chart's plane."""
        self.axes.annotate(
            "", tuple(end), tuple(start), zorder=8,
            arrowprops={
                "arrowstyle": "-|>", "color": colour, "lw": width, "shrinkA": 0, "shrinkB": 0,
                "mutation_scale": size,
            },
        )  # fmt: skip

    def halo(self, width: float) -> list[Any]:
        """Path effects that set a label off from what it lies on."""
        from matplotlib.patheffects import withStroke

        return [withStroke(linewidth=width, foreground=self.colours["panel"])]

    @property
    def all_marks(self) -> Floats:
        """All marked points, (n, 3)."""
        return np.concatenate(self.marks) if self.marks else np.empty((0, 3))
