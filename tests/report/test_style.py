"""The one style module: what it must never do to others, and what each style promises."""

from __future__ import annotations

import io

import numpy as np
import pytest

from nightplan.errors import FileError, InputError
from nightplan.model.filter_roles import ROLES
from nightplan.report.looks import palettes, style
from nightplan.report.looks.contrast import legible


def draw(name: str):
    figure = style.new_figure((4.0, 3.0), name)
    with style.styled(name) as colours:
        axes = figure.add_subplot()
        for row, role in enumerate(ROLES):
            look = palettes.filter_look(role, name)
            axes.barh(row, row + 1, color=look.colour, hatch=look.hatch, label=look.label)
            axes.text(0.2, row, look.label, color=look.on_colour)
            axes.plot(
                [0, 7], [row, row + 0.4], color=look.line_colour, ls=look.line, marker=look.marker
            )
        axes.axvspan(2, 3, color=colours["nautical"], alpha=0.5)
        axes.set_title("Sky")
        axes.grid(True)
        axes.legend()
    return figure


def pixels(figure) -> np.ndarray:
    from PIL import Image

    return np.asarray(Image.open(io.BytesIO(style.figure_bytes(figure))).convert("RGBA"))


def test_red_style_has_neither_green_nor_blue_light():
    shown = pixels(draw("red"))
    assert shown[..., 1].max() == 0
    assert shown[..., 2].max() == 0
    assert shown[..., 0].max() == 255
    assert shown[..., 3].min() == 255


def test_print_style_is_grey():
    shown = pixels(draw("print")).astype(int)
    assert np.abs(shown[..., 0] - shown[..., 1]).max() <= 1
    assert np.abs(shown[..., 0] - shown[..., 2]).max() <= 1


@pytest.mark.parametrize("name", palettes.STYLES)
def test_filters_differ_without_colour(name):
    looks = [palettes.filter_look(role, name) for role in ROLES]
    for field in ("label", "hatch", "marker"):
        assert len({getattr(look, field) for look in looks}) == len(ROLES)
    assert len({str(look.line) for look in looks}) == len(ROLES)


@pytest.mark.parametrize("name", palettes.STYLES)
def test_text_contrast(name):
    """WCAG 2.2, 1.4.3: 4.5 to 1 for text, also where it has the colour of a line."""

    def luminance(colour: str) -> float:
        parts = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
        linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
        return float(linear @ [0.2126, 0.7152, 0.0722])

    def contrast(one: str, other: str) -> float:
        light, dark = sorted((luminance(one), luminance(other)), reverse=True)
        return (light + 0.05) / (dark + 0.05)

    colours = palettes.palette(name)
    assert contrast(colours["ink"], colours["panel"]) >= 4.5
    assert contrast(colours["faint"], colours["panel"]) >= 4.5
    for colour in colours.values():
        text = legible(colour, colours["panel"])
        assert contrast(text, colours["panel"]) >= 4.5
        assert text == colour or contrast(colour, colours["panel"]) < 4.5
        assert name != "red" or text.endswith("0000")
    for role in ROLES:
        look = palettes.filter_look(role, name)
        assert contrast(look.line_colour, colours["panel"]) >= (1.5 if name == "day" else 2.5)
        assert contrast(look.on_colour, look.colour) >= 3.0


def test_palettes_have_the_same_keys():
    keys = set(palettes.PALETTES["day"])
    assert all(set(colours) == keys for colours in palettes.PALETTES.values())


def test_global_settings_are_left_alone():
    import matplotlib

    before = dict(matplotlib.rcParams)
    with pytest.raises(RuntimeError), style.styled("red"):
        raise RuntimeError
    pixels(draw("red"))
    assert dict(matplotlib.rcParams) == before


def test_a_users_own_settings_do_not_leak_in():
    import matplotlib

    plain = pixels(draw("day"))
    with matplotlib.rc_context({"axes.grid.axis": "x", "font.size": 30.0, "savefig.dpi": 20}):
        assert np.array_equal(plain, pixels(draw("day")))


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_equal_figures_give_equal_files(tmp_path, kind):
    one, other = tmp_path / f"one.{kind}", tmp_path / f"other.{kind.upper()}"
    style.save_figure(one, draw("day"))
    style.save_figure(other, draw("day"))
    assert one.read_bytes() == other.read_bytes()
    assert b"atplotlib" not in one.read_bytes() or kind != "png"


def test_other_endings_are_refused(tmp_path):
    with pytest.raises(FileError, match=r"\.png, \.svg or \.pdf"):
        style.save_figure(tmp_path / "chart.bmp", draw("day"))
    assert list(tmp_path.iterdir()) == []


def test_unknown_style_and_role():
    with pytest.raises(InputError, match="day, dark, red, print"):
        style.new_figure(style="neon")
    with pytest.raises(InputError, match="H-alpha"):
        palettes.filter_look("Ha")


def test_red_fills_are_dim():
    """A bright area spoils dark adaptation: no fill gives a sixth of the light that full red does.

    sRGB (IEC 61966-2-1): the light of a channel goes with the power 2.4 of its value.
    """
    for role in ROLES:
        value = int(palettes.filter_look(role, "red").colour[1:3], 16) / 255.0
        assert ((value + 0.055) / 1.055) ** 2.4 < 1.0 / 6.0
