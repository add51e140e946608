"""The legend of a framing chart: one row a thing, said in numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from nightplan.number_forms import number, percent
from nightplan.report.charts.chart_looks import (
    NEIGHBOUR_LOOKS,
    TARGET_LINE,
    frame_look,
    guide_hatch,
    neighbour_class,
    shades,
    star_area_pt2,
)
from nightplan.report.charts.chart_scene import Frame, Scene
from nightplan.report.wording.words import about, angle_range

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from nightplan.planning.framing.guide_star import GuideSide


@dataclass(frozen=True)
class LegendRow:
    """What a row stands for and its text; `rank` is a frame's, or 1 for a hatched patch."""

    kind: str
    text: str
    rank: int = 0

    @property
    def lines(self) -> int:
        """Lines of text."""
        return self.text.count("\n") + 1


def legend_rows(scene: Scene, narrow: bool = False) -> tuple[list[LegendRow], list[LegendRow]]:
    """Rows of the left column, the camera's, and of the right one, the sky's."""
    left = [
        LegendRow("frame", _frame_text(frame, narrow), rank)
        for rank, frame in enumerate((scene.chosen, *scene.others))
    ]
    if scene.ghosts:
        tolerance = scene.chosen.framing.position_angle_tolerance_deg
        what = "panel 1" if len(scene.chosen.corners) > 1 else "the frame"
        left.append(LegendRow("ghost", f"{what} turned by ± {number(tolerance)}°"))
    if scene.guide is not None:
        for kind, side in (
            ("before", scene.guide.before_meridian),
            ("after", scene.guide.after_meridian),
        ):
            told = _guide_text(scene, side)
            joint = ":\n" if narrow and len(told) > 25 else ": "
            text = f"guider {kind} meridian{joint}{told}"
            left.append(LegendRow(kind, text, int(side.state == "unlikely")))
    right = [LegendRow("target", _target_text(scene))]
    kinds = {neighbour_class(neighbour.kind) for neighbour in scene.neighbours}
    right += [LegendRow(name, name) for name in NEIGHBOUR_LOOKS if name in kinds]
    cut = [neighbour.name for neighbour in scene.neighbours if neighbour.cut]
    if cut:
        more = f" and {len(cut) - 2} more" if len(cut) > 2 else ""
        right.append(LegendRow("", f"the edge cuts {', '.join(cut[:2])}{more}"))
    right.append(LegendRow("stars", _star_text(scene)))
    return left, right


def _star_text(scene: Scene) -> str:
    """To which magnitude stars are drawn, and how many more a patch holds, by density."""
    text = f"stars of G 4, 6, 8, 10; all to G {number(scene.stars_to_mag)}"
    guide = scene.guide
    if guide is None or guide.limit_mag <= guide.catalogue_limit_mag:
        return text
    sides = (guide.before_meridian, guide.after_meridian)
    patches = [max(side.expected_count - len(side.stars), 0.0) for side in sides]
    return f"{text};\nby density {about(max(patches))} more a patch to G {number(guide.limit_mag)}"


def _frame_text(frame: Frame, narrow: bool) -> str:
    optics, framing = frame.optics, frame.framing
    angle = angle_range(framing.position_angle_deg, framing.position_angle_tolerance_deg)
    panels = f"{len(framing.panels)} × " if len(framing.panels) > 1 else ""
    size = f"{panels}{optics.field_width_deg:.2f}° × {optics.field_height_deg:.2f}°"
    scale = f"{optics.image_scale_arcsec_px:.2f}″/px"
    text = f"{framing.train}, {optics.focal_length_mm:.0f} mm: {size}, {scale}"
    joint = ",\n" if narrow else ", "
    return f"{text}{joint}camera {angle}, {percent(framing.coverage)} in frame"


def _target_text(scene: Scene) -> str:
    axes = scene.target.axes_arcmin
    if axes is None:
        return f"{scene.target.name}, size unknown"
    major, minor = axes
    size = f"{major:.0f}′" if abs(major - minor) < 0.5 else f"{major:.0f}′ × {minor:.0f}′"
    unknown = scene.target.angle_deg is None and minor < 0.95 * major
    if unknown and scene.target.outline is None:
        size += ", angle unknown"
    whose = "of a mean disc galaxy" if scene.target.kind == "galaxy" else "not measured"
    shaded = len(shades(scene.target.kind)) > 1
    return f"{scene.target.name}, {size}" + (f";\nshades {whose}" if shaded else "")


