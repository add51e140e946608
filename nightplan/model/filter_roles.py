"""The roles that a filter can have, each with all that the program knows of it.

A new role is one more entry here: its class (broad, or narrow for one line), with that how dark it
has to be and which moon it bears, what it is for in a picture, the names that headers give it, the
passband of its usual filter, and how it is drawn. No other module lists roles.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

Purpose = Literal[
    "detail", "colour", "star_colour", "hydrogen", "oxygen", "sulphur", "h_ii_regions", "goal"
]


@dataclass(frozen=True)
class FilterRole:
    """One role.

    Attributes
    ----------
    label : str
        Short name, of pictures, of first answers and, for a broad role, of recipes.
    purpose : str
        What a picture takes it for.
    moon : str
        Its key under `preferences.moon_distance`.
    spellings : tuple of str
        Names in headers, plain lower-case letters and digits (common practice, no source).
    usual_nm : (float, float)
        Centre and width of the usual filter; that for a line lies a little to its red, for beams
        that converge.
    line, hatch, marker
        How curves, areas and points of it are drawn, as matplotlib takes them.
    colours : tuple of str
        Of its areas in the day, dark, red and print style. The red fills are dim, for a bright
        area is what spoils dark adaptation; hatches and lines on them are bright.
    line_nm : float or None
        Wavelength in air of the line it is cut for (NIST ASD values, rounded); None for a broad
        role, whose filters ask for `preferences.dark_broadband`.
    lights : tuple of str
        The lines of `nightplan.light.line_brightness` that are meant by it.
    """

    label: str
    purpose: Purpose
    moon: str
    spellings: tuple[str, ...]
    usual_nm: tuple[float, float]
    line: Any
    hatch: str
    marker: str
    colours: tuple[str, str, str, str]
    line_nm: float | None = None
    lights: tuple[str, ...] = ()

    @property
    def is_narrow(self) -> bool:
        """Whether its filters are cut for one emission line."""
        return self.line_nm is not None


ROLES: dict[str, FilterRole] = {
    "luminance": FilterRole(
        "L", "detail", "broadband_deg",
        ("l", "lum", "lumi", "luminance", "clear", "clr", "uvir", "uvircut", "ircut"),
        (550.0, 300.0), "-", "", "o", ("#8A8A8A", "#D5D5D5", "#600000", "#FFFFFF"),
    ),
    "red": FilterRole(
        "R", "colour", "broadband_deg", ("r", "red"),
        (640.0, 100.0), (0, (6, 2)), "//", "s", ("#D55E00", "#FF8A3C", "#300000", "#C6C6C6"),
    ),
    "green": FilterRole(
        "G", "colour", "broadband_deg", ("g", "green"),
        (535.0, 80.0), (0, (2, 1.5)), "\\\\", "^", ("#009E73", "#2BC79A", "#480000", "#AAAAAA"),
    ),
    "blue": FilterRole(
        "B", "colour", "broadband_deg", ("b", "blue"),
        (450.0, 100.0), (0, (8, 2, 1.5, 2)), "xx", "v",
        ("#0072B2", "#56A8F0", "#240000", "#8E8E8E"),
    ),
    "H-alpha": FilterRole(
        "Ha", "hydrogen", "h_alpha_deg", ("ha", "halpha", "hydrogenalpha", "h", "ha656"),
        (656.4, 5.0), (0, (4, 1)), "..", "D", ("#CC79A7", "#E39CC4", "#540000", "#F1F1F1"),
        656.28, ("H-alpha",),
    ),
    "O III": FilterRole(
        "OIII", "oxygen", "o_iii_deg",
        ("oiii", "o3", "o", "oxygen", "oxygeniii", "oiii501", "oiii500"),
        (500.9, 5.0), (0, (1, 1)), "||", "P", ("#56B4E9", "#8FD0F5", "#2C0000", "#D4D4D4"),
        500.68, ("O III",),
    ),
    "S II": FilterRole(
        "SII", "sulphur", "s_ii_deg",
        ("sii", "s2", "s", "sulfur", "sulphur", "sulfurii", "sulphurii", "sii672"),
        (671.9, 5.0), (0, (5, 1, 1, 1)), "--", "X", ("#E69F00", "#F5BE4A", "#3C0000", "#B8B8B8"),
        671.64, ("S II", "S II b"),
    ),
}  # fmt: skip
"""By name, in the order in which lists show them."""

if TYPE_CHECKING:
    Role = str
else:
    Role = Literal[tuple(ROLES)]


def broad_roles() -> tuple[str, ...]:
    """Roles for a wide band."""
    return tuple(name for name, role in ROLES.items() if not role.is_narrow)


def narrow_roles() -> tuple[str, ...]:
    """Roles for one line."""
    return tuple(name for name, role in ROLES.items() if role.is_narrow)
