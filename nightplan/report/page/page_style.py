"""Colours of the HTML pages, and the files of templates, styles and scripts."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Literal

from nightplan.report.looks.palettes import filter_look

SheetStyle = Literal["day", "red", "print"]
SHEET_STYLES: tuple[SheetStyle, ...] = ("day", "red", "print")

SHEET_COLOURS: Mapping[str, Mapping[str, str]] = {
    "day": {
        "paper": "#ffffff",
        "ink": "#14161a",
        "faint": "#4b515c",
        "line": "#8b929e",
        "panel": "#eef1f5",
    },
    # Only the red channel is lit. Anything that must be read keeps 4.5 to 1 on black, which
    # pure red just allows (5.25 to 1); ranks are told by weight and size instead.
    "red": {
        "paper": "#000000",
        "ink": "#ff0000",
        "faint": "#f40000",
        "line": "#b80000",
        "panel": "#180000",
    },
    "print": {
        "paper": "#ffffff",
        "ink": "#000000",
        "faint": "#333333",
        "line": "#777777",
        "panel": "#eeeeee",
    },
}
"""Colours by meaning: text in `ink` and `faint` stands on `paper` and `panel`."""

_BLACK_ON_WHITE = {**SHEET_COLOURS["print"], "paper": "transparent", "panel": "transparent"}

PAPER_COLOURS: Mapping[str, Mapping[str, str]] = {
    "day": _BLACK_ON_WHITE,
    "print": _BLACK_ON_WHITE,
    "red": _BLACK_ON_WHITE,
}
"""What each style turns into on paper; backgrounds are the paper's own."""

_HATCHES = {
    "": "",
    "/": "h-right",
    "\\": "h-left",
    "x": "h-cross",
    ".": "h-dots",
    "|": "h-upright",
    "-": "h-level",
    "+": "h-grid",
}
"""Pattern of the page by what a plot's hatch is made of."""


@dataclass(frozen=True)
class SheetLook:
    """A filter's colour and hatch as CSS; `css_class` goes on the element it fills."""

    colour: str
    hatch_colour: str
    css_class: str


def sheet_looks(roles: Iterable[str], style: SheetStyle) -> dict[str, SheetLook]:
    """Looks by role, in the order given, after those of the plots."""
    looks: dict[str, SheetLook] = {}
    for role in roles:
        if role in looks:
            continue
        look = filter_look(role, style)
        number = len(looks)
        css_class = f"f{number} {_HATCHES[look.hatch[:1]]}".strip()
        looks[role] = SheetLook(look.colour.lower(), look.on_colour.lower(), css_class)
    return looks


def page_file(name: str) -> str:
    """Text of a file in ``nightplan/report/page``."""
    return files("nightplan.report.page").joinpath(name).read_text(encoding="utf-8")


def script_hash(script: str) -> str:
    """The source expression that lets a page run this script and no other (W3C CSP Level 3)."""
    digest = hashlib.sha256(script.encode("utf-8")).digest()
    return "sha256-" + base64.b64encode(digest).decode("ascii")


def json_for_html(value: Any) -> str:
    """JSON that cannot close its ``<script>`` element."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
