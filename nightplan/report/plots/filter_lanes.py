"""The night's blocks as lanes: which target, and one lane a filter, told apart without colour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from nightplan.number_forms import number
from nightplan.report.looks.hatching import hatch_colour
from nightplan.report.looks.palettes import filter_look
from nightplan.report.looks.style import styled
from nightplan.report.plots.night_picture import NightPicture, PictureBlock, PictureEvent

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BAR = 0.72
FONT = 7.0
GAP = 3.0


def lane_count(picture: NightPicture) -> int:
    """Lanes that `draw_lanes` needs: one a filter with work, and one for the targets."""
    return len(picture.filters) + 1


def draw_lanes(
    axes: Axes, picture: NightPicture, *, style: str = "day", narrow: bool = False
) -> None:
    """Draw the blocks of a night below each other, in UTC MJD along x; sets the axes' limits.

    The first lane names the target; each further lane holds one filter's blocks with their sub
    count and length, in the filter's hatch and colour. Focus runs are ticks under the first lane,
    meridian flips are marked on it.
    """
    with styled(style) as colours:
        names = [name for name, _ in picture.filters]
        axes.set_xlim(float(picture.utc_mjd[0]), float(picture.utc_mjd[-1]))
        axes.set_ylim(len(names) + 0.5, -0.5)
        axes.set_yticks(range(len(names) + 1), labels=["target", *names])
        axes.tick_params(axis="y", length=0, pad=3)
        axes.grid(axis="y", visible=False)
        for side in ("top", "right", "left"):
            axes.spines[side].set_visible(False)
        for lane in range(len(names) + 1):
            axes.axhline(lane + 0.5, color=colours["grid"], linewidth=0.5, zorder=0)
        for start, end, target in target_spans(picture):
            _bar(axes, start, end, 0, colours["panel"], "", colours["ink"])
            _fit(axes, start, end, 0, (target, target.replace(" ", "")), colours["ink"])
        for block in picture.blocks:
            look = filter_look(block.role, style)
            lane = names.index(block.filter) + 1
            start, end = block.start_utc_mjd, block.end_utc_mjd
            if look.hatch:
                with hatch_colour(look.on_colour):
                    _bar(axes, start, end, lane, look.colour, look.hatch, look.on_colour)
            _bar(axes, start, end, lane, "none" if look.hatch else look.colour, "", colours["ink"])
        for lane, name in enumerate(names, start=1):
            row = [block for block in picture.blocks if block.filter == name]
            flips = [event for event in picture.events if event.kind == "flip"]
            _label_lane(axes, row, lane, narrow, colours, [_middle(flip) for flip in flips])
        _events(axes, picture, colours)


def target_spans(picture: NightPicture) -> list[tuple[float, float, str]]:
    """Stretches on one target, (start, end, target), from its first block in a row to the last."""
    spans: list[tuple[float, float, str]] = []
    for block in sorted(picture.blocks, key=lambda item: item.start_utc_mjd):
        if spans and spans[-1][2] == block.target:
            spans[-1] = (spans[-1][0], block.end_utc_mjd, block.target)
        else:
            spans.append((block.start_utc_mjd, block.end_utc_mjd, block.target))
    return spans


def _block_labels(block: PictureBlock, narrow: bool) -> tuple[str, ...]:
    length = number(block.sub_s)
    short = (f"{block.count}×{length}", str(block.count))
    return short if narrow else (f"{block.count} × {length} s", *short)


def _bar(axes: Axes, start: float, end: float, lane: int, face: str, hatch: str, edge: str) -> None:
    axes.barh(
        lane,
        end - start,
        left=start,
        height=BAR,
        facecolor=face,
        edgecolor=edge,
        hatch=hatch,
        linewidth=0.8,
        zorder=2,
    )


def _fit(
    axes: Axes, start: float, end: float, lane: int, labels: Sequence[str], colour: str
) -> None:
    """Write the first of `labels` that fits the bar, or none."""
    room = _points(axes, start, end) - 4.0
    for label in labels:
        if _width(axes, label) <= room:
            middle = 0.5 * (start + end)
            axes.text(
                middle, lane, label, ha="center", va="center_baseline", fontsize=FONT,
                color=colour, zorder=4,
            )  # fmt: skip
            return


def _label_lane(
    axes: Axes,
    blocks: Sequence[PictureBlock],
    lane: int,
    narrow: bool,
    colours: Mapping[str, str],
    lines: Sequence[float],
) -> None:
    """Write count and length of each bar behind it, before it, or on it: where there is room.

    `lines` are times of upright lines, which no label outside a bar is written across.
    """
    left, right = (float(edge) for edge in axes.get_xlim())
    per_point = (right - left) / _points(axes, left, right)
    taken = [(block.start_utc_mjd, block.end_utc_mjd) for block in blocks]
    taken += [(line - per_point, line + per_point) for line in lines]
    for block in blocks:
        start, end = block.start_utc_mjd, block.end_utc_mjd
        *long, count = _block_labels(block, narrow)
        places: list[tuple[str, str, float, float, str | None]] = []
        for outside, inside in ((long, long[-1]), ((count,), count)):
            for label in outside:
                need = (_width(axes, label) + GAP) * per_point
                places += [
                    (label, "left", end + GAP * per_point, need, None),
                    (label, "right", start - GAP * per_point, need, None),
                ]
            if (_width(axes, inside) + 2.0 * GAP) * per_point <= end - start:
                places.append((inside, "center", 0.5 * (start + end), 0.0, colours["panel"]))
        for label, side, at, need, backing in places:
            span = (at, at + need) if side == "left" else (at - need, at)
            free = all(span[1] <= a or span[0] >= b for a, b in taken)
            if side != "center" and not (free and left <= span[0] and span[1] <= right):
                continue
            axes.text(
                at, lane, label, ha=side, va="center_baseline", fontsize=FONT,
                color=colours["ink"], zorder=4,
                bbox=backing and {"facecolor": backing, "edgecolor": "none", "pad": 1.0},
            )  # fmt: skip
            taken.append(span)
            break


def _points(axes: Axes, start: float, end: float) -> float:
    """Length of a stretch of time on the paper, points."""
    pixels = axes.transData.transform([(start, 0.0), (end, 0.0)])
    dpi = axes.get_figure().dpi  # type: ignore[union-attr]
    return float(pixels[1, 0] - pixels[0, 0]) * 72.0 / dpi


def _width(axes: Axes, label: str) -> float:
    """Width of a label, points."""
    figure = axes.get_figure()
    text = axes.text(0.0, 0.0, label, fontsize=FONT)
    width = text.get_window_extent(figure.canvas.get_renderer()).width  # type: ignore[union-attr]
    text.remove()
    return float(width) * 72.0 / figure.dpi  # type: ignore[union-attr]


def _middle(event: PictureEvent) -> float:
    return 0.5 * (event.start_utc_mjd + event.end_utc_mjd)


def _events(axes: Axes, picture: NightPicture, colours: Mapping[str, str]) -> None:
    for event in picture.events:
        middle = _middle(event)
        if event.kind == "focus":
            axes.plot(
                [middle], [0.5], marker="|", markersize=7.0, color=colours["ink"], zorder=5,
                clip_on=False, linestyle="none",
            )  # fmt: skip
        elif event.kind == "flip":
            axes.axvline(
                middle, color=colours["warning"], linewidth=1.2, linestyle=(0, (3, 1.5)), zorder=1
            )
