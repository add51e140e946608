"""How bright a guide star may be before it clips."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from nightplan.light.photometry import ab_photon_density
from nightplan.light.throughput import collecting_area_cm2
from nightplan.planning.optics.train_optics import train_optics

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.guider import Guider

SHORTEST_EXPOSURE_S = 0.5
"""Shorter guide exposures chase the seeing: common practice, no source."""

_G_MIDDLE_NM = 640.0
_G_WIDTH_NM = 420.0
"""Gaia G as a box: mean wavelength and width (Jordi et al. 2010, A&A 523, A48; from memory)."""
_EFFICIENCY = 0.6
"""Electrons per photon of a guide camera over that band: common practice, no source."""
_ARCSEC_PER_RADIAN = math.degrees(1.0) * 3600.0


def peak_electrons(config: Config, guider: Guider, train: str, g_mag: float) -> float:
    """Electrons/s in the brightest pixel of a star of Gaia G, centred on it.

    A Gaussian of the site's seeing (FWHM F) puts erf(√(ln 2) p/F)² of its light into a pixel of
    side p under its middle. G counts as AB, which is right within 0.1 mag for a sun-like star.
    """
    optics = train_optics(config, train)
    focal_mm, area_cm2 = optics.focal_length_mm, optics.clear_area_cm2
    if guider.kind == "guide_scope":
        focal_mm, area_cm2 = guider.focal_length_mm, collecting_area_cm2(guider.aperture_mm)
    pixel_arcsec = guider.fitted_sensor.pixel_um * 1e-3 / focal_mm * _ARCSEC_PER_RADIAN
    share = math.erf(math.sqrt(math.log(2.0)) * pixel_arcsec / optics.seeing_arcsec) ** 2
    photons = float(ab_photon_density(_G_MIDDLE_NM, g_mag)) * _G_WIDTH_NM * area_cm2
    transmission = config.optics.transmission * config.train[train].transmission
    return photons * transmission * _EFFICIENCY * share


def clipping_exposure_s(config: Config, guider: Guider, train: str, g_mag: float) -> float:
    """Exposure in which a star fills the fitted guide sensor's full well, s."""
    return guider.fitted_sensor.full_well_e / peak_electrons(config, guider, train, g_mag)


def bright_limit_mag(config: Config, guider: Guider, train: str) -> float:
    """Brightest star that guides, Gaia G: `bright_limit_magnitude`, or else computed.

    Computed, it is the star that clips in half a second, or in `exposure_s` where that is less.
    """
    if guider.bright_limit_magnitude is not None:
        return guider.bright_limit_magnitude
    shortest_s = min(SHORTEST_EXPOSURE_S, guider.exposure_s)
    clips = peak_electrons(config, guider, train, 0.0) * shortest_s
    return 2.5 * math.log10(clips / guider.fitted_sensor.full_well_e)
