"""How every picture looks: colours by meaning, filter looks, and the one way to save a figure.

Nothing here changes matplotlib's global settings for longer than a ``with`` block, and no
figure goes through pyplot, so a caller's own plots are left alone.

Day colours are those of Okabe & Ito 2008 ("Color Universal Design"), which stay apart for
colour-blind readers. The red style lights the red channel only, so that eyes stay dark-adapted.
No fact is told by colour alone: each filter has its own label, line and hatch.
"""

from __future__ import annotations

import io
import os
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nightplan.errors import FileError, InputError
from nightplan.files import write_whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

OKABE_ITO: Mapping[str, str] = {
    "black": "#000000",
    "orange": "#E69F00",
    "sky blue": "#56B4E9",
    "bluish green": "#009E73",
    "yellow": "#F0E442",
    "blue": "#0072B2",
    "vermillion": "#D55E00",
    "reddish purple": "#CC79A7",
}

PALETTES: Mapping[str, Mapping[str, str]] = {
    "day": {
        "paper": "#FFFFFF",  # around the axes
        "panel": "#FFFFFF",  # inside the axes
        "ink": "#000000",  # text, frames, the main line
        "faint": "#5A5A5A",  # second-rank text
        "grid": "#CFCFCF",
        "star": "#1A1A1A",
        "target": "#D55E00",
        "first": "#0072B2",  # the chosen thing
        "second": "#009E73",  # the next best
        "third": "#CC79A7",
        "ghost": "#56B4E9",
        "warning": "#D55E00",
        "sun": "#E69F00",
        "moon": "#56B4E9",
        "civil": "#F3EBD3",  # sky shades, light to dark
        "nautical": "#DCE3EE",
        "astronomical": "#BAC6DB",
        "night": "#93A3C2",
        "obstacle": "#B8B0A6",
    },
    "dark": {
        "paper": "#10131A",
        "panel": "#161A23",
        "ink": "#F2F2F2",
        "faint": "#A9AFBB",
        "grid": "#39404F",
        "star": "#F4F1E6",
        "target": "#F0E442",
        "first": "#56B4E9",
        "second": "#2BC79A",
        "third": "#E39CC4",
        "ghost": "#7F93B2",
        "warning": "#FF8A3C",
        "sun": "#E69F00",
        "moon": "#9FD3F2",
        "civil": "#4A4638",
        "nautical": "#323A4C",
        "astronomical": "#222938",
        "night": "#161A23",
        "obstacle": "#4C463F",
    },
    "red": {
        "paper": "#000000",
        "panel": "#000000",
        "ink": "#FF0000",
        "faint": "#EC0000",  # the darkest red that can be read on black: 4.5 to 1
        "grid": "#500000",
        "star": "#D80000",
        "target": "#FF0000",
        "first": "#FF0000",
        "second": "#EC0000",
        "third": "#D80000",
        "ghost": "#A00000",
        "warning": "#FF0000",
        "sun": "#E00000",
        "moon": "#C00000",
        "civil": "#500000",
        "nautical": "#380000",
        "astronomical": "#240000",
        "night": "#000000",
        "obstacle": "#400000",
    },
    "print": {
        "paper": "#FFFFFF",
        "panel": "#FFFFFF",
        "ink": "#000000",
        "faint": "#404040",
        "grid": "#BFBFBF",
        "star": "#000000",
        "target": "#000000",
        "first": "#000000",
        "second": "#404040",
        "third": "#6A6A6A",
        "ghost": "#808080",
        "warning": "#000000",
        "sun": "#000000",
        "moon": "#606060",
        "civil": "#F2F2F2",
        "nautical": "#E0E0E0",
        "astronomical": "#CCCCCC",
        "night": "#B4B4B4",
        "obstacle": "#A0A0A0",
    },
}
"""Colours by meaning, one set a style. Every set has the same keys."""

