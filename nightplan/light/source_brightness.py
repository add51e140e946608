"""What a target sends down, through any filter: continuum of a known colour plus lines.

One description serves every filter: a broadband filter sees a nebula's lines that fall in it, a
narrow one the continuum of a galaxy and the lines that leak (N II beside H-alpha).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from nightplan.light.doppler import doppler_factor
from nightplan.light.line_brightness import (
    CLASS_DEFAULT,
    LINE_NM,
    nebula_lines,
    published_light,
)
from nightplan.light.passband import Passband, line_transmission
from nightplan.light.photometry import PHOTONS_PER_RAYLEIGH, Floats
from nightplan.light.spectra import REFERENCE_NM, Spectrum, solar_spectrum, v_band_rate, v_zero_rate

OWN_SOURCE = "configuration"
"""How a brightness that the imager gave is labelled; it counts for every kind of target."""


@dataclass(frozen=True)
class ContinuumClass:
    """Typical continuum of one kind.

    `v_mag` is the mean V surface brightness; the spectrum is sunlight × (λ/550 nm)^`reddening`;
    `b_minus_v` turns a B figure into V. Three of four known ones lie within a factor of `spread`
    either way of the typical value; None where no list is there to check it by.
    """

    v_mag: float
    reddening: float
    b_minus_v: float
    from_catalogue: bool
    spread: float | None = None


# Galaxies and globular clusters: the middle of the catalogue's own figures, and the factor that
# three of four of them keep; reflection nebulae: the same of those in line_brightness.csv
# (tests/light/test_source_brightness.py). The rest from memory: dust in moonless exposures 24 and
# fainter. Power of λ: 0 is the sun's B - V 0.65.
CONTINUA = {
    "galaxy": ContinuumClass(22.5, 0.5, 0.8, True, spread=2.5),
    "galaxy_group": ContinuumClass(23.0, 0.5, 0.8, True, spread=4.0),
    "emission_nebula": ContinuumClass(25.0, 0.0, 0.5, False),
    "cluster_with_nebula": ContinuumClass(24.5, 0.0, 0.5, False),
    "reflection_nebula": ContinuumClass(22.8, -1.5, 0.2, False, spread=4.0),
    "dark_nebula": ContinuumClass(24.8, 0.7, 0.9, False),
    "planetary_nebula": ContinuumClass(27.0, 0.0, 0.5, False),
    "supernova_remnant": ContinuumClass(26.5, 0.0, 0.5, False),
    "open_cluster": ContinuumClass(22.0, -1.0, 0.3, True),
    "globular_cluster": ContinuumClass(21.6, 0.2, 0.7, True, spread=4.0),
    "star_field": ContinuumClass(22.8, 0.2, 0.8, False),
    "other": ContinuumClass(24.5, 0.2, 0.7, True),
}

# Dust far from its star is faint: magnitudes per decade of diameter beyond `FADES_FROM_ARCMIN`,
# remembered: 22 for the Iris (17'), 24.6 for the Witch Head (2°), 26 for dust lit by the Galaxy.
# A wide cluster of galaxies is mostly the sky between them.
FADING = {"reflection_nebula": 1.8, "galaxy_group": 1.5}
FADES_FROM_ARCMIN = 8.0

# Equivalent widths of a spiral's lines, nm (H-alpha + N II: Kennicutt 1998, ARA&A 36, 189, fig. 3,
# from memory), shared over `LINE_NM`.
GALAXY_EW_NM = np.array([0.3, 0.1, 0.3, 0.13, 1.2, 0.4, 0.25, 0.2])


@dataclass(frozen=True)
class TargetFacts:
    """What the catalogue knows of one target's light; None for what it does not."""

    kind: str
    names: tuple[str, ...]
    lines: tuple[str, ...] = ()
    surface_brightness: float | None = None
    surface_band: str = ""
    surface_source: str = ""
    magnitude: float | None = None
    magnitude_band: str = "V"
    major_arcmin: float | None = None
    minor_arcmin: float | None = None
    radial_velocity_km_s: float | None = None

    @property
    def area_arcmin2(self) -> float | None:
        """Area of the ellipse; None without a size."""
        if self.major_arcmin is None:
            return None
        return np.pi / 4.0 * self.major_arcmin * (self.minor_arcmin or self.major_arcmin)


@dataclass(frozen=True)
class Source:
    """Light of one target above the air, mean over its outline, at rest.

    The continuum is sunlight × (λ/550 nm)^`reddening` of mean surface brightness `v_mag`;
    `line_rate` has shape (8,), photons/s/cm²/arcsec² at `LINE_NM`, and `line_sources` tells for
    each where it comes from.
    """

    v_mag: float
    reddening: float
    line_rate: Floats
    continuum_source: str
    line_sources: tuple[str, ...]
    radial_velocity_km_s: float


@cache
def reddened_sunlight(power: float) -> Spectrum:
    """Sunlight × (λ/550 nm)^power, scaled to V = 0."""
    sun = solar_spectrum()
    density = sun.density * (sun.wavelength_nm / REFERENCE_NM) ** power
    tilted = Spectrum(
        f"sunlight, power {power:g}", sun.wavelength_nm, density, sun.line_nm, sun.line_rate
    )
    return tilted.scaled(v_zero_rate() / v_band_rate(tilted))


