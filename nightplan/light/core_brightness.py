"""How bright the core of a target is where it outshines the mean many times."""

from __future__ import annotations

import csv
from dataclasses import replace
from functools import cache
from pathlib import Path

from nightplan.light.line_brightness import LINE_NAMES
from nightplan.light.photometry import PHOTONS_PER_RAYLEIGH
from nightplan.light.source_brightness import Source, TargetFacts

PLANETARY_PEAK = 2.0
"""Brightest part of a planetary nebula over its mean (from memory, within a factor of 2)."""

_H_ALPHA, _O_III = LINE_NAMES.index("H-alpha"), LINE_NAMES.index("O III")
_WITH_H_ALPHA = [i for i, name in enumerate(LINE_NAMES) if not name.startswith("O III")]
_WITH_O_III = [i for i, name in enumerate(LINE_NAMES) if name.startswith("O III")]


@cache
def known_cores() -> dict[str, tuple[dict[str, float], str]]:
    """Brightness of cores by name of target (`v`, `h_alpha`, `o_iii`), and its source."""
    path = Path(__file__).parent / "data" / "core_brightness.csv"
    table: dict[str, tuple[dict[str, float], str]] = {}
    with path.open(encoding="utf-8") as stream:
        for row in csv.DictReader(line for line in stream if not line.startswith("#")):
            name, source = row.pop("name"), row.pop("source")
            table[name] = ({key: float(value) for key, value in row.items() if value}, source)
    return table


def core_source(facts: TargetFacts, mean: Source) -> Source | None:
    """The light of a target's core, described as its mean is; None where none is known.

    Lines of a core keep the mean's ratios to H-alpha, but for O III, which is known apart. A
    planetary nebula is taken `PLANETARY_PEAK` times brighter than its mean.
    """
    table = known_cores()
    found = next((table[name] for name in facts.names if name in table), None)
    if found is None:
        if facts.kind != "planetary_nebula":
            return None
        label = tuple(f"{PLANETARY_PEAK:g} × mean: {one}" for one in mean.line_sources)
        return replace(mean, line_rate=PLANETARY_PEAK * mean.line_rate, line_sources=label)
    figures, label_text = found
    rate = mean.line_rate.copy()
    if "h_alpha" in figures and rate[_H_ALPHA] > 0.0:
        core = figures["h_alpha"] * PHOTONS_PER_RAYLEIGH
        rate[_WITH_H_ALPHA] *= core / rate[_H_ALPHA]
    if "o_iii" in figures and rate[_O_III] > 0.0:
        rate[_WITH_O_III] *= figures["o_iii"] * PHOTONS_PER_RAYLEIGH / rate[_O_III]
    return replace(
        mean,
        v_mag=figures.get("v", mean.v_mag),
        line_rate=rate,
        continuum_source=label_text,
        line_sources=(label_text,) * len(mean.line_sources),
    )
