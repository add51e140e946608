"""The names written into a night's picture: of twilights, of targets and of the moon."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from nightplan.number_forms import percent
from nightplan.report.looks.contrast import legible
from nightplan.report.plots.label_place import Box, place_labels
from nightplan.report.plots.night_picture import NightPicture

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEVELS_DEG = (-0.833, -6.0, -12.0, -18.0)
BANDS = ("sun up", "civil", "nautical", "astronomical", "night")
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "*")
EDGE = (2.0, 2.0, -2.0, -2.0)
LEAST_LEAD_PT = 4.0
"""A label nearer to its curve needs no line to it."""


def band_edges(picture: NightPicture) -> list[tuple[float, float, int]]:
    """Twilight bands as (start, end, index into `BANDS`), from the sun's altitude."""
    times, sun = picture.utc_mjd, picture.sun_altitude_deg
    cuts = [float(times[0]), float(times[-1])]
    for level in LEVELS_DEG:
        above = sun > level
        for k in np.flatnonzero(above[1:] != above[:-1]):
            share = (level - sun[k]) / (sun[k + 1] - sun[k])
            cuts.append(float(times[k] + share * (times[k + 1] - times[k])))
    cuts = sorted(set(cuts))
    bands = []
    for a, b in itertools.pairwise(cuts):
        middle = float(np.interp(0.5 * (a + b), times, sun))
        bands.append((a, b, sum(middle <= level for level in LEVELS_DEG)))
    return bands


def name_bands(
    axes: Axes, picture: NightPicture, colours: Mapping[str, str], narrow: bool
) -> list[Box]:
    """Write each twilight's name at the foot of its band, or at its head where a curve is there.

    Returns the places written on, in pixels.
    """
    span = float(picture.utc_mjd[-1] - picture.utc_mjd[0])
    renderer = axes.get_figure().canvas.get_renderer()  # type: ignore[union-attr]
    curves = [picture.moon_altitude_deg]
    for target in picture.targets:
        hidden = target.altitude_deg < target.skyline_deg
        curves += [target.altitude_deg, np.where(hidden, target.skyline_deg, np.nan)]
    times = picture.utc_mjd
    fine = np.linspace(times[0], times[-1], 1500)
    heights = np.concatenate([np.interp(fine, times, curve) for curve in curves])
    points = axes.transData.transform(np.column_stack((np.tile(fine, len(curves)), heights)))
    written: list[Box] = []
    for a, b, index in band_edges(picture):
        if not 0 < index < 4 or (b - a) / span <= (0.04 if narrow else 0.02):
            continue
        ways = []
        for altitude, side in ((1.5, "bottom"), (88.5, "top")):
            text = axes.text(
                0.5 * (a + b), altitude, BANDS[index], rotation=90, ha="center", va=side,
                fontsize=6.5, color=colours["ink"], zorder=1.7,
            )  # fmt: skip
            box = text.get_window_extent(renderer)
            low, high = (box.x0 - 2.0, box.y0 - 2.0), (box.x1 + 2.0, box.y1 + 2.0)
            crossed = int(np.sum(np.all((points > low) & (points < high), axis=1)))
            ways.append((crossed, text, (box.x0, box.y0, box.x1, box.y1)))
        chosen = 0 if ways[0][0] <= ways[1][0] else 1
        ways[1 - chosen][1].remove()
        written.append(ways[chosen][2])
    return written


def name_curves(
    axes: Axes,
    picture: NightPicture,
    inks: Mapping[str, str],
    colours: Mapping[str, str],
    written: list[Box],
) -> list[str]:
    """Write the names of targets and moon beside their curves, led to them where they stand off;
    returns those left out."""
    from matplotlib import patheffects

    figure = axes.get_figure()
    renderer = figure.canvas.get_renderer()  # type: ignore[union-attr]
    labels = _labels(picture)
    if not labels:
        return []
    scale = figure.dpi / 72.0  # type: ignore[union-attr]
    texts, curves, sizes = [], [], []
    for name, marker, altitude, _ in labels:
        colour = inks[name] if marker else colours["ink"]
        colour = legible(colour, colours["panel"])
        text = axes.text(
            0, 0, name, ha="center", va="center", fontsize=8.0, color=colour, zorder=6,
            weight="bold" if marker else "normal",
            path_effects=[patheffects.withStroke(linewidth=2.5, foreground=colours["panel"])],
        )  # fmt: skip
        extent = text.get_window_extent(renderer)
        texts.append(text)
        sizes.append((extent.width + 4.0 * scale, extent.height + 2.0 * scale))
        curves.append(axes.transData.transform(np.column_stack((picture.utc_mjd, altitude))))
    inside = np.array(axes.get_window_extent(renderer).extents) / scale + EDGE
    left, bottom, right, top = (float(edge) for edge in inside)
    places = place_labels(
        [curve / scale for curve in curves],
        [likes for *_, likes in labels],
        [(w / scale, h / scale) for w, h in sizes],
        (left, bottom, right, top),
        [(x0 / scale, y0 / scale, x1 / scale, y1 / scale) for x0, y0, x1, y1 in written],
        [marker is not None for _, marker, *_ in labels],
    )
    unnamed = []
    for text, centre, curve, size in zip(texts, places, curves, sizes, strict=True):
        if centre is None:
            unnamed.append(text.get_text())
            text.remove()
            continue
        at = axes.transData.inverted().transform((centre[0] * scale, centre[1] * scale))
        text.set_position((float(at[0]), float(at[1])))
        _lead(axes, text, np.asarray(centre) * scale, curve, size, scale)
    return unnamed


def _labels(
    picture: NightPicture,
) -> list[tuple[str, Any, NDArray[np.float64], NDArray[np.bool_]]]:
    """Names with their marker (the moon has none), curve, and where on it they are best."""
    labels: list[tuple[str, Any, NDArray[np.float64], NDArray[np.bool_]]] = []
    for i, target in enumerate(picture.targets):
        marker = MARKERS[i % len(MARKERS)]
        busy = np.zeros(picture.utc_mjd.shape, dtype=bool)
        for block in picture.blocks_of(target.name):
            busy |= (picture.utc_mjd >= block.start_utc_mjd) & (
                picture.utc_mjd <= block.end_utc_mjd
            )
        likes = busy if busy.any() else picture.usable(target)
        labels.append((target.name, marker, target.altitude_deg, likes))
    if np.any(picture.moon_altitude_deg > 4.0):
        lit = f"moon, {percent(picture.moon_illuminated_fraction)} lit"
        labels.append((lit, None, picture.moon_altitude_deg, picture.moon_altitude_deg > 8.0))
    return labels


def _lead(
    axes: Axes, text: Any, centre: Any, curve: NDArray[np.float64], size: Any, scale: float
) -> None:
    """A thin line from a label to the nearest point of its curve, unless it lies on it."""
    nearest = curve[np.argmin(np.hypot(*(curve - centre).T))]
    way = nearest - centre
    reach = float(np.hypot(*way))
    inside = min(
        0.5 * side / abs(part) if abs(part) > 1e-9 else np.inf
        for side, part in zip(size, way, strict=True)
    )
    if reach * (1.0 - min(inside, 1.0)) < LEAST_LEAD_PT * scale:
        return
    ends = axes.transData.inverted().transform([centre + way * min(inside, 1.0), nearest])
    axes.plot(
        *ends.T, color=text.get_color(), linewidth=0.7, zorder=5.5, scalex=False, scaley=False
    )
