"""The night's plot as SVG for the field sheet: small, with letters that a phone sets itself."""

from __future__ import annotations

import io

from nightplan.report.altitude_plot import night_figure
from nightplan.report.night_picture import NightPicture
from nightplan.report.sheet_style import SheetStyle


def night_charts(picture: NightPicture, style: SheetStyle = "day") -> tuple[str, str]:
    """Altitude plots without lanes as SVG documents: (for a page, for a phone held upright)."""
    wide, narrow = (_svg(picture, style, narrow=narrow) for narrow in (False, True))
    return wide, narrow


def _svg(picture: NightPicture, style: SheetStyle, *, narrow: bool) -> str:
    import matplotlib

    figure = night_figure(picture, style=style, narrow=narrow, lanes=False, titled=False)
    draft = io.StringIO()
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "nightplan"}):
        figure.savefig(
            draft,
            format="svg",
            facecolor=figure.get_facecolor(),
            metadata={"Date": None, "Creator": "nightplan"},
        )
    return draft.getvalue()
