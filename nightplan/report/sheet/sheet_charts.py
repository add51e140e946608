"""The plots of the field sheet as SVG: small, with letters that the reader's device sets."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from nightplan.report.charts.framing_chart import draw_framing_chart
from nightplan.report.looks.style import new_figure, styled
from nightplan.report.page.page_style import SheetStyle
from nightplan.report.plots.altitude_plot import night_figure
from nightplan.report.plots.night_picture import NightPicture

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.choosing.frame_answer import FrameAnswer

MOST_STARS = 150
# Sizes on paper. A phone shows them somewhat larger, and letters on them can still be read there.
CHART_IN = 2.5
NIGHT_IN = (7.2, 3.25)
NIGHT_NARROW_IN = (3.1, 3.5)


def night_charts(picture: NightPicture, style: SheetStyle = "day") -> tuple[str, str]:
    """Altitude plots without lanes as SVG documents: (for a page, for a phone held upright)."""
    wide, narrow = (
        _svg(
            night_figure(
                picture, style=style, narrow=narrow, lanes=False, titled=False, size_in=size_in
            )
        )
        for narrow, size_in in ((False, NIGHT_IN), (True, NIGHT_NARROW_IN))
    )
    return wide, narrow


def framing_chart(
    config: Config,
    target: Target,
    answer: FrameAnswer,
    catalog: Catalog,
    style: SheetStyle = "day",
) -> str:
    """A framing chart a hand wide as an SVG document: brighter stars, names, no legend.

    Who reads the sheet must be told whose stars they are: `nightplan.model.star_catalog`'s
    `STAR_CREDIT`.
    """
    from nightplan.report.charts.chart_scene import chart_scene

    scene = chart_scene(
        config,
        target,
        answer.framing,
        answer.framings,
        catalog=catalog,
        guide=answer.guide,
        most_stars=MOST_STARS,
    )
    figure = new_figure((CHART_IN, CHART_IN), style)
    left, right, low = 0.26, 0.05, 0.22
    side = CHART_IN - left - right
    with styled(style):
        axes = figure.add_axes((left / CHART_IN, low / CHART_IN, side / CHART_IN, side / CHART_IN))
        draw_framing_chart(axes, scene, style=style, narrow=True)
    return _svg(figure)


def _svg(figure: Figure) -> str:
    import matplotlib
    from matplotlib.text import Text

    for text in figure.findobj(Text):
        # Outlined letters would be drawn twice, as curves; the sheet's style sheet outlines them.
        text.set_path_effects([])
    draft = io.StringIO()
    style = getattr(figure, "nightplan_style", "day")
    with styled(style), matplotlib.rc_context({"svg.fonttype": "none"}):
        figure.savefig(
            draft,
            format="svg",
            facecolor=figure.get_facecolor(),
            metadata={"Date": None, "Creator": "nightplan"},
        )
    return draft.getvalue()
