"""The framing chart: every train's field over real stars, and where the guider looks."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from nightplan.model.star_catalog import STAR_CREDIT, Floats
from nightplan.report.charts.chart_labels import Wish, around, place
from nightplan.report.charts.chart_legend import draw_legend, legend_rows, line_count
from nightplan.report.charts.chart_looks import (
    FRAME_COLOURS,
    TARGET_LINE,
    frame_look,
    guide_hatch,
    neighbour_look,
    star_area_pt2,
)
from nightplan.report.charts.chart_scene import Frame, Scene, chart_scene, side_points
from nightplan.report.charts.graticule import GridLine, graticule
from nightplan.report.looks.contrast import legible
from nightplan.report.looks.style import new_figure, picture_format, save_figure, styled

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.star_catalog import StarCatalog
    from nightplan.model.target import Target
    from nightplan.planning.framing.framing import Framing
    from nightplan.planning.framing.guide_star import GuideOutlook

SHADES = (1.0, 0.75, 0.5)
"""Sizes of the target's fills, against its outline."""
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

    Parameters
    ----------
    path : path
        Ends in .png, .svg or .pdf.
    config, target, framing
        The rig, what is framed (of a group: the target that stands for it), and how.
    all_framings : sequence of Framing
        Other trains' framings of the same target; that of the chosen train is passed over.
    style : str
        One of `nightplan.report.looks.style.STYLES`.
    narrow : bool
        Lay it out for a phone held upright (3.75 inches wide) rather than a page.
    catalog : Catalog, optional
        Where neighbours to be named come from; without it, none are.
    stars : StarCatalog, optional
        Stars to draw; else the bundled ones and the file `guider.star_file`.
    guide : GuideOutlook, optional
        As of `guide_outlook`; else it is worked out here.

    Raises
    ------
    nightplan.errors.FileError
        The ending is another one, or a file cannot be written or read.
    nightplan.errors.InputError
        The style is unknown, or the user's star file holds a bad value.
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
        _draw_graticule(axes, scene, colours, narrow)
        _draw_stars(axes, scene, colours, narrow)
        marks: list[Floats] = []
        _draw_neighbours(axes, scene, colours, marks)
        _draw_target(axes, scene, colours, marks)
        _draw_frames(axes, scene, colours, narrow, marks)
        _draw_guide(axes, scene, colours, narrow, marks)
        _write_names(axes, scene, colours, narrow, marks)


