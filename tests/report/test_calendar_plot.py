"""The campaign's calendar: days under their weekday, the moon's lit part, hours to scale."""

from __future__ import annotations

import datetime as dt
import io
import itertools

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from nightplan.errors import InputError
from nightplan.report.looks.palettes import STYLES
from nightplan.report.looks.style import figure_bytes, save_figure
from nightplan.report.plots.calendar_picture import calendar_picture
from nightplan.report.plots.calendar_plot import (
    BAR_HIGH,
    calendar_figure,
    disc_outline,
)


@pytest.fixture
def campaign():
    """An invented campaign over a month's end; 2027-09-30 is new moon (from memory)."""
    names = [None, "M 31", "M 31", "NGC 7000", "M 31", "IC 1805", None, "M 31", "NGC 7000"]
    nights = []
    for i, name in enumerate(names):
        date = dt.date(2027, 9, 27) + dt.timedelta(days=i)
        lit = (abs(i - 3) / 14.8) ** 2
        nights.append(
            {
                "date": date.isoformat(),
                "target": name,
                "train": None if name is None else "reducer",
                "hours": 0.0 if name is None else 4.0 + i,
                "moon_illuminated_fraction": round(lit, 3),
            }
        )
    finished = [
        {"target": "M 31", "expected_date": "2027-10-04", "chance": 0.71},
        {"target": "IC 1805", "expected_date": None, "chance": 0.2},
    ]
    return {"nights": nights, "finished": finished}


def place(axes, text):
    found = [item for item in axes.texts if item.get_text().startswith(text)]
    return [item.get_position() for item in found]


def test_days_stand_under_their_weekday(campaign):
    axes = calendar_figure(calendar_picture(campaign)).axes[0]
    for row in campaign["nights"]:
        date = dt.date.fromisoformat(row["date"])
        columns = [x for x, _ in place(axes, str(date.day)) if int(x) == date.weekday()]
        assert columns, date
    # 2027-10-04 is a Monday (proleptic Gregorian calendar, Python's datetime): the second week.
    assert (0, 1) in {(int(x), int(y)) for x, y in place(axes, "4")}


def test_bars_are_as_long_as_the_hours(campaign):
    from matplotlib.patches import Rectangle

    axes = calendar_figure(calendar_picture(campaign)).axes[0]
    bars = [p for p in axes.patches if isinstance(p, Rectangle) and p.get_height() == BAR_HIGH]
    outlines = [bar for bar in bars if not bar.get_fill()]
    hours = [row["hours"] for row in campaign["nights"] if row["hours"]]
    lengths = [bar.get_width() for bar in outlines]
    assert np.array(lengths) / max(lengths) == pytest.approx(np.array(hours) / max(hours))
    # 5 + 6 + 8 + 11 hours of M 31 are 30 in the key.
    hatches = {bar.get_hatch() for bar in bars if bar.get_fill()}
    assert len(hatches) == 3


@pytest.mark.parametrize("narrow", [False, True])
def test_words_say_it_too_and_fit(campaign, narrow):
    figure = calendar_figure(calendar_picture(campaign), narrow=narrow)
    figure.canvas.draw()
    renderer = FigureCanvasAgg(figure).get_renderer()
    words = " ".join(text.get_text() for text in figure.texts)
    assert "M 31: 4 nights, 30 h (reducer); done about 4 Oct, chance 71 %" in words
    assert "not done in these nights, chance 20 %" in words
    for text in itertools.chain(figure.texts, figure.axes[0].texts):
        box = text.get_window_extent(renderer)
        assert box.x0 >= -1.0
        assert box.x1 <= figure.bbox.x1 + 1.0, text.get_text()


@pytest.mark.parametrize("lit", [0.0, 0.1, 0.5, 0.8, 1.0])
@pytest.mark.parametrize("waxes", [True, False])
def test_lit_part_has_its_area_and_side(lit, waxes):
    x, y = disc_outline(lit, waxes, points=400).T
    area = 0.5 * abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    assert area / np.pi == pytest.approx(lit, abs=2e-4)
    if 0.0 < lit < 1.0:
        assert (np.abs(x.max()) > np.abs(x.min())) == waxes


