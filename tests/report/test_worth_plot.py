"""Worth against time: what is on the picture."""

from __future__ import annotations

import datetime
import itertools

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from nightplan.errors import FileError
from nightplan.model.target import Target
from nightplan.planning.choosing.exposure import exposure_of
from nightplan.planning.tonight.night import compute_night
from nightplan.report.looks.palettes import STYLES
from nightplan.report.looks.style import save_figure
from nightplan.report.plots.worth_plot import worth_figure


@pytest.fixture(scope="module")
def exposure(demo):
    target = Target("Test galaxy", 23.46, 30.66, major_arcmin=60.0, kind="galaxy")
    return exposure_of(demo, compute_night(demo.site, datetime.date(2027, 10, 12)), target)


def test_every_filter_is_drawn_and_named(exposure) -> None:
    figure = worth_figure(exposure)
    axes = figure.axes[0]
    curves = [line for line in axes.lines if len(line.get_xdata()) > 2]
    budget = exposure.through_the_night()
    assert len(curves) == 7
    for index, curve in enumerate(curves):
        assert np.array_equal(curve.get_ydata(), budget.worth[0, index])
    names = {text.get_text() for text in axes.texts}
    assert set(budget.filter_names) <= names
    # told apart without colour
    assert len({(str(c.get_linestyle()), c.get_marker()) for c in curves}) == 7


def test_names_do_not_overlap(exposure) -> None:
    figure = worth_figure(exposure)
    renderer = FigureCanvasAgg(figure).get_renderer()
    boxes = [
        text.get_window_extent(renderer)
        for text in figure.axes[0].texts
        if text.get_text() in exposure.budget.filter_names
    ]
    boxes.sort(key=lambda box: box.y0)
    assert all(low.y1 <= high.y0 + 2.0 for low, high in itertools.pairwise(boxes))
    assert all(box.x1 <= figure.bbox.x1 for box in boxes)


@pytest.mark.parametrize("style", STYLES)
def test_every_style_saves(exposure, style: str, tmp_path) -> None:
    path = tmp_path / f"{style}.png"
    save_figure(path, worth_figure(exposure, style=style), dpi=50.0)
    assert path.read_bytes().startswith(b"\x89PNG")


def test_wrong_ending(exposure, tmp_path) -> None:
    with pytest.raises(FileError, match=r"\.png"):
        save_figure(tmp_path / "worth.gif", worth_figure(exposure))