TARGET_INKS: Mapping[str, tuple[str, ...]] = {
    "day": ("#000000", "#882255", "#332288", "#5B3A00", "#0B4A40"),
    "dark": ("#F2F2F2", "#FFF27A", "#B9A7FF", "#B4F08C", "#FFC9B0"),
    "red": ("#FF0000", "#FF0000", "#EC0000", "#EC0000", "#FF0000"),
    "print": ("#000000", "#000000", "#303030", "#303030", "#000000"),
}
"""Lines of planned targets, none of them a filter's colour; at least 3 to 1 on the night's blue
(W3C WCAG 2.2, success criterion 1.4.11). Markers and names tell them apart as well."""
OTHER_TARGET: Mapping[str, str] = {
    "day": "#5F6570",
    "dark": "#8D95A5",
    "red": "#C00000",
    "print": "#6A6A6A",
}
"""Lines of targets that are shown but not planned."""

STYLES: tuple[str, ...] = tuple(PALETTES)

TRAIN_LINES: tuple[Any, ...] = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 1.5, 2)))
"""Line styles that tell trains (or any short list) apart without colour."""


@dataclass(frozen=True)
class FilterLook:
    """How one kind of filter is drawn; `label` is the short text that goes with it.

    `colour` fills areas, `on_colour` is for text on such an area, `line_colour` for lines and
    markers on the panel.
    """

    label: str
    colour: str
    line_colour: str
    line: Any
    hatch: str
    marker: str
    on_colour: str


# role: label, line, hatch, marker, then colours for day, dark, red, print. The red fills are dim,
# for a bright area is what spoils dark adaptation; hatches and lines on them are bright.
_FILTERS: Mapping[str, tuple[str, Any, str, str, tuple[str, str, str, str]]] = {
    "luminance": ("L", "-", "", "o", ("#8A8A8A", "#D5D5D5", "#600000", "#FFFFFF")),
    "red": ("R", (0, (6, 2)), "//", "s", ("#D55E00", "#FF8A3C", "#300000", "#C6C6C6")),
    "green": ("G", (0, (2, 1.5)), "\\\\", "^", ("#009E73", "#2BC79A", "#480000", "#AAAAAA")),
    "blue": ("B", (0, (8, 2, 1.5, 2)), "xx", "v", ("#0072B2", "#56A8F0", "#240000", "#8E8E8E")),
    "H-alpha": ("Ha", (0, (4, 1)), "..", "D", ("#CC79A7", "#E39CC4", "#540000", "#F1F1F1")),
    "O III": ("OIII", (0, (1, 1)), "||", "P", ("#56B4E9", "#8FD0F5", "#2C0000", "#D4D4D4")),
    "S II": ("SII", (0, (5, 1, 1, 1)), "--", "X", ("#E69F00", "#F5BE4A", "#3C0000", "#B8B8B8")),
}


def palette(style: str = "day") -> Mapping[str, str]:
    """Colours by meaning of one style.

    Raises
    ------
    nightplan.errors.InputError
        `style` is none of `STYLES`.
    """
    if style not in PALETTES:
        raise InputError("picture", "style", style, "one of " + ", ".join(STYLES))
    return PALETTES[style]


def filter_look(role: str, style: str = "day") -> FilterLook:
    """How filters of `role` (see `nightplan.model.filters.Role`) are drawn.

    Raises
    ------
    nightplan.errors.InputError
        `style` or `role` is unknown.
    """
    colours = palette(style)
    if role not in _FILTERS:
        raise InputError("picture", "role", role, "one of " + ", ".join(_FILTERS))
    label, line, hatch, marker, by_style = _FILTERS[role]
    colour = by_style[STYLES.index(style)]
    line_colour = {"red": colours["second"], "print": colours["ink"]}.get(style, colour)
    on_colour = _on(colour, style, colours["ink"])
    return FilterLook(label, colour, line_colour, line, hatch, marker, on_colour)