def test_red_is_red_only(campaign):
    figure = calendar_figure(calendar_picture(campaign), style="red")
    pixels = np.asarray(Image.open(io.BytesIO(figure_bytes(figure, dpi=80.0))).convert("RGB"))
    assert pixels[..., 1:].max() == 0


def test_moon_from_a_table_of_its_own(campaign):
    lit = {row["date"]: row.pop("moon_illuminated_fraction") for row in campaign["nights"]}
    with_moon = calendar_picture(campaign, lit)
    assert [n.moon_illuminated_fraction for n in with_moon.nights] == list(lit.values())
    bare = calendar_figure(calendar_picture(campaign))
    assert len(bare.axes[0].patches) < len(calendar_figure(with_moon).axes[0].patches)


def test_files_and_bad_input(campaign, tmp_path):
    save_figure(tmp_path / "c.svg", calendar_figure(calendar_picture(campaign)))
    assert (tmp_path / "c.svg").read_bytes().startswith(b"<?xml")
    with pytest.raises(InputError, match="one night or more"):
        calendar_picture({"nights": []})


def test_several_targets_of_a_night_share_its_cell(campaign):

    from matplotlib.patches import Rectangle

    served = campaign["nights"][1]
    campaign["nights"].insert(2, {**served, "target": "M 33", "hours": 2.5})
    campaign["evenings"] = [
        {"date": "2027-09-28", "moon_illuminated_fraction": 0.02},
        {"date": "2027-10-06", "moon_illuminated_fraction": 0.3},
    ]
    picture = calendar_picture(campaign)
    assert len(picture.by_date) == 10  # nine of the rows, and one evening without work
    axes = calendar_figure(picture).axes[0]
    told = {text.get_text(): text.get_position() for text in axes.texts}
    (x, y), (below_x, below_y) = told["M 31 5.0 h"], told["M 33 2.5 h"]
    assert (int(x), int(y), int(below_x), int(below_y)) == (1, 0, 1, 0)
    assert y < below_y
    bars = [
        bar
        for bar in axes.patches
        if isinstance(bar, Rectangle) and bar.get_height() == BAR_HIGH and not bar.get_fill()
        and int(bar.get_x()) == 1 and int(bar.get_y()) == 0
    ]  # fmt: skip
    assert len(bars) == 2
    first, second = sorted(bars, key=lambda bar: bar.get_x())
    assert first.get_x() + first.get_width() == pytest.approx(second.get_x())
    assert first.get_width() / second.get_width() == pytest.approx(5.0 / 2.5)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("style", STYLES)
def test_no_words_touch_each_other_or_the_moon(campaign, style, narrow):
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    served = campaign["nights"][1]
    campaign["nights"].insert(2, {**served, "target": "NGC 7023 + LDN 1174", "hours": 2.5})
    for name in ("NGC 281", "M 33"):
        campaign["finished"].append({"target": name, "expected_date": served["date"], "chance": 1})
    figure = calendar_figure(calendar_picture(campaign), style=style, narrow=narrow)
    axes, renderer = figure.axes[0], FigureCanvasAgg(figure).get_renderer()
    words = [text.get_window_extent(renderer) for text in axes.texts]
    told = [text.get_text() for text in axes.texts]
    discs = [p.get_window_extent(renderer) for p in axes.patches if len(p.get_path()) > 20]
    assert len(discs) >= len(campaign["nights"]) - 1
    for i, one in enumerate(words):
        for other in (*words[:i], *discs):
            wide = min(one.x1, other.x1) - max(one.x0, other.x0)
            tall = min(one.y1, other.y1) - max(one.y0, other.y0)
            assert wide <= 0.0 or tall <= 2.0, told[i]  # letters have room in their boxes
