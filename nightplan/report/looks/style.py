"""How every picture is made: settings of a style, new figures, and the one way to save them.

Nothing here changes matplotlib's global settings for longer than a ``with`` block, and no
figure goes through pyplot, so a caller's own plots are left alone.
"""

from __future__ import annotations

import io
import os
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nightplan.errors import FileError
from nightplan.files import write_whole
from nightplan.report.looks.palettes import palette

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_CYCLE = ("first", "target", "second", "third", "faint")


def settings(style: str = "day") -> dict[str, Any]:
    """The matplotlib settings of a style, as a plain dictionary.

    Raises InputError (`style` is none of `STYLES`).
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

    The user's own matplotlib settings are put aside within the block and are back after it. Raises
    InputError (`style` is none of `STYLES`).
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

    Raises FileError (the ending is another one).
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

    Raises FileError (the ending is another one, or the file cannot be written).
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