def _guide_text(scene: Scene, side: GuideSide) -> str:
    guide = scene.guide
    assert guide is not None
    where = f"panel {side.panel}, " if len(guide.panels) > 1 else ""
    if side.stars:
        return f"{where}star of G {side.stars[0].g_mag:.1f}"
    count = f"{about(side.expected_count)} to G {number(guide.limit_mag)} by density"
    if side.state == "expected":
        return f"{where}none to G {number(guide.catalogue_limit_mag)}, {count}"
    return f"{where}a star is unlikely ({count})"


def line_count(columns: tuple[list[LegendRow], list[LegendRow]], narrow: bool) -> int:
    """Lines of text that the legend is high."""
    left, right = (sum(row.lines for row in rows) for rows in columns)
    return left + right if narrow else max(left, right)


def draw_legend(
    axes: Axes,
    columns: tuple[list[LegendRow], list[LegendRow]],
    colours: Mapping[str, str],
    narrow: bool,
    pitch: float,
) -> None:
    """Draw the rows into Axes of their own, in two columns or, narrow, in one.

    `pitch` is the height of a line as a share of the Axes' height.
    """
    axes.set(xlim=(0.0, 1.0), ylim=(0.0, 1.0))
    axes.axis("off")
    line = 0
    for x, rows in zip((0.0, 0.0 if narrow else 0.67), columns, strict=True):
        line = line if narrow else 0
        for row in rows:
            y = 1.0 - pitch * (line + 0.6)
            _draw_sample(axes, row, colours, narrow, x, y, pitch)
            axes.text(
                x + (0.095 if narrow else 0.05), y + 0.5 * pitch, row.text, va="top",
                fontsize=6.3 if narrow else 8.0, color=colours["ink"], linespacing=1.25,
            )  # fmt: skip
            line += row.lines


def _draw_sample(
    axes: Axes,
    row: LegendRow,
    colours: Mapping[str, str],
    narrow: bool,
    x: float,
    y: float,
    pitch: float,
) -> None:
    from matplotlib.patches import Rectangle

    x0, x1 = x, x + (0.08 if narrow else 0.04)
    if row.kind == "frame":
        axes.plot([x0, x1], [y, y], **frame_look(row.rank, colours))
    elif row.kind == "target":
        axes.plot([x0, x1], [y, y], color=colours["target"], lw=1.3, ls=TARGET_LINE)
    elif row.kind == "ghost":
        axes.plot([x0, x1], [y, y], color=colours["ghost"], lw=0.8, ls=(0, (2, 2)))
    elif row.kind in NEIGHBOUR_LOOKS:
        line, marker = NEIGHBOUR_LOOKS[row.kind]
        axes.plot([x0, x0 + 0.55 * (x1 - x0)], [y, y], color=colours["faint"], **line)
        axes.plot(
            x0 + 0.85 * (x1 - x0),
            y,
            ls="none",
            marker=marker,
            ms=4.0,
            mew=0.8,
            mfc="none",
            mec=colours["faint"],
        )
    elif row.kind == "stars":
        step = (x1 - x0) / 3.0
        axes.scatter(
            [x0 + k * step for k in range(4)], [y] * 4, color=colours["star"], linewidths=0,
            clip_on=False,
            s=[float(star_area_pt2(g, narrow)) for g in (4.0, 6.0, 8.0, 10.0)],
        )  # fmt: skip
    elif row.kind:
        axes.add_patch(
            Rectangle(
                (x0 + 0.25 * (x1 - x0), y - 0.35 * pitch), 0.5 * (x1 - x0), 0.7 * pitch, fill=False,
                edgecolor=colours["ink"], lw=1.1, ls="-" if row.kind == "before" else (0, (3, 1.5)),
                hatch=guide_hatch(row.kind == "after") if row.rank else None,
            )
        )  # fmt: skip
