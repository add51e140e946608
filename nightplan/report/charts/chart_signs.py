"""What tells directions and sizes on a chart: grid lines, compass, scale bar."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from nightplan.model.star_catalog import Floats
from nightplan.report.charts.drawing import Drawing
from nightplan.report.charts.graticule import GridLine, graticule

SCALES_ARCMIN = (1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 300, 600, 1200)


def draw_graticule(chart: Drawing) -> None:
    """Lines of right ascension and declination, labelled at the edges."""
    ra_lines, dec_lines = graticule(chart.scene.plane, 3 if chart.narrow else 5)
    for line in (*ra_lines, *dec_lines):
        chart.axes.plot(*line.points.T, color=chart.colours["grid"], lw=0.6, zorder=0.5)
    size = 6.0 if chart.narrow else 8.0
    _ticks(chart, ra_lines, ("bottom", "top"), size, 0.21 if chart.narrow else 0.12)
    _ticks(chart, dec_lines, ("left", "right"), size, 0.06)
    chart.axes.tick_params(length=3.0, pad=2.0, labelsize=size)


def _ticks(
    chart: Drawing, lines: Sequence[GridLine], edges: tuple[str, str], size: float, least: float
) -> None:
    """Label lines on the first edge; those that do not reach it on the second."""
    half = chart.scene.plane.half_deg
    upright = edges[0] == "left"
    axis = chart.axes.yaxis if upright else chart.axes.xaxis
    first = _apart(lines, edges[0], least, half, half if upright else half * (1.0 - least / 2.5))
    axis.set_ticks(list(first), list(first.values()))
    if upright:
        for text in chart.axes.get_yticklabels():
            text.set(rotation=90, va="center", rotation_mode="default")
    rest = [line for line in lines if edges[0] not in line.exits]
    for at, label in _apart(rest, edges[1], least, half, half * (1.0 - least / 2.0)).items():
        chart.axes.annotate(
            label, (half, at) if upright else (at, half), (3, 0) if upright else (0, 2),
            textcoords="offset points", fontsize=size, rotation=90 if upright else 0,
            ha="left" if upright else "center", va="center" if upright else "bottom",
            annotation_clip=False,
        )  # fmt: skip


def _apart(
    lines: Sequence[GridLine], edge: str, least: float, half: float, reach: float
) -> dict[float, str]:
    """Where lines leave an edge, with their labels, those left out that stand too near."""
    kept: dict[float, str] = {}
    for line in lines:
        at = line.exits.get(edge)
        if at is None or abs(at) > reach:
            continue
        if all(abs(at - other) >= least * 2.0 * half for other in kept):
            kept[at] = line.label
    return dict(sorted(kept.items()))


def draw_compass_and_scale(chart: Drawing) -> list[tuple[float, float, float, float]]:
    """Arrows to north and east, and a scale bar, in the two emptiest corners; their boxes in
    pixels."""
    half = chart.scene.plane.half_deg
    points = chart.all_marks
    size = 0.17 if chart.narrow else 0.13
    corners = [(-1, 1), (1, 1), (-1, -1), (1, -1)]

    def crowd(corner: tuple[int, int]) -> float:
        near = np.all(points[:, :2] * np.array(corner) > half * (1.0 - 2.4 * size), axis=1)
        return float((near * points[:, 2]).sum())

    emptiest = np.array(sorted(corners, key=crowd)[:2])
    compass = emptiest[0] * half * (1.0 - 1.25 * size)
    scale = emptiest[1] * half * (1.0 - np.array([1.5, 0.45]) * size)
    _draw_compass(chart, compass, size * half)
    _draw_scale(chart, scale, 2.2 * size * half)
    boxes = []
    for middle in (compass, scale):
        ends = chart.axes.transData.transform([middle - 1.25 * size * half,
                                               middle + 1.25 * size * half])  # fmt: skip
        boxes.append((float(ends[0, 0]), float(ends[0, 1]), float(ends[1, 0]), float(ends[1, 1])))
    return boxes


def _draw_compass(chart: Drawing, middle: Floats, size: float) -> None:
    plane, ink = chart.scene.plane, chart.colours["ink"]
    ra, dec = plane.sky(*middle)
    ahead = min(float(dec) + 0.01, 90.0)
    north = plane.xy(ra, ahead) - plane.xy(ra, ahead - 0.01)
    north = north / np.hypot(*north)
    # East is a quarter turn to the left of north where the sky is seen from inside.
    east = np.array([-north[1], north[0]])
    base = middle - (north + east) * size * 0.45
    for way, letter in ((north, "N"), (east, "E")):
        chart.arrow(base, base + way * size, ink, 8 if chart.narrow else 11, 1.1)
        x, y = base + way * size * 1.22
        chart.axes.text(
            x, y, letter, fontsize=7.0 if chart.narrow else 9.0,
            ha="center", va="center", color=ink, zorder=8, path_effects=chart.halo(2),
        )  # fmt: skip


def _draw_scale(chart: Drawing, middle: Floats, most: float) -> None:
    arcmin = max((s for s in SCALES_ARCMIN if s / 60.0 <= most), default=SCALES_ARCMIN[0])
    half_bar, tick = arcmin / 120.0, 0.012 * chart.scene.plane.half_deg
    (x0, x1), y = (middle[0] - half_bar, middle[0] + half_bar), middle[1]
    chart.axes.plot(
        [x0, x0, x0, x1, x1, x1], [y - tick, y + tick, y, y, y + tick, y - tick],
        color=chart.colours["ink"], lw=1.3, zorder=8, solid_joinstyle="miter",
    )  # fmt: skip
    text = f"{arcmin // 60}°" if arcmin % 60 == 0 else f"{arcmin}′"
    chart.axes.annotate(
        text, (middle[0], y), (0, -2), textcoords="offset points", ha="center", va="top",
        fontsize=6.5 if chart.narrow else 8.5, color=chart.colours["ink"], zorder=8,
        path_effects=chart.halo(2),
    )  # fmt: skip
