"""Colours by meaning, one set a style, and how each filter, train and target is told apart.

Day colours are those of Okabe & Ito 2008 ("Color Universal Design"), which stay apart for
colour-blind readers. The red style lights the red channel only, so that eyes stay dark-adapted.
No fact is told by colour alone: each filter has its own label, line and hatch.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from nightplan.errors import InputError
from nightplan.model.filter_roles import ROLES
from nightplan.report.looks.contrast import ink_on

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


def palette(style: str = "day") -> Mapping[str, str]:
    """Colours by meaning of one style. Raises InputError (`style` is none of `STYLES`)."""
    if style not in PALETTES:
        raise InputError("picture", "style", style, "one of " + ", ".join(STYLES))
    return PALETTES[style]


def filter_look(role: str, style: str = "day") -> FilterLook:
    """How filters of `role` (see `nightplan.model.filter_roles.Role`) are drawn.

    Raises InputError (`style` or `role` is unknown).
    """
    colours = palette(style)
    if role not in ROLES:
        raise InputError("picture", "role", role, "one of " + ", ".join(ROLES))
    own = ROLES[role]
    colour = own.colours[STYLES.index(style)]
    line_colour = {"red": colours["second"], "print": colours["ink"]}.get(style, colour)
    on_colour = colours["ink"] if style in ("red", "print") else ink_on(colour)
    return FilterLook(own.label, colour, line_colour, own.line, own.hatch, own.marker, on_colour)


_PRINT_AREAS: Mapping[str, str] = {
    "first": "#FFFFFF",
    "target": "#C0C0C0",
    "second": "#808080",
    "third": "#E2E2E2",
    "sun": "#A0A0A0",
    "ghost": "#606060",
}


def area_colour(colours: Mapping[str, str], name: str) -> str:
    """A palette's colour of that name for an area: of the red style as dim as filters' fills, of
    the print style a grey of its own."""
    if colours is PALETTES["print"]:
        return _PRINT_AREAS.get(name, colours[name])
    if colours is PALETTES["red"]:
        return f"#{min(int(colours[name][1:3], 16), 0x60):02X}0000"
    return colours[name]