def _write_title(
    figure: Figure, scene: Scene, colours: Mapping[str, str], narrow: bool, x: float, height: float
) -> None:
    framing = scene.chosen.framing
    name = scene.target.label if not narrow or len(scene.target.label) < 34 else scene.target.name
    mirrored = "; the camera's picture is mirrored" if scene.chosen.optics.mirrored else ""
    panels = f", {len(framing.panels)} panels" if len(framing.panels) > 1 else ""
    told = (
        f"{framing.train}{panels}: position angle {framing.position_angle_deg:.1f}°, "
        f"image up {framing.image_up_angle_deg:.1f}°"
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


def _draw_graticule(axes: Axes, scene: Scene, colours: Mapping[str, str], narrow: bool) -> None:
    ra_lines, dec_lines = graticule(scene.plane, 3 if narrow else 5)
    for line in (*ra_lines, *dec_lines):
        axes.plot(*line.points.T, color=colours["grid"], lw=0.6, zorder=0.5)
    size = 6.0 if narrow else 8.0
    half = scene.plane.half_deg
    _ticks(axes, ra_lines, ("bottom", "top"), half, size, 0.21 if narrow else 0.12)
    _ticks(axes, dec_lines, ("left", "right"), half, size, 0.06)
    axes.tick_params(length=3.0, pad=2.0, labelsize=size)


def _ticks(
    axes: Axes, lines: Sequence[GridLine], edges: tuple[str, str], half: float, size: float,
    least: float,
) -> None:  # fmt: skip
    """Label lines on the first edge; those that do not reach it on the second."""
    upright = edges[0] == "left"
    axis = axes.yaxis if upright else axes.xaxis
    used: list[float] = []
    for line in lines:
        if edges[0] not in line.exits:
            continue
        at = line.exits[edges[0]]
        if not upright and abs(at) > half * (1.0 - least / 2.5):
            continue
        if all(abs(at - other) >= least * 2.0 * half for other in used):
            used.append(at)
    labels = {line.exits[edges[0]]: line.label for line in lines if edges[0] in line.exits}
    axis.set_ticks(sorted(used), [labels[at] for at in sorted(used)])
    if upright:
        for text in axes.get_yticklabels():
            text.set(rotation=90, va="center", rotation_mode="default")
    placed: list[float] = []
    for line in lines:
        if edges[1] not in line.exits or edges[0] in line.exits:
            continue
        at = line.exits[edges[1]]
        if abs(at) > half * (1.0 - least / 2.0):
            continue
        if any(abs(at - other) < least * 2.0 * half for other in placed):
            continue
        placed.append(at)
        xy = (half, at) if upright else (at, half)
        axes.annotate(
            line.label, xy, (3, 0) if upright else (0, 2), textcoords="offset points",
            fontsize=size, rotation=90 if upright else 0, ha="left" if upright else "center",
            va="center" if upright else "bottom", annotation_clip=False,
        )  # fmt: skip


def _draw_stars(axes: Axes, scene: Scene, colours: Mapping[str, str], narrow: bool) -> None:
    xy = scene.plane.xy(scene.stars.ra_deg, scene.stars.dec_deg)
    axes.scatter(
        xy[:, 0], xy[:, 1], s=star_area_pt2(scene.stars.g_mag, narrow), color=colours["star"],
        edgecolors=colours["panel"], linewidths=0.3, zorder=1.5,
    )  # fmt: skip


def _draw_neighbours(
    axes: Axes, scene: Scene, colours: Mapping[str, str], marks: list[Floats]
) -> None:
    for neighbour in scene.neighbours:
        for outline in neighbour.outlines:
            _closed(
                axes,
                scene,
                outline,
                color=colours["faint"],
                zorder=2,
                **neighbour_look(neighbour.kind),
            )
        if not neighbour.outlines:
            axes.plot(
                *scene.plane.xy(neighbour.ra_deg, neighbour.dec_deg), ls="none", marker="o",
                ms=4.5, mew=0.8, mfc="none", mec=colours["faint"], zorder=2,
            )  # fmt: skip


def _draw_target(axes: Axes, scene: Scene, colours: Mapping[str, str], marks: list[Floats]) -> None:
    for outline in scene.outlines:
        points = _closed(
            axes, scene, outline, color=colours["target"], lw=1.3, ls=TARGET_LINE, zorder=3
        )
        # Brighter within, as most objects are; the steps are not measured.
        middle = points.mean(axis=0)
        for scale in SHADES:
            _fill(
                axes, middle + scale * (points - middle), facecolor=colours["target"],
                alpha=0.07, lw=0, zorder=1,
            )  # fmt: skip
        marks.append(_marked(points[:: max(1, len(points) // 120)], 2.0))


def _draw_frames(
    axes: Axes, scene: Scene, colours: Mapping[str, str], narrow: bool, marks: list[Floats]
) -> None:
    for ghost in scene.ghosts:
        _closed(axes, scene, ghost, color=colours["ghost"], lw=0.8, ls=(0, (2, 2)), zorder=4)
        marks.append(_marked(scene.plane.xy(*side_points(ghost).T), 0.7))
    for rank, frame in reversed(list(enumerate((scene.chosen, *scene.others)))):
        look = frame_look(rank, colours)
        for corners in frame.corners:
            _closed(axes, scene, corners, zorder=6 - min(rank, 2), **look)
            marks.append(_marked(scene.plane.xy(*side_points(corners).T), 2.5))
    _draw_up(axes, scene, scene.chosen, colours)


def _draw_up(axes: Axes, scene: Scene, frame: Frame, colours: Mapping[str, str]) -> None:
    """A small arrow out of the upper side of the first panel: rising FITS axis 2."""
    corners = scene.plane.xy(*frame.corners[0].T)
    base = corners[2:].mean(axis=0)
    out = base - corners[:2].mean(axis=0)
    out = out / np.hypot(*out) * 0.045 * scene.plane.half_deg
    axes.annotate(
        "", base + out, base - 0.6 * out, zorder=7,
        arrowprops={
            "arrowstyle": "-|>", "color": frame_look(0, colours)["color"], "lw": 1.4,
            "shrinkA": 0, "shrinkB": 0, "mutation_scale": 9,
        },
    )  # fmt: skip


def _draw_guide(
    axes: Axes, scene: Scene, colours: Mapping[str, str], narrow: bool, marks: list[Floats]
) -> None:
    if scene.guide is None:
        return
    for past, side in enumerate((scene.guide.before_meridian, scene.guide.after_meridian)):
        corners = np.array(side.corners)
        _fill(
            axes, scene.plane.xy(*corners.T), facecolor="none", edgecolor=colours["ink"],
            zorder=5.5, lw=1.1, ls=(0, (3, 1.5)) if past else "-",
            hatch=guide_hatch(bool(past)) if side.state == "unlikely" else None,
        )  # fmt: skip
        marks.append(_marked(scene.plane.xy(*side_points(corners).T), 2.0))
        if len(scene.chosen.corners) > 1:
            _lead_to_panel(axes, scene, corners, side.panel, colours, bool(past))
        if side.stars:
            best = scene.plane.xy(side.stars[0].ra_deg, side.stars[0].dec_deg)
            # Drawn again: a crowded chart shows its brightest stars only.
            axes.scatter(
                best[0], best[1], s=star_area_pt2(side.stars[0].g_mag, narrow), lw=0.0,
                color=colours["star"], zorder=6.4,
            )  # fmt: skip
            axes.plot(
                *best, ls="none", marker="o", ms=6.0 if narrow else 9.0, mfc="none", mew=1.2,
                mec=colours["target"], zorder=6.5,
            )  # fmt: skip
            marks.append(_marked(best[None, :], 8.0))


def _lead_to_panel(
    axes: Axes, scene: Scene, patch: Floats, panel: int, colours: Mapping[str, str], past: bool
) -> None:
    """A line from a guider's patch to the middle of the panel that it belongs to."""
    ends = np.array(
        [
            scene.plane.xy(*patch.T).mean(axis=0),
            scene.plane.xy(*scene.chosen.corners[panel - 1].T).mean(axis=0),
        ]
    )
    axes.plot(
        *ends.T, color=colours["ink"], lw=0.7, ls=(0, (3, 1.5)) if past else "-", marker=".",
        markevery=[1], ms=5.0, zorder=5.4,
    )  # fmt: skip


def _write_names(
    axes: Axes, scene: Scene, colours: Mapping[str, str], narrow: bool, marks: list[Floats]
) -> None:
    figure = axes.figure
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined, union-attr]
    to_pixels = axes.transData.transform
    frame = axes.get_window_extent(renderer)
    scale = figure.dpi / 72.0
    big, small = (7.0, 6.0) if narrow else (9.0, 7.5)
    names: list[tuple[Any, Wish]] = []

    def add(text: str, centres: Any, size: float, colour: str, must: bool, **more: Any) -> None:
        artist = axes.text(
            0, 0, text, fontsize=size, color=legible(colours[colour], colours["panel"]),
            ha="center", va="center", zorder=9,
            path_effects=[_halo(colours["panel"], 2.2)], **more,
        )  # fmt: skip
        box = artist.get_window_extent(renderer)
        wide, tall = box.width + 3.0 * scale, box.height + 1.5 * scale
        names.append((artist, Wish(wide, tall, centres(wide, tall), must)))

    corner_boxes = _draw_compass_and_scale(axes, scene, colours, narrow, marks, frame)
    if len(scene.chosen.framing.panels) > 1:
        for number, panel in enumerate(scene.chosen.framing.panels, start=1):
            middle = to_pixels(scene.plane.xy(panel.ra_deg, panel.dec_deg))
            add(
                str(number), lambda w, h, m=middle: _near(m, w, h), big + 3, "first", True,
                weight="bold",
            )  # fmt: skip
    for rank, each in enumerate((scene.chosen, *scene.others)):
        corners = to_pixels(scene.plane.xy(*each.corners[0].T))
        add(
            each.framing.train, lambda w, h, c=corners: _along_sides(c, w, h), big,
            FRAME_COLOURS[min(rank, 3)], True, weight="bold",
        )  # fmt: skip
    if scene.guide is not None:
        for when, side in (
            ("before", scene.guide.before_meridian),
            ("after", scene.guide.after_meridian),
        ):
            corners = to_pixels(scene.plane.xy(*np.array(side.corners).T))
            text = f"guider\n{when}" if narrow else f"guider {when} meridian"
            if side.stars and not narrow:
                text += f", G {side.stars[0].g_mag:.1f}"
            middle, reach = corners.mean(axis=0), np.ptp(corners, axis=0).max() / 2.0
            add(
                text,
                lambda w, h, m=middle, r=reach: around(m[0], m[1], w, h, 3.0 * scale, r),
                small, "ink", True,
            )  # fmt: skip
    outline = np.concatenate([to_pixels(scene.plane.xy(*each.T)) for each in scene.outlines])
    add(
        scene.target.name, lambda w, h: _within_or_beside(outline, w, h, scale), big, "target",
        True, weight="bold",
    )  # fmt: skip
    for neighbour in scene.neighbours[: 6 if narrow else 14]:
        edges = [to_pixels(scene.plane.xy(*each.T)) for each in neighbour.outlines]
        if edges:
            edge = np.concatenate(edges)
            add(
                neighbour.name, lambda w, h, e=edge: _within_or_beside(e, w, h, scale), small,
                "faint", False,
            )  # fmt: skip
        else:
            middle = to_pixels(scene.plane.xy(neighbour.ra_deg, neighbour.dec_deg))
            add(
                neighbour.name,
                lambda w, h, m=middle: around(m[0], m[1], w, h, 2.0 * scale, 3.0 * scale),
                small, "faint", False,
            )  # fmt: skip
    points = np.concatenate(marks) if marks else np.empty((0, 3))
    points = np.column_stack((to_pixels(points[:, :2]), points[:, 2]))
    stars = to_pixels(scene.plane.xy(scene.stars.ra_deg, scene.stars.dec_deg))
    weight = np.where(scene.stars.g_mag < 7.5, 1.0, 0.15)
    points = np.concatenate((points, np.column_stack((stars, weight))))
    found = place(
        [wish for _, wish in names], (frame.x0, frame.y0, frame.x1, frame.y1), points, corner_boxes
    )
    to_data = axes.transData.inverted().transform
    for (artist, _), centre in zip(names, found, strict=True):
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


def _draw_compass_and_scale(
    axes: Axes,
    scene: Scene,
    colours: Mapping[str, str],
    narrow: bool,
    marks: list[Floats],
    frame: Any,
) -> list[tuple[float, float, float, float]]:
    """Arrows to north and east, and a scale bar, in the two emptiest corners."""
    half = scene.plane.half_deg
    points = np.concatenate(marks) if marks else np.empty((0, 3))
    size = 0.17 if narrow else 0.13
    corners = [(-1, 1), (1, 1), (-1, -1), (1, -1)]

    def crowd(corner: tuple[int, int]) -> float:
        near = np.all(points[:, :2] * np.array(corner) > half * (1.0 - 2.4 * size), axis=1)
        return float((near * points[:, 2]).sum())

    ranked = sorted(corners, key=crowd)
    boxes = []
    for what, corner in zip(("compass", "scale"), ranked[:2], strict=True):
        middle = np.array(corner) * half * (1.0 - 1.25 * size)
        if what == "compass":
            _draw_compass(axes, scene, colours, narrow, middle, size * half)
        else:
            middle = np.array(
                [corner[0] * half * (1.0 - 1.5 * size), corner[1] * half * (1.0 - 0.45 * size)]
            )
            _draw_scale(axes, scene, colours, narrow, middle, 2.2 * size * half)
        reach = 1.25 * size * half
        low = axes.transData.transform(middle - reach)
        high = axes.transData.transform(middle + reach)
        boxes.append((float(low[0]), float(low[1]), float(high[0]), float(high[1])))
    return boxes


def _draw_compass(
    axes: Axes, scene: Scene, colours: Mapping[str, str], narrow: bool, middle: Floats, size: float
) -> None:
    ra, dec = scene.plane.sky(*middle)
    step = 0.01
    there = float(dec)
    north = scene.plane.xy(ra, min(there + step, 90.0)) - scene.plane.xy(
        ra, min(there + step, 90.0) - step
    )
    # East is a quarter turn to the left of north where the sky is seen from inside.
    north = north / np.hypot(*north)
    east = np.array([-north[1], north[0]])
    base = middle - (north + east) * size * 0.45
    for way, letter in ((north, "N"), (east, "E")):
        axes.annotate(
            "", base + way * size, base, zorder=8,
            arrowprops={
                "arrowstyle": "-|>", "color": colours["ink"], "lw": 1.1, "shrinkA": 0,
                "shrinkB": 0, "mutation_scale": 8 if narrow else 11,
            },
        )  # fmt: skip
        letter_at = base + way * size * 1.22
        axes.text(
            letter_at[0], letter_at[1], letter, fontsize=7.0 if narrow else 9.0, ha="center",
            va="center", color=colours["ink"], zorder=8, path_effects=[_halo(colours["panel"], 2)],
        )  # fmt: skip


SCALES_ARCMIN = (1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 300, 600, 1200)


def _draw_scale(
    axes: Axes, scene: Scene, colours: Mapping[str, str], narrow: bool, middle: Floats, most: float
) -> None:
    arcmin = max((s for s in SCALES_ARCMIN if s / 60.0 <= most), default=SCALES_ARCMIN[0])
    length, tick = arcmin / 60.0, 0.012 * scene.plane.half_deg
    x0, x1 = middle[0] - length / 2.0, middle[0] + length / 2.0
    y = middle[1]
    axes.plot(
        [x0, x0, x0, x1, x1, x1], [y - tick, y + tick, y, y, y + tick, y - tick],
        color=colours["ink"], lw=1.3, zorder=8, solid_joinstyle="miter",
    )  # fmt: skip
    text = f"{arcmin // 60}°" if arcmin % 60 == 0 else f"{arcmin}′"
    axes.annotate(
        text, (middle[0], y), (0, -2), textcoords="offset points", ha="center", va="top",
        fontsize=6.5 if narrow else 8.5, color=colours["ink"], zorder=8,
        path_effects=[_halo(colours["panel"], 2)],
    )  # fmt: skip


def _closed(axes: Axes, scene: Scene, places: Floats, **look: Any) -> Floats:
    points = scene.plane.xy(places[:, 0], places[:, 1])
    axes.plot(*np.concatenate((points, points[:1])).T, solid_joinstyle="miter", **look)
    return points


def _fill(axes: Axes, points: Floats, **look: Any) -> None:
    from matplotlib.patches import Polygon

    axes.add_patch(Polygon(points, closed=True, **look))


def _marked(points: Floats, weight: float) -> Floats:
    return np.column_stack((points, np.full(len(points), weight)))


def _halo(colour: str, width: float) -> Any:
    from matplotlib.patheffects import withStroke

    return withStroke(linewidth=width, foreground=colour)
