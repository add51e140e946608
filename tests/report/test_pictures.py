"""Pictures against kept ones, so that no change of a look slips in unseen.

Letters differ a little between matplotlib's minor versions, so the comparison is made with the
version that the kept pictures come from, and skipped with others. To draw them anew after a
change that was looked at: run this file with NIGHTPLAN_NEW_PICTURES=1.
"""

from __future__ import annotations

import io
import os
from dataclasses import replace
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from PIL import Image

from nightplan.report.looks.style import figure_bytes
from nightplan.report.plots.altitude_plot import night_figure
from nightplan.report.plots.calendar_picture import calendar_picture
from nightplan.report.plots.calendar_plot import calendar_figure

KEPT = Path(__file__).parent / "kept"
VERSION = KEPT / "matplotlib-version.txt"
DPI = 60.0
# Root mean square over the channels, of 255. Equal versions give 0; another build of the font
# renderer gives under 1; a block moved by ten minutes gives more than 3 (tested below).
TOLERANCE = 1.5

CAMPAIGN = {
    "nights": [
        {
            "date": f"2027-10-{day:02d}",
            "target": ("M 31", "NGC 7000", None, "IC 1805")[day % 4],
            "train": "reducer",
            "hours": 0.0 if day % 4 == 2 else 3.0 + day % 5,
            "moon_illuminated_fraction": min(day / 15.0, 1.0),
        }
        for day in range(1, 17)
    ],
    "finished": [{"target": "M 31", "expected_date": "2027-10-12", "chance": 0.8}],
}

PICTURES = {
    "night-wide-day": lambda read: night_figure(read()),
    "night-narrow-red": lambda read: night_figure(read(), style="red", narrow=True),
    "night-clock-change-print": lambda read: night_figure(
        read("picture_clock_change", planned=False), style="print"
    ),
    "calendar-day": lambda _: calendar_figure(calendar_picture(CAMPAIGN)),
    "calendar-narrow-red": lambda _: calendar_figure(
        calendar_picture(CAMPAIGN), style="red", narrow=True
    ),
}


def minor() -> str:
    return ".".join(matplotlib.__version__.split(".")[:2])


def pixels(data: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"), dtype=float)


def difference(figure, name: str) -> float:
    """Root mean square difference between a figure and the kept picture of that name."""
    drawn, kept = pixels(figure_bytes(figure, dpi=DPI)), pixels((KEPT / f"{name}.png").read_bytes())
    assert drawn.shape == kept.shape
    return float(np.sqrt(np.mean((drawn - kept) ** 2)))


@pytest.fixture
def same_version() -> None:
    if os.environ.get("NIGHTPLAN_NEW_PICTURES"):
        return
    kept = VERSION.read_text(encoding="utf-8").strip()
    if kept != minor():
        pytest.skip(f"pictures were kept with matplotlib {kept}; this is {minor()}")


@pytest.mark.usefixtures("same_version")
@pytest.mark.parametrize("name", PICTURES)
def test_picture_is_as_kept(name, picture):
    figure = PICTURES[name](picture)
    if os.environ.get("NIGHTPLAN_NEW_PICTURES"):
        KEPT.mkdir(exist_ok=True)
        (KEPT / f"{name}.png").write_bytes(figure_bytes(figure, dpi=DPI))
        VERSION.write_text(minor() + "\n", encoding="utf-8")
        pytest.skip("drawn anew: look at it before you keep it")
    assert difference(figure, name) <= TOLERANCE


@pytest.mark.usefixtures("same_version")
def test_a_moved_block_is_noticed(picture):
    night = picture()
    late = replace(night.blocks[0], start_utc_mjd=night.blocks[0].start_utc_mjd + 10.0 / 1440.0)
    moved = replace(night, blocks=(late, *night.blocks[1:]))
    assert difference(night_figure(moved), "night-wide-day") > 2.0 * TOLERANCE