def mean_surface_brightness(magnitude: float, major_arcmin: float, minor_arcmin: float) -> float:
    """mag/arcsec² of a total magnitude spread over an ellipse of full axes in arcminutes."""
    area_arcsec2 = np.pi / 4.0 * major_arcmin * minor_arcmin * 3600.0
    return float(magnitude + 2.5 * np.log10(area_arcsec2))


def target_source(facts: TargetFacts) -> Source:
    """Describe one target's light; what the catalogue lacks is its class's default, labelled.

    A catalogue brightness counts as continuum for galaxies and clusters. For nebulae it is mostly
    that of the stars inside, and is left aside; theirs is by line (`nebula_lines`).
    """
    kind = facts.kind
    if kind == "cluster_with_nebula" and not facts.lines:
        kind = "reflection_nebula"
    shape = CONTINUA.get(kind, CONTINUA["other"])
    v_mag = shape.v_mag
    if facts.area_arcmin2 and kind in FADING:
        diameter = np.sqrt(facts.area_arcmin2 * 4.0 / np.pi)
        v_mag += FADING[kind] * max(0.0, float(np.log10(diameter / FADES_FROM_ARCMIN)))
    continuum_source = _class_label(kind, shape.spread)
    catalogue = _catalogue_v_mag(facts, shape.b_minus_v)
    own_measure = facts.surface_brightness is not None and facts.surface_source == OWN_SOURCE
    listed = published_light(facts.names)
    if catalogue is not None and (shape.from_catalogue or own_measure):
        v_mag, continuum_source = catalogue
    elif listed is not None and listed.continuum_v is not None:
        v_mag, continuum_source = listed.continuum_v, listed.label
    nebula = nebula_lines(facts.kind, facts.names, facts.lines, facts.area_arcmin2)
    if facts.kind in {"galaxy", "galaxy_group"}:
        spectrum = reddened_sunlight(shape.reddening)
        at_lines = spectrum.density_at(LINE_NM) * 10.0 ** (-0.4 * v_mag)
        line_rate = at_lines * GALAXY_EW_NM
        line_sources = (f"{CLASS_DEFAULT}: equivalent widths of a spiral",) * LINE_NM.size
    elif nebula is None:
        line_rate, line_sources = np.zeros(LINE_NM.size), (continuum_source,) * LINE_NM.size
    else:
        rayleigh, line_sources = nebula
        line_rate = rayleigh * PHOTONS_PER_RAYLEIGH
    return Source(
        v_mag,
        shape.reddening,
        line_rate,
        continuum_source,
        line_sources,
        facts.radial_velocity_km_s or 0.0,
    )


def _class_label(kind: str, spread: float | None) -> str:
    """How a typical continuum of a kind is labelled."""
    within = "by an unknown factor" if spread is None else f"×{spread:g} either way"
    return f"{CLASS_DEFAULT}, {within}: {kind.replace('_', ' ')}"


def _catalogue_v_mag(facts: TargetFacts, b_minus_v: float) -> tuple[float, str] | None:
    if facts.surface_brightness is not None:
        to_v = b_minus_v if facts.surface_band == "B" else 0.0
        source = facts.surface_source or "surface brightness"
        label = source if source == OWN_SOURCE else f"catalogue: {source}"
        return facts.surface_brightness - to_v, label
    if facts.magnitude is None or facts.major_arcmin is None:
        return None
    minor = facts.minor_arcmin or facts.major_arcmin
    mean = mean_surface_brightness(facts.magnitude, facts.major_arcmin, minor)
    to_v = b_minus_v if facts.magnitude_band == "B" else 0.0
    return mean - to_v, "catalogue: magnitude over area"


def source_rates(sources: Sequence[Source], passbands: Sequence[Passband]) -> tuple[Floats, Floats]:
    """Photons/s/cm²/arcsec² above the air by continuum and by lines, each of shape (T, F).

    Lines are moved by each target's radial velocity (relativistic Doppler formula); the continuum
    is not.
    """
    v_mag = np.array([source.v_mag for source in sources], dtype=float)
    powers = np.array([source.reddening for source in sources], dtype=float)
    kinds, which = np.unique(powers, return_inverse=True)
    per_zero = np.array(
        [[band.rate(reddened_sunlight(float(power))) for band in passbands] for power in kinds]
    ).reshape(kinds.size, len(passbands))
    continuum = per_zero[which] * 10.0 ** (-0.4 * v_mag)[:, None]

    velocity = np.array([source.radial_velocity_km_s for source in sources])
    seen_nm = LINE_NM * doppler_factor(velocity)[:, None]
    rate = np.array([source.line_rate for source in sources]).reshape(-1, LINE_NM.size)
    lines = np.stack([np.sum(rate * band.at(seen_nm), axis=1) for band in passbands], axis=1)
    return continuum, lines


def brightness_label(
    source: Source, passband: Passband, continuum_rate: float, line_rate: float
) -> str:
    """Where most of the light in one filter comes from: the continuum, or its brightest line."""
    if line_rate <= continuum_rate:
        return source.continuum_source
    passed = line_transmission(passband, LINE_NM, source.radial_velocity_km_s)
    return source.line_sources[int(np.argmax(source.line_rate * passed))]
