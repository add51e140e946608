"""How bright a target is taken to be: the figures behind its rates, each with its source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from nightplan.light.line_brightness import LINE_NAMES
from nightplan.light.photometry import PHOTONS_PER_RAYLEIGH
from nightplan.light.source_brightness import target_source
from nightplan.model.filter_roles import ROLES
from nightplan.planning.photons.photon_budget import target_facts

if TYPE_CHECKING:
    from nightplan.model.target import Target


@dataclass(frozen=True)
class TargetBrightness:
    """Mean brightness above the air over the outline, as the rates take it.

    Attributes
    ----------
    continuum_v_mag : float
        V mag/arcsec² of the continuum.
    continuum_source : str
    line_rayleigh : mapping of str to float
        By filter role, for the lines that the target is known to shine in, rayleighs; S II is
        both lines of its doublet.
    line_sources : mapping of str to str
        By filter role.
    """

    continuum_v_mag: float
    continuum_source: str
    line_rayleigh: Mapping[str, float]
    line_sources: Mapping[str, str]

    @property
    def leading_line(self) -> str | None:
        """Role of the brightest line; None for a target of continuum."""
        lines = self.line_rayleigh
        return max(lines, key=lines.__getitem__) if lines else None

    @property
    def source(self) -> str:
        """Source of the brightest line, or of the continuum without any."""
        line = self.leading_line
        return self.continuum_source if line is None else self.line_sources[line]


def target_brightness(target: Target) -> TargetBrightness:
    """The brightness that the rates take a target to have."""
    facts = target_facts(target)
    source = target_source(facts)
    # a galaxy's lines are a share of its continuum and say nothing of their own
    roles = () if target.kind in {"galaxy", "galaxy_group"} else facts.lines
    line_rayleigh, line_sources = {}, {}
    for role in roles:
        columns = [LINE_NAMES.index(name) for name in ROLES[role].lights]
        line_rayleigh[role] = float(source.line_rate[columns].sum()) / PHOTONS_PER_RAYLEIGH
        line_sources[role] = source.line_sources[columns[0]]
    return TargetBrightness(source.v_mag, source.continuum_source, line_rayleigh, line_sources)