def _on(colour: str, style: str, ink: str) -> str:
    """A text colour that can be read on `colour`."""
    if style in ("red", "print"):
        return ink
    red, green, blue = (int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return "#000000" if 0.299 * red + 0.587 * green + 0.114 * blue > 0.45 else "#FFFFFF"


def area_colour(colours: Mapping[str, str], name: str) -> str:
    """A palette's colour of that name for an area: of the red style as dim as filters' fills."""
    if colours is PALETTES["red"]:
        return f"#{min(int(colours[name][1:3], 16), 0x60):02X}0000"
    return colours[name]


_CYCLE = ("first", "target", "second", "third", "faint")


def settings(style: str = "day") -> dict[str, Any]:
    """The matplotlib settings of a style, as a plain dictionary.

    Raises
    ------
    nightplan.errors.InputError
        `style` is none of `STYLES`.
    """
    colours = palette(style)
    return {
        "figure.facecolor": colours["paper"],
        "figure.edgecolor": colours["paper"],
        "savefig.facecolor": "auto",
        "axes.facecolor": colours["panel"],
        "axes.edgecolor": colours["ink"],
        "axes.labelcolor": colours["ink"],
        "axes.titlecolor": colours["ink"],
        "axes.titlesize": 10.0,
        "axes.titleweight": "bold",
        "axes.labelsize": 9.0,
        "axes.linewidth": 0.8,
        "axes.unicode_minus": True,
        "text.color": colours["ink"],
        "text.usetex": False,
        # A name may hold dollar signs.
        "text.parse_math": False,
        # Outlined letters are never hinted: measured otherwise they would come out wider.
        "text.hinting": "none",
        "font.family": ["DejaVu Sans"],
        "font.size": 9.0,
        "xtick.color": colours["ink"],
        "ytick.color": colours["ink"],
        "xtick.labelsize": 8.0,
        "ytick.labelsize": 8.0,
        "axes.prop_cycle": f"cycler('color', {[colours[name] for name in _CYCLE]})",
        "grid.color": colours["grid"],
        "grid.linewidth": 0.5,
        "legend.facecolor": colours["panel"],
        "legend.edgecolor": colours["grid"],
        "legend.labelcolor": colours["ink"],
        "legend.fontsize": 8.0,
        "patch.edgecolor": colours["ink"],
        "hatch.color": colours["ink"],
        "hatch.linewidth": 0.6,
        "lines.color": colours["ink"],
        "lines.linewidth": 1.4,
        "svg.fonttype": "path",
        "svg.hashsalt": "nightplan",
        "pdf.fonttype": 42,
    }


@contextmanager
def styled(style: str = "day") -> Iterator[Mapping[str, str]]:
    """Make artists in `style` within the block; yields the style's `palette`.

    The user's own matplotlib settings are put aside within the block and are back after it.

    Raises
    ------
    nightplan.errors.InputError
        `style` is none of `STYLES`.
    """
    wanted = settings(style)
    import matplotlib

    everything: Any = {
        key: value
        for key, value in matplotlib.rcParamsDefault.items()
        if not key.startswith(_NOT_LOOKS)
    }
    everything.update(wanted)
    with matplotlib.rc_context(everything), warnings.catch_warnings():
        # Signs that the font lacks are written in ASCII when the picture is saved.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        yield palette(style)


# Settings of windows and of the running program rather than of a picture's look.
_NOT_LOOKS = (
    "animation",
    "backend",
    "date.epoch",
    "docstring",
    "figure.hooks",
    "figure.max_open",
    "interactive",
    "keymap",
    "macosx",
    "savefig.directory",
    "tk.",
    "toolbar",
    "webagg",
)


def new_figure(size_in: tuple[float, float] = (9.0, 6.0), style: str = "day") -> Figure:
    """An empty figure of `size_in` inches with an Agg canvas, outside pyplot's bookkeeping.

    Add axes and artists within ``with styled(style):``. Raises as `styled`.
    """
    with styled(style) as colours:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        figure = Figure(figsize=size_in, facecolor=colours["paper"])
        FigureCanvasAgg(figure)
        # Ticks are made only when drawn, so saving has to know the style as well.
        figure.nightplan_style = style  # type: ignore[attr-defined]
        return figure


_METADATA: Mapping[str, Mapping[str, str | None]] = {
    ".png": {"Software": None},
    ".svg": {"Date": None, "Creator": "nightplan"},
    ".pdf": {"CreationDate": None, "Creator": "nightplan", "Producer": None},
}


def picture_format(path: str | os.PathLike[str]) -> str:
    """The format that a file's ending asks for: ``"png"``, ``"svg"`` or ``"pdf"``.

    Raises
    ------
    nightplan.errors.FileError
        The ending is another one.
    """
    suffix = Path(path).suffix.lower()
    if suffix not in _METADATA:
        raise FileError(path, "a picture's name must end in .png, .svg or .pdf")
    return suffix[1:]


def figure_bytes(
    figure: Figure, kind: str = "png", dpi: float = 150.0, *, outlined: bool = True
) -> bytes:
    """The figure as a PNG, SVG or PDF; equal figures give equal bytes.

    `dpi` is the PNG's dots per inch, and that of images inside the other two. With `outlined`
    letters of an SVG are paths, the same everywhere; without they stay text.
    """
    import matplotlib

    draft = io.BytesIO()
    fonts: Any = {} if outlined else {"svg.fonttype": "none"}
    with styled(getattr(figure, "nightplan_style", "day")), matplotlib.rc_context(fonts):
        _write_missing_signs_in_ascii(figure)
        figure.savefig(
            draft,
            format=kind,
            dpi=dpi,
            facecolor=figure.get_facecolor(),
            metadata=dict(_METADATA["." + kind]),
            bbox_inches=None,
        )
    return draft.getvalue()


def _write_missing_signs_in_ascii(figure: Figure) -> None:
    from anyascii import anyascii
    from matplotlib.font_manager import FontProperties, findfont, get_font
    from matplotlib.text import Text

    drawn = {ord("\n"), *get_font(findfont(FontProperties(family=["DejaVu Sans"]))).get_charmap()}
    for text in figure.findobj(Text):
        words = text.get_text()
        if not words.isascii() and not drawn.issuperset(map(ord, words)):
            text.set_text("".join(s if ord(s) in drawn else anyascii(s) for s in words))


def save_figure(path: str | os.PathLike[str], figure: Figure, *, dpi: float = 150.0) -> None:
    """Write the figure whole or not at all; the ending (.png, .svg, .pdf) sets the format.

    Raises
    ------
    nightplan.errors.FileError
        The ending is another one, or the file cannot be written.
    """
    kind = picture_format(path)
    data = figure_bytes(figure, kind, dpi, outlined=False)
    write_whole(path, _readable_svg(data, figure) if kind == "svg" else data)


def _readable_svg(data: bytes, figure: Figure) -> bytes:
    """An SVG that says what it shows: text as text, with a title and a description (W3C SVG 2)."""
    from html import escape

    words = [text.get_text() for text in figure.texts]
    words += [axes.get_title() for axes in figure.axes]
    words = [" ".join(text.split()) for text in words if text.strip()]
    title = escape(words[0] if words else "nightplan")
    about = escape(" ".join(words[1:]))
    svg = data.decode("utf-8").replace("'DejaVu Sans'", "'DejaVu Sans', sans-serif")
    start = svg.index("<svg ")
    end = svg.index(">", start)
    head = f'{svg[start:end]} role="img" aria-labelledby="title about">'
    spoken = f'\n <title id="title">{title}</title>\n <desc id="about">{about}</desc>'
    return (svg[:start] + head + spoken + svg[end + 1 :]).encode("utf-8")
