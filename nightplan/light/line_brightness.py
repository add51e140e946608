"""How bright nebulae shine in their lines: remembered figures, else what is typical of the kind.

Ratios are in photons and were set from the ranges in Osterbrock & Ferland 2006 (Astrophysics of
Gaseous Nebulae, 2nd ed., ch. 4 and 12), remembered; every output labels a typical value.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from nightplan.light.photometry import PHOTONS_PER_RAYLEIGH, Floats

LINE_NAMES = ("H-beta", "O III 495.9", "O III", "N II 654.8", "H-alpha", "N II", "S II", "S II b")
LINE_NM = np.array([486.13, 495.89, 500.68, 654.80, 656.28, 658.34, 671.64, 673.08])
"""Wavelengths in air, nm (NIST ASD values, rounded)."""

CLASS_DEFAULT = "typical of its kind"

H_ALPHA_PHOTON_ERG = 3.0268e-12
"""Energy of one photon of 656.28 nm: h c / λ."""


@dataclass(frozen=True)
class LineClass:
    """Typical line light of one kind: H-alpha in rayleighs, other lines over H-alpha (photons).

    `h_alpha_rayleigh` holds at `at_arcmin` and goes with (diameter / `at_arcmin`)^-`falls`, from
    there on upwards, or on both sides where `rises`. `s_ii` is both lines of the doublet.
    H-alpha lies within a factor of `spread` either way for three of four listed nebulae.
    """

    h_alpha_rayleigh: float
    o_iii: float
    n_ii: float
    s_ii: float
    spread: float
    at_arcmin: float = 60.0
    falls: float = 0.0
    rises: bool = False


# H-alpha / H-beta in photons: 2.86 (case B) × 656.3/486.1 = 3.86, with a little reddening 4.6.
_H_BETA = 1.0 / 4.6
# Fixed by transition probabilities (Storey & Zeippen 2000, MNRAS 312, 813): 2.98 and 3.05.
_O_III_WEAK = 1.0 / 2.98
_N_II_WEAK = 1.0 / 3.05
# Low-density limit of the S II doublet, 671.6/673.1 = 1.4 (Osterbrock & Ferland 2006, ch. 5).
_S_II_FIRST = 1.4 / 2.4

# A planetary nebula fades as it grows: the slope is that of the figures in line_brightness.csv
# (the surface brightness and radius relation of Frew et al. 2016, MNRAS 455, 1459, has a steeper
# one in parsecs). The sizes of large H II regions count faint envelopes in. Those listed are the
# bright ones of their kind, so the typical value lies below their mean.
CLASSES = {
    "emission_nebula": LineClass(80.0, 0.20, 0.35, 0.25, 7.0, at_arcmin=60.0, falls=0.3),
    "cluster_with_nebula": LineClass(80.0, 0.20, 0.35, 0.25, 7.0, at_arcmin=60.0, falls=0.3),
    "supernova_remnant": LineClass(25.0, 0.50, 0.80, 0.80, 8.0),
    "planetary_nebula": LineClass(800.0, 2.0, 0.5, 0.05, 6.0, at_arcmin=2.0, falls=2.2, rises=True),
    "other": LineClass(15.0, 0.20, 0.35, 0.25, 6.0),
}
WITHOUT_O_III = 0.05
WITHOUT_S_II = 0.10
WITHOUT_H_ALPHA = 0.20
"""The line over H-alpha (H-alpha over O III) where a target's lines are known without it."""

SMALLEST_ARCMIN = 0.15
"""No class is brighter than at this diameter: of smaller planetaries the list has none."""


@dataclass(frozen=True)
class PublishedLight:
    """One row of line_brightness.csv; rayleighs, log10 erg/s/cm², photon ratio, mag/arcsec²."""

    source: str
    h_alpha: float | None
    log_flux: float | None
    o_iii: float | None
    o_iii_ratio: float | None
    s_ii: float | None
    n_ii: float | None
    continuum_v: float | None

    @property
    def label(self) -> str:
        """How a figure of this row is labelled."""
        return f"remembered: {self.source}"

    def h_alpha_rayleigh(self, area_arcmin2: float | None) -> float | None:
        """Mean H-alpha in rayleighs; a flux is spread over the area, which it needs."""
        if self.h_alpha is not None or self.log_flux is None or not area_arcmin2:
            return self.h_alpha
        photons = 10.0**self.log_flux / H_ALPHA_PHOTON_ERG
        return photons / (area_arcmin2 * 3600.0) / PHOTONS_PER_RAYLEIGH


@cache
def published_lines() -> dict[str, PublishedLight]:
    """Rows of line_brightness.csv by name of target."""
    table: dict[str, PublishedLight] = {}
    path = Path(__file__).parent / "data" / "line_brightness.csv"
    with path.open(encoding="utf-8") as stream:
        for row in csv.DictReader(line for line in stream if not line.startswith("#")):
            names, source = row.pop("name").split(";"), row.pop("source")
            figures = {key: float(value) if value else None for key, value in row.items()}
            table |= dict.fromkeys(names, PublishedLight(source=source, **figures))
    return table


