"""The moonless sky of a site: natural light and lamp light, from the site's one number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from nightplan.light.air_path import scattering_air_path
from nightplan.light.passband import Passband
from nightplan.light.photometry import Floats, nl_from_v_mag, v_mag_from_nl
from nightplan.light.spectra import (
    Spectrum,
    led_spectrum,
    natural_sky_spectrum,
    sodium_spectrum,
)

LampLight = Literal["natural", "led", "sodium", "mixed"]

NATURAL_V_MAG = 22.0
"""Zenith V of a sky without lamps, quiet sun: mean of 21.9 (La Palma, Benn & Ellison 1998) and
the darkest readings; Patat 2003 (A&A 400, 1183) has 21.6 at solar maximum."""

BORTLE_V_MAG = (21.85, 21.6, 21.4, 20.9, 20.0, 19.1, 18.5, 18.0, 17.5)
"""Zenith V mag/arcsec² for classes 1 to 9; see `bortle_v_mag`."""

BORTLE_SPREAD_MAG = (0.2, 0.2, 0.2, 0.4, 0.6, 0.5, 0.4, 0.4, 0.5)
"""How far, either way, a measured sky of each class may be from `BORTLE_V_MAG`."""


def bortle_v_mag(bortle_class: int) -> tuple[float, float]:
    """Zenith V mag/arcsec² of a Bortle class 1 to 9, and its spread either way.

    Bortle 2001 (Sky & Telescope, Feb.) gives what the eye sees and no brightness; the mapping is
    common practice, no source, and classes overlap. Measure the sky if you can.

    Raises
    ------
    ValueError
        The class is not 1 to 9.
    """
    if not 1 <= bortle_class <= 9:
        raise ValueError("a Bortle class from 1 to 9")
    return BORTLE_V_MAG[bortle_class - 1], BORTLE_SPREAD_MAG[bortle_class - 1]


@dataclass(frozen=True)
class DarkSky:
    """Zenith brightness in V, nL, as measured at the ground, by origin."""

    natural_nl: float
    led_nl: float
    sodium_nl: float

    @property
    def total_nl(self) -> float:
        """All of it, nL."""
        return self.natural_nl + self.led_nl + self.sodium_nl

    @property
    def zenith_v_mag(self) -> float:
        """V mag/arcsec² at the zenith."""
        return float(v_mag_from_nl(self.total_nl))

    def parts(self) -> tuple[tuple[float, Spectrum], ...]:
        """(nL in V, spectrum at V = 0) of each part that is there."""
        every = (
            (self.natural_nl, natural_sky_spectrum()),
            (self.led_nl, led_spectrum()),
            (self.sodium_nl, sodium_spectrum()),
        )
        return tuple((share, spectrum) for share, spectrum in every if share > 0.0)

    def density_at(self, wavelength_nm: Floats) -> Floats:
        """Continuum photons/s/cm²/nm/arcsec² at the zenith, shape of `wavelength_nm`."""
        density = np.zeros_like(wavelength_nm)
        for share_nl, spectrum in self.parts():
            density += spectrum.density_at(wavelength_nm) * v_zero_per_nl() * share_nl
        return density

    def zenith_rate(self, passband: Passband) -> float:
        """Photons/s/cm²/arcsec² at the zenith through a passband, lines included."""
        return sum(
            passband.rate(spectrum) * v_zero_per_nl() * share_nl
            for share_nl, spectrum in self.parts()
        )


def v_zero_per_nl() -> float:
    """One nL as a share of V = 0 mag/arcsec² (K&S 1991, eq. 1)."""
    return 1.0 / float(nl_from_v_mag(0.0))


def site_dark_sky(zenith_v_mag: float, lamp_light: LampLight = "mixed") -> DarkSky:
    """Split a site's zenith brightness into natural and lamp light.

    What exceeds the natural V = 22.0 is lamp light of the site's kind; `mixed` is LED and sodium
    in equal parts of V light (ours). A sky darker than 22.0, or `natural` lamp light, is all
    natural.
    """
    total = float(nl_from_v_mag(zenith_v_mag))
    natural = total
    if lamp_light != "natural":
        natural = min(total, float(nl_from_v_mag(NATURAL_V_MAG)))
    lamps = total - natural
    led_share = {"natural": 0.0, "led": 1.0, "sodium": 0.0, "mixed": 0.5}[lamp_light]
    return DarkSky(natural, lamps * led_share, lamps * (1.0 - led_share))


def brightening(altitude_deg: npt.ArrayLike, extinction_mag_airmass: npt.ArrayLike) -> Floats:
    """Dark sky at an altitude over the zenith: 10^(−0.4 k (X − 1)) X (K&S 1991, eq. 2).

    X is eq. 3 of the paper; shapes broadcast. Made for airglow; lamp light is treated alike,
    ours: over open country it rises about as fast, toward a town much faster (Garstang 1989,
    PASP 101, 306), which one zenith number cannot tell.
    """
    path = scattering_air_path(altitude_deg)
    return np.asarray(path * 10.0 ** (-0.4 * np.asarray(extinction_mag_airmass) * (path - 1.0)))


def dark_v_nl(altitude_deg: npt.ArrayLike, zenith_nl: float, extinction_v: float) -> Floats:
    """Moonless sky in V at an altitude, nL (K&S 1991, eq. 2); shape of `altitude_deg`."""
    return zenith_nl * brightening(altitude_deg, extinction_v)
