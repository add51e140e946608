"""The framing chart: every train's field over real stars, and where the guider looks."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from nightplan.model.star_catalog import STAR_CREDIT, Floats
from nightplan.number_forms import number
from nightplan.report.charts.chart_legend import draw_legend, legend_rows, line_count
from nightplan.report.charts.chart_looks import (
    NEIGHBOUR_LOOKS,
    TARGET_LINE,
    frame_look,
    guide_hatch,
    neighbour_class,
    shades,
    star_area_pt2,
)
from nightplan.report.charts.chart_names import write_names
from nightplan.report.charts.chart_scene import Scene, chart_scene
from nightplan.report.charts.chart_signs import draw_compass_and_scale, draw_graticule
from nightplan.report.charts.drawing import Drawing
from nightplan.report.looks.style import new_figure, picture_format, save_figure, styled

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import ArrayLike

    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.star_catalog import StarCatalog
    from nightplan.model.target import Target
    from nightplan.planning.framing.framing import Framing
    from nightplan.planning.framing.guide_star import GuideOutlook

WIDE_IN = 9.0
NARROW_IN = 3.75


def save_framing_chart(
    path: str | os.PathLike[str],
    config: Config,
    target: Target,
    framing: Framing,
    all_framings: Sequence[Framing] = (),
    *,
    style: str = "day",
    narrow: bool = False,
    catalog: Catalog | None = None,
    stars: StarCatalog | None = None,
    guide: GuideOutlook | None = None,
) -> None:
    """Write the chart of a framing as PNG, SVG or PDF, by the file's ending.

    `all_framings` are those of other trains; the chosen one's is passed over. Neighbours come from
    `catalog`, if there is one; stars from `stars`, else the bundled ones and `guider.star_file`.
    `guide` is worked out here unless it is given. `narrow` is for a phone held upright.

    Raises FileError for another ending or a file that cannot be written or read, InputError for an
    unknown style or a bad value in the user's star file.
    """
    picture_format(path)
    scene = chart_scene(
        config, target, framing, all_framings, catalog=catalog, stars=stars, guide=guide,
        most_stars=260 if narrow else 450,
    )  # fmt: skip
    save_figure(path, framing_figure(scene, style=style, narrow=narrow), dpi=200 if narrow else 100)


def framing_figure(scene: Scene, *, style: str = "day", narrow: bool = False) -> Figure:
    """The whole chart with its title, legend and credit line. Raises `InputError` on `style`."""
    width = NARROW_IN if narrow else WIDE_IN
    columns = legend_rows(scene, narrow)
    left, right, top, bottom = (0.52, 0.08, 0.62, 0.32) if narrow else (0.72, 0.25, 0.72, 0.36)
    row_in, foot = 0.13 if narrow else 0.175, 0.27 if narrow else 0.24
    side = width - left - right
    key_in = row_in * (line_count(columns, narrow) + 0.2) + 0.06
    height = top + side + bottom + key_in + foot
    figure = new_figure((width, height), style)
    with styled(style) as colours:
        axes = figure.add_axes(
            (left / width, (foot + key_in + bottom) / height, side / width, side / height)
        )
        draw_framing_chart(axes, scene, style=style, narrow=narrow)
        _write_title(figure, scene, colours, narrow, left / width, height)
        key = figure.add_axes((left / width, foot / height, side / width, key_in / height))
        draw_legend(key, columns, colours, narrow, row_in / key_in)
        credit = STAR_CREDIT.replace(", brightest", ",\nbrightest") if narrow else STAR_CREDIT
        figure.text(
            left / width, 0.05 / height, credit, fontsize=5.5 if narrow else 6.5, va="bottom",
            color=colours["faint"], linespacing=1.1,
        )  # fmt: skip
    return figure


def draw_framing_chart(
    axes: Axes, scene: Scene, *, style: str = "day", narrow: bool = False
) -> None:
    """Draw a scene into Axes of a figure from `new_figure`, without title, legend and credit.

    North is up at the middle and east to the left. Raises `InputError` on `style`.
    """
    with styled(style) as colours:
        half = scene.plane.half_deg
        axes.set(xlim=(-half, half), ylim=(-half, half), aspect="equal")
        chart = Drawing(axes, scene, colours, narrow)
        draw_graticule(chart)
        _draw_stars(chart, scene.stars.ra_deg, scene.stars.dec_deg, scene.stars.g_mag, 1.5)
        _draw_neighbours(chart)
        _draw_target(chart)
        _draw_frames(chart)
        _draw_guide(chart)
        write_names(chart, draw_compass_and_scale(chart))


def _write_title(
    figure: Figure, scene: Scene, colours: Mapping[str, str], narrow: bool, x: float, height: float
) -> None:
    framing = scene.chosen.framing
    name = scene.target.label if not narrow or len(scene.target.label) < 34 else scene.target.name
    mirrored = "; the camera's picture is mirrored" if scene.chosen.optics.mirrored else ""
    panels = f", {len(framing.panels)} panels" if len(framing.panels) > 1 else ""
    told = (
        f"{framing.train}{panels}: camera {number(framing.position_angle_deg)}°, "
        f"image up {number(framing.image_up_angle_deg)}°"
    )
    sky = f"as the sky is: north up, east left{mirrored}"
    told = f"{told}\n{sky}" if narrow else f"{told}; {sky}"
    figure.text(
        x, 1.0 - (0.09 if narrow else 0.14) / height, name, va="top", weight="bold",
        fontsize=9.5 if narrow else 13.0, color=colours["ink"],
    )  # fmt: skip
    figure.text(
        x, 1.0 - (0.28 if narrow else 0.41) / height, told, va="top", linespacing=1.2,
        fontsize=6.5 if narrow else 9.0, color=colours["ink"],
    )  # fmt: skip


def _draw_stars(
    chart: Drawing, ra_deg: ArrayLike, dec_deg: ArrayLike, g_mag: ArrayLike, zorder: float
) -> None:
    xy = chart.scene.plane.xy(ra_deg, dec_deg)
    chart.axes.scatter(
        xy[..., 0], xy[..., 1], s=star_area_pt2(np.asarray(g_mag), chart.narrow),
        color=chart.colours["star"], edgecolors=chart.colours["panel"], linewidths=0.3,
        zorder=zorder,
    )  # fmt: skip


def _draw_neighbours(chart: Drawing) -> None:
    faint = chart.colours["faint"]
    for neighbour in chart.scene.neighbours:
        line, marker = NEIGHBOUR_LOOKS[neighbour_class(neighbour.kind)]
        for outline in neighbour.outlines:
            chart.outline(outline, color=faint, zorder=2, **line)
        if not neighbour.outlines:
            chart.axes.plot(
                *chart.scene.plane.xy(neighbour.ra_deg, neighbour.dec_deg), ls="none",
                marker=marker, ms=4.0, mew=0.8, mfc="none", mec=faint, zorder=2,
            )  # fmt: skip


def _draw_target(chart: Drawing) -> None:
    colour = chart.colours["target"]
    steps = shades(chart.scene.target.kind)
    for outline in chart.scene.outlines:
        points = chart.outline(outline, 2.0, color=colour, lw=1.3, ls=TARGET_LINE, zorder=3)
        middle = points.mean(axis=0)
        for scale in steps:
            inner = middle + scale * (points - middle)
            chart.fill(inner, facecolor=colour, alpha=0.08, lw=0, zorder=1)
            if scale < 1.0:
                chart.fill(inner, fill=False, edgecolor=colour, alpha=0.35, lw=0.5, zorder=1.1)


def _draw_frames(chart: Drawing) -> None:
    scene = chart.scene
    for ghost in scene.ghosts:
        chart.outline(
            ghost, 0.7, color=chart.colours["ghost"], lw=0.8, ls=(0, (2, 2)), zorder=4
        )  # fmt: skip
    for rank, frame in reversed(list(enumerate((scene.chosen, *scene.others)))):
        for corners in frame.corners:
            look = frame_look(rank, chart.colours)
            chart.outline(corners, 2.5, zorder=6 - min(rank, 2), **look)
    # A small arrow out of the upper side of the first panel: rising FITS axis 2.
    corners = chart.xy(scene.chosen.corners[0])
    base = corners[2:].mean(axis=0)
    out = base - corners[:2].mean(axis=0)
    out = out / np.hypot(*out) * 0.045 * scene.plane.half_deg
    chart.arrow(base - 0.6 * out, base + out, frame_look(0, chart.colours)["color"], 9, 1.4)


def _draw_guide(chart: Drawing) -> None:
    guide = chart.scene.guide
    if guide is None:
        return
    for past, side in enumerate((guide.before_meridian, guide.after_meridian)):
        line = (0, (3, 1.5)) if past else "-"
        hatch = guide_hatch(bool(past)) if side.state == "unlikely" else None
        patch = chart.outline(
            np.array(side.corners), 2.0, color=chart.colours["ink"], lw=1.1, ls=line, zorder=5.5
        )
        if hatch:
            chart.fill(patch, fill=False, edgecolor=chart.colours["ink"], lw=0.0, hatch=hatch)
        if len(chart.scene.chosen.corners) > 1:
            _lead_to_panel(chart, patch, side.panel, line)
        if side.stars:
            star = side.stars[0]
            # Drawn again: a crowded chart shows its brightest stars only.
            _draw_stars(chart, star.ra_deg, star.dec_deg, star.g_mag, 6.4)
            best = chart.scene.plane.xy(star.ra_deg, star.dec_deg)
            chart.axes.plot(
                *best, ls="none", marker="o", ms=6.0 if chart.narrow else 9.0, mfc="none",
                mew=1.2, mec=chart.colours["target"], zorder=6.5,
            )  # fmt: skip
            chart.mark(best[None, :], 8.0)


def _lead_to_panel(chart: Drawing, patch: Floats, panel: int, line: Any) -> None:
    """A line from a guider's patch to the nearest side of the panel that it belongs to."""
    start = patch.mean(axis=0)
    corners = chart.xy(chart.scene.chosen.corners[panel - 1])
    sides = 0.5 * (corners + np.roll(corners, -1, axis=0))
    end = sides[np.argmin(np.hypot(*(sides - start).T))]
    chart.axes.plot(
        *np.array([start, end]).T, color=chart.colours["ink"], lw=0.9, ls=line, marker="o",
        markevery=[1], ms=3.5, zorder=6.2,
    )  # fmt: skip
