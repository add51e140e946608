"""How bright nebulae shine in their lines: published figures, else a default of their class.

Ratios are in photons and were set from the ranges in Osterbrock & Ferland 2006 (Astrophysics of
Gaseous Nebulae, 2nd ed., ch. 4 and 12), from memory: class values are right within a factor of
two to three, and every output labels them.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from nightplan.light.photometry import Floats

LINE_NAMES = ("H-beta", "O III 495.9", "O III", "N II 654.8", "H-alpha", "N II", "S II", "S II b")
LINE_NM = np.array([486.13, 495.89, 500.68, 654.80, 656.28, 658.34, 671.64, 673.08])
"""Wavelengths in air, nm (NIST ASD values, rounded)."""

CLASS_DEFAULT = "class default"


@dataclass(frozen=True)
class LineClass:
    """Typical line light of one kind: H-alpha in rayleighs, other lines over H-alpha (photons).

    `s_ii` is both lines of the doublet.
    """

    h_alpha_rayleigh: float
    o_iii: float
    n_ii: float
    s_ii: float


# H-alpha / H-beta in photons: 2.86 (case B) × 656.3/486.1 = 3.86, with a little reddening 4.6.
_H_BETA = 1.0 / 4.6
# Fixed by transition probabilities (Storey & Zeippen 2000, MNRAS 312, 813): 2.98 and 3.05.
_O_III_WEAK = 1.0 / 2.98
_N_II_WEAK = 1.0 / 3.05
# Low-density limit of the S II doublet, 671.6/673.1 = 1.4 (Osterbrock & Ferland 2006, ch. 5).
_S_II_FIRST = 1.4 / 2.4

CLASSES = {
    "emission_nebula": LineClass(60.0, 0.20, 0.35, 0.25),
    "cluster_with_nebula": LineClass(60.0, 0.20, 0.35, 0.25),
    "supernova_remnant": LineClass(40.0, 0.80, 0.80, 0.80),
    "planetary_nebula": LineClass(600.0, 2.20, 0.50, 0.05),
    "other": LineClass(15.0, 0.20, 0.35, 0.25),
}
WITHOUT_O_III = 0.05
WITHOUT_S_II = 0.10
"""The line over H-alpha where the target is known for its lines and it is not among them."""


@cache
def published_lines() -> dict[str, tuple[dict[str, float], str]]:
    """Line brightness in rayleighs by name of target, and its source."""
    table: dict[str, tuple[dict[str, float], str]] = {}
    path = Path(__file__).parent / "data" / "line_brightness.csv"
    with path.open(encoding="utf-8") as stream:
        for row in csv.DictReader(line for line in stream if not line.startswith("#")):
            source = row.pop("source")
            name = row.pop("name")
            table[name] = ({key: float(value) for key, value in row.items() if value}, source)
    return table


def line_rayleigh(h_alpha: float, o_iii: float, n_ii: float, s_ii: float) -> Floats:
    """Rayleighs of every line of `LINE_NM`, shape (8,), from four figures in rayleighs."""
    return np.array([
        h_alpha * _H_BETA,
        o_iii * _O_III_WEAK,
        o_iii,
        n_ii * _N_II_WEAK,
        h_alpha,
        n_ii,
        s_ii * _S_II_FIRST,
        s_ii * (1.0 - _S_II_FIRST),
    ])  # fmt: skip


def nebula_lines(
    kind: str, names: Sequence[str], known_lines: Sequence[str] = ()
) -> tuple[Floats, tuple[str, ...]] | None:
    """Rayleighs above the air of each line, shape (8,), and where each comes from.

    None for a kind that has no line light of its own (see `CLASSES`) unless the target is known
    for lines; a cluster with nebula that is known for none shines by reflection. Published figures
    go by any of `names`; ratios they lack are the class's, lowered for lines that the target is
    not known for.
    """
    if kind == "cluster_with_nebula" and not known_lines:
        return None
    label_kind = kind if kind in CLASSES else "emission_nebula"
    default = CLASSES.get(kind)
    if default is None:
        if not known_lines:
            return None
        default = CLASSES[label_kind]
    o_iii, s_ii, h_alpha = default.o_iii, default.s_ii, default.h_alpha_rayleigh
    if known_lines:
        o_iii = o_iii if "O III" in known_lines else min(o_iii, WITHOUT_O_III)
        s_ii = s_ii if "S II" in known_lines else min(s_ii, WITHOUT_S_II)
        if "H-alpha" not in known_lines and "O III" in known_lines:
            h_alpha, o_iii = o_iii * h_alpha, 1.0
    table = published_lines()
    for name in names:
        if name in table:
            found, source = table[name]
            h_alpha = found["h_alpha"]
            label = f"published, from memory: {source}"
            by_ratio = f"{CLASS_DEFAULT} ratio to H-alpha, {label}"
            own = {key: label if key in found else by_ratio for key in ("o_iii", "n_ii", "s_ii")}
            rayleigh = line_rayleigh(
                h_alpha,
                found.get("o_iii", h_alpha * o_iii),
                found.get("n_ii", h_alpha * default.n_ii),
                found.get("s_ii", h_alpha * s_ii),
            )
            return rayleigh, (
                by_ratio, own["o_iii"], own["o_iii"], own["n_ii"], label, own["n_ii"],
                own["s_ii"], own["s_ii"],
            )  # fmt: skip
    rayleigh = line_rayleigh(h_alpha, h_alpha * o_iii, h_alpha * default.n_ii, h_alpha * s_ii)
    return rayleigh, (f"{CLASS_DEFAULT}: {label_kind}",) * LINE_NM.size