def published_light(names: Sequence[str]) -> PublishedLight | None:
    """The first row of line_brightness.csv that goes by any of a target's names."""
    table = published_lines()
    return next((table[name] for name in names if name in table), None)


def class_label(kind: str) -> str:
    """How a typical value of a kind is labelled, with its spread."""
    return f"{CLASS_DEFAULT}, ×{CLASSES[kind].spread:g} either way: {kind.replace('_', ' ')}"


def class_h_alpha_rayleigh(kind: str, area_arcmin2: float | None) -> float:
    """Typical mean H-alpha of a kind, rayleighs; of a target without size, at `at_arcmin`."""
    typical = CLASSES[kind]
    if not area_arcmin2 or not typical.falls:
        return typical.h_alpha_rayleigh
    diameter = max(math.sqrt(area_arcmin2 * 4.0 / math.pi), SMALLEST_ARCMIN)
    if not typical.rises:
        diameter = max(diameter, typical.at_arcmin)
    return typical.h_alpha_rayleigh * (diameter / typical.at_arcmin) ** -typical.falls


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
    kind: str,
    names: Sequence[str],
    known_lines: Sequence[str] = (),
    area_arcmin2: float | None = None,
) -> tuple[Floats, tuple[str, ...]] | None:
    """Rayleighs above the air of each line, shape (8,), and where each comes from.

    None for a kind that has no line light of its own (see `CLASSES`) unless the target is known
    for lines; a cluster with nebula that is known for none shines by reflection. Listed figures
    go by any of `names`; ratios they lack are the kind's, lowered for lines that the target is
    not known for. `area_arcmin2` is that of the outline. A field of several (``"M 8 + M 20"``) has
    the mean of those members that are listed.
    """
    of_members = _mean_of_members(kind, names, known_lines)
    if of_members is not None:
        return of_members
    if kind == "cluster_with_nebula" and not known_lines:
        return None
    if kind not in CLASSES and not known_lines:
        return None
    kind = kind if kind in CLASSES else "emission_nebula"
    o_iii, n_ii, s_ii, h_alpha = _typical(kind, known_lines, area_arcmin2)
    listed = published_light(names)
    measured = None if listed is None else listed.h_alpha_rayleigh(area_arcmin2)
    label = class_label(kind)
    if listed is None or measured is None:
        rayleigh = line_rayleigh(h_alpha, h_alpha * o_iii, h_alpha * n_ii, h_alpha * s_ii)
        return rayleigh, (label,) * LINE_NM.size
    by_ratio = f"{CLASS_DEFAULT} over H-alpha, {listed.label}"
    own = {
        "o_iii": listed.o_iii if listed.o_iii_ratio is None else measured * listed.o_iii_ratio,
        "n_ii": listed.n_ii,
        "s_ii": listed.s_ii,
    }
    typical = {"o_iii": o_iii, "n_ii": n_ii, "s_ii": s_ii}
    source = {key: by_ratio if value is None else listed.label for key, value in own.items()}
    value = {key: measured * typical[key] if own[key] is None else own[key] for key in own}
    rayleigh = line_rayleigh(measured, **value)  # type: ignore[arg-type]
    return rayleigh, (
        by_ratio, source["o_iii"], source["o_iii"], source["n_ii"], listed.label, source["n_ii"],
        source["s_ii"], source["s_ii"],
    )  # fmt: skip


def _mean_of_members(
    kind: str, names: Sequence[str], known_lines: Sequence[str]
) -> tuple[Floats, tuple[str, ...]] | None:
    """`nebula_lines` of a field of several, by its listed members; None where none is."""
    members = names[0].split(" + ") if names else []
    table = published_lines()
    listed = [name for name in members if name in table and table[name].h_alpha is not None]
    if len(members) < 2 or not listed:
        return None
    found = [one for name in listed if (one := nebula_lines(kind, [name], known_lines)) is not None]
    rayleigh = np.array([own for own, _ in found])
    # Each line is labelled by the member that is brightest in it.
    brightest = rayleigh.argmax(axis=0)
    label = tuple(found[member][1][line] for line, member in enumerate(brightest))
    return rayleigh.mean(axis=0), label


def _typical(
    kind: str, known_lines: Sequence[str], area_arcmin2: float | None
) -> tuple[float, float, float, float]:
    """Ratios of O III, N II and S II to H-alpha, and H-alpha in rayleighs, of one kind."""
    default = CLASSES[kind]
    o_iii, n_ii, s_ii = default.o_iii, default.n_ii, default.s_ii
    h_alpha = class_h_alpha_rayleigh(kind, area_arcmin2)
    if known_lines:
        s_ii = s_ii if "S II" in known_lines else min(s_ii, WITHOUT_S_II)
        if "O III" not in known_lines:
            o_iii = min(o_iii, WITHOUT_O_III)
        elif "H-alpha" not in known_lines:
            h_alpha, o_iii = h_alpha * o_iii * WITHOUT_H_ALPHA, 1.0 / WITHOUT_H_ALPHA
        elif known_lines[0] == "O III":
            # named first: the brightest line
            o_iii = max(o_iii, 1.0)
    return o_iii, n_ii, s_ii, h_alpha
