"""Which way up a solved image lies: angle and parity at its centre, from its FITS WCS cards.

Formulas: Calabretta & Greisen 2002, A&A 395, 1077 ("Paper II"), and Greisen & Calabretta 2002,
A&A 395, 1061 ("Paper I"). Distortion polynomials: the SIP convention, Shupe et al. 2005,
ASPC 347, 491, eqs. 1 to 3.

The angle is taken at the image centre. At a CRVAL that lies elsewhere north has another
direction: meridians converge, by Δα·sin δ between two points of one image, which is degrees
for a wide field near the pole.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from nightplan.errors import InputError

PROJECTIONS = ("TAN", "SIN", "ARC", "STG", "ZEA")
"""Zenithal projections without parameters that are understood."""

HIGHEST_SIP_ORDER = 9

FINEST_ARCSEC_PX, COARSEST_ARCSEC_PX = 1e-3, 3600.0
"""Image scales that a camera may have; an all-sky lens has some 200 arcsec a pixel."""
_LARGEST_NUMBER = 1e12
"""Of any card; the products of larger ones overflow."""

Sip = tuple[tuple[int, int, float], ...]


@dataclass(frozen=True)
class WcsTerms:
    """The cards of a celestial WCS that matter, in one form.

    Attributes
    ----------
    crval_deg : (longitude, latitude) of the reference point, deg
    crpix : reference pixel on FITS axes 1 and 2, the first pixel's centre being 1
    cd : ((x by axis 1, x by axis 2), (y by axis 1, y by axis 2)), deg a pixel: x is the
        intermediate coordinate of the longitude axis whatever its number, y of the latitude axis
    lonpole_deg : native longitude of the celestial pole
    projection : one of `PROJECTIONS`
    sip_a, sip_b : (power of u, power of v, coefficient) terms added to u and v, pixels
    equinox_jyear : equinox of FK5 coordinates, Julian year; none for ICRS and J2000
    """

    crval_deg: tuple[float, float]
    crpix: tuple[float, float]
    cd: tuple[tuple[float, float], tuple[float, float]]
    lonpole_deg: float = 180.0
    projection: str = "TAN"
    sip_a: Sip = field(default=())
    sip_b: Sip = field(default=())
    equinox_jyear: float | None = None


@dataclass(frozen=True)
class Orientation:
    """How an image lies on the sky at one of its points (ICRS).

    `image_up_angle_deg` is the direction of rising FITS axis 2, north through east, from 0 to
    below 360. `mirrored` says that with north up, east is on the right: the cards' determinant
    is positive. `scale_arcsec_px` is the geometric mean of the two pixel sides there.
    """

    ra_deg: float
    dec_deg: float
    image_up_angle_deg: float
    mirrored: bool
    scale_arcsec_px: float


def orientation_at(terms: WcsTerms, pixel: tuple[float, float]) -> Orientation:
    """Angle and parity at a FITS pixel (the first pixel's centre is 1, 1).

    The directions are central differences of the pixel-to-sky function over ±1 pixel, projected
    on the local east and north; so one rule serves every projection and distortion.

    Raises
    ------
    InputError
        The pixel has no place on the sky under this projection, or the pixels there are no
        camera's.
    """
    steps = np.array([[0.0, 0.0], [1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
    with np.errstate(invalid="ignore"):
        places = pixel_to_unit(terms, np.asarray(pixel, dtype=float) + steps)
    if not np.all(np.isfinite(places)):
        raise InputError("plate solution", "image centre", pixel, "a pixel on the sky")
    here = places[0]
    along_1 = (places[1] - places[2]) / 2.0
    along_2 = (places[3] - places[4]) / 2.0
    ra = math.atan2(here[1], here[0])
    dec = math.atan2(here[2], math.hypot(here[0], here[1]))
    east = np.array([-math.sin(ra), math.cos(ra), 0.0])
    north = np.array([-math.sin(dec) * math.cos(ra), -math.sin(dec) * math.sin(ra), math.cos(dec)])
    up = math.degrees(math.atan2(along_2 @ east, along_2 @ north)) % 360.0
    # Seen from inside the sphere axis 1 must run clockwise from axis 2: area below zero.
    area = (along_1 @ east) * (along_2 @ north) - (along_1 @ north) * (along_2 @ east)
    scale_arcsec_px = math.degrees(math.sqrt(abs(area))) * 3600.0
    if not FINEST_ARCSEC_PX <= scale_arcsec_px <= COARSEST_ARCSEC_PX:
        accepted = f"{FINEST_ARCSEC_PX:g} to {COARSEST_ARCSEC_PX:g} arcsec a pixel"
        raise InputError("plate solution", "image scale", scale_arcsec_px, accepted)
    return Orientation(
        ra_deg=math.degrees(ra) % 360.0,
        dec_deg=math.degrees(dec),
        image_up_angle_deg=0.0 if up >= 360.0 else up,
        mirrored=bool(area > 0.0),
        scale_arcsec_px=scale_arcsec_px,
    )


def pixel_to_unit(terms: WcsTerms, pixels: NDArray[np.float64]) -> NDArray[np.float64]:
    """Unit vectors, shape (..., 3), of FITS pixels, shape (..., 2); NaN off the projection.

    Paper I eq. 9 (linear part), Paper II eqs. 14 and 15 (native polar coordinates), section 5.1
    (the projection) and eq. 2 (native to celestial).
    """
    u = pixels[..., 0] - terms.crpix[0]
    v = pixels[..., 1] - terms.crpix[1]
    du = sum((c * u**p * v**q for p, q, c in terms.sip_a), np.zeros_like(u))
    dv = sum((c * u**p * v**q for p, q, c in terms.sip_b), np.zeros_like(v))
    u, v = u + du, v + dv
    (xx, xy), (yx, yy) = terms.cd
    x, y = xx * u + xy * v, yx * u + yy * v
    phi = np.arctan2(x, -y)
    theta = _native_latitude(np.radians(np.hypot(x, y)), terms.projection)
    turn = phi - math.radians(terms.lonpole_deg)
    lon0, lat0 = (math.radians(value) for value in terms.crval_deg)
    sin_t, cos_t = np.sin(theta), np.cos(theta)
    sin_p, cos_p = math.sin(lat0), math.cos(lat0)
    lon = lon0 + np.arctan2(-cos_t * np.sin(turn), sin_t * cos_p - cos_t * sin_p * np.cos(turn))
    z = sin_t * sin_p + cos_t * cos_p * np.cos(turn)
    # cos(latitude) from the other two components keeps all digits near the pole.
    rho = np.hypot(cos_t * np.sin(turn), sin_t * cos_p - cos_t * sin_p * np.cos(turn))
    unit = np.stack([rho * np.cos(lon), rho * np.sin(lon), z], axis=-1)
    if terms.equinox_jyear is not None:
        unit = unit @ _to_j2000(terms.equinox_jyear).T
    return unit


def _native_latitude(radius: NDArray[np.float64], projection: str) -> NDArray[np.float64]:
    """Native latitude, rad, from the radius, rad (Paper II section 5.1, each inverted)."""
    if projection == "TAN":
        return np.arctan2(1.0, radius)
    if projection == "STG":
        return math.pi / 2.0 - 2.0 * np.arctan(radius / 2.0)
    if projection == "SIN":
        return np.arccos(radius)
    if projection == "ARC":
        return math.pi / 2.0 - radius
    return math.pi / 2.0 - 2.0 * np.arcsin(radius / 2.0)


def _to_j2000(equinox_jyear: float) -> NDArray[np.float64]:
    """Rotation from the mean equator of a Julian year to J2000, IAU 1976 precession (FK5)."""
    import erfa

    matrix: NDArray[np.float64] = erfa.pmat76(2451545.0, (equinox_jyear - 2000.0) * 365.25)
    return matrix.T


def cd_from_crota(
    cdelt_deg: tuple[float, float], crota_deg: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """The matrix of the older CDELT and CROTA cards, deg a pixel (Paper II section 6.1)."""
    sin, cos = math.sin(math.radians(crota_deg)), math.cos(math.radians(crota_deg))
    return (
        (cdelt_deg[0] * cos, -cdelt_deg[1] * sin),
        (cdelt_deg[0] * sin, cdelt_deg[1] * cos),
    )


def terms_from_cards(cards: Mapping[str, Any], source: str) -> WcsTerms:
    """Read a celestial WCS of two axes from FITS cards in CD, PC or CDELT/CROTA form.

    Where a header has several forms at once, CD leads, then PC, then CROTA, as the FITS
    standard 4.0, section 8.1.2, ranks them.

    Parameters
    ----------
    cards : mapping of keyword to value
    source : str
        The file's name, for the error's text.

    Raises
    ------
    InputError
        A card is missing, is not a finite number, or names what is not understood; the message
        names the file, the card, its value and what is accepted.
    """
    reader = _Cards(cards, source)
    longitude = reader.axes()
    projection = reader.projection(longitude)
    latitude = 1 - longitude
    matrix = reader.matrix(latitude)
    cd = (matrix[longitude], matrix[latitude])
    if abs(cd[0][0] * cd[1][1] - cd[0][1] * cd[1][0]) < 1e-20:
        raise InputError(source, "CD matrix", matrix, "a matrix whose determinant is not 0")
    crval = (reader.number(f"CRVAL{longitude + 1}"), reader.number(f"CRVAL{latitude + 1}"))
    if not -90.0 <= crval[1] <= 90.0:
        raise InputError(source, f"CRVAL{latitude + 1}", crval[1], "a number from -90 to 90")
    return WcsTerms(
        crval_deg=crval,
        crpix=(reader.number("CRPIX1"), reader.number("CRPIX2")),
        cd=cd,
        lonpole_deg=reader.lonpole(longitude, crval[1]),
        projection=projection,
        sip_a=reader.sip("A"),
        sip_b=reader.sip("B"),
        equinox_jyear=reader.equinox(),
    )


class _Cards:
    """Cards read one at a time, each complaint naming the file and the card."""

    def __init__(self, cards: Mapping[str, Any], source: str) -> None:
        self.cards = cards
        self.source = source

    def number(self, key: str, default: float | None = None) -> float:
        value = self.cards.get(key, default)
        try:
            number = float(value)  # type: ignore[arg-type]
        except (TypeError, ValueError):
            number = math.nan
        if isinstance(value, bool) or not abs(number) <= _LARGEST_NUMBER:
            raise InputError(self.source, key, value, f"a number to {_LARGEST_NUMBER:g} either way")
        return number

    def axes(self) -> int:
        """Index of the longitude axis, 0 or 1."""
        heads = [str(self.cards.get(f"CTYPE{axis}", "")).upper()[:4] for axis in (1, 2)]
        if heads == ["RA--", "DEC-"]:
            return 0
        if heads == ["DEC-", "RA--"]:
            return 1
        raise InputError(
            self.source,
            "CTYPE1, CTYPE2",
            ", ".join(str(self.cards.get(f"CTYPE{axis}")) for axis in (1, 2)),
            "RA---TAN and DEC--TAN of a plate solution",
        )

    def projection(self, longitude: int) -> str:
        accepted = "a projection out of " + ", ".join(PROJECTIONS)
        codes = set()
        for axis in (1, 2):
            value = str(self.cards.get(f"CTYPE{axis}")).upper().strip()
            found = re.fullmatch(r"(?:RA--|DEC-)-([A-Z]{3})(?:-SIP)?", value)
            if found is None or found.group(1) not in PROJECTIONS:
                raise InputError(self.source, f"CTYPE{axis}", value, accepted)
            codes.add(found.group(1))
        if len(codes) > 1:
            raise InputError(self.source, "CTYPE1, CTYPE2", sorted(codes), "the same projection")
        for key in self.cards:
            found = re.fullmatch(r"PV([12])_(\d+)", str(key))
            if found is None or self.number(str(key)) == 0.0:
                continue
            axis, term = int(found.group(1)) - 1, int(found.group(2))
            # PVi_3 and PVi_4 of the longitude axis repeat LONPOLE and LATPOLE, PVi_2 is 90.
            if axis == longitude and (term in (3, 4) or (term == 2 and self.number(key) == 90.0)):
                continue
            raise InputError(
                self.source, str(key), self.cards[key], "a solution without PV terms (SIP is read)"
            )
        return codes.pop()

    def matrix(self, latitude: int) -> tuple[tuple[float, float], tuple[float, float]]:
        cells = ("1_1", "1_2", "2_1", "2_2")
        if any(f"CD{cell}" in self.cards for cell in cells):
            a, b, c, d = (self.number(f"CD{cell}", 0.0) for cell in cells)
            return (a, b), (c, d)
        if not any(key in self.cards for key in ("CDELT1", "CDELT2")):
            raise InputError(self.source, "CD1_1", None, "CD, PC or CDELT cards")
        cdelt = (self.number("CDELT1"), self.number("CDELT2"))
        if any(f"PC{cell}" in self.cards for cell in cells):
            units = (1.0, 0.0, 0.0, 1.0)
            a, b, c, d = (
                self.number(f"PC{cell}", unit) for cell, unit in zip(cells, units, strict=True)
            )
            return (cdelt[0] * a, cdelt[0] * b), (cdelt[1] * c, cdelt[1] * d)
        # CROTA belongs to the latitude axis; some writers fill in only the other one.
        other = self.number(f"CROTA{2 - latitude}", 0.0)
        crota = self.number(f"CROTA{latitude + 1}", other)
        return cd_from_crota(cdelt, crota)

    def lonpole(self, longitude: int, latitude_deg: float) -> float:
        default = 0.0 if latitude_deg >= 90.0 else 180.0
        repeated = self.number(f"PV{longitude + 1}_3", default)
        return self.number("LONPOLE", repeated)

    def sip(self, letter: str) -> Sip:
        if f"{letter}_ORDER" not in self.cards:
            return ()
        order = self.number(f"{letter}_ORDER")
        if order != int(order) or not 0 <= order <= HIGHEST_SIP_ORDER:
            raise InputError(
                self.source, f"{letter}_ORDER", order, f"a whole number to {HIGHEST_SIP_ORDER}"
            )
        found = []
        for p in range(int(order) + 1):
            for q in range(int(order) + 1 - p):
                value = self.number(f"{letter}_{p}_{q}", 0.0)
                if value != 0.0:
                    found.append((p, q, value))
        return tuple(found)

    def equinox(self) -> float | None:
        """The year to precess from, by the defaults of the FITS standard 4.0, section 8.3."""
        year = self.cards.get("EQUINOX", self.cards.get("EPOCH"))
        key = "EQUINOX" if "EQUINOX" in self.cards else "EPOCH"
        given = None if year is None else self.number(key)
        system = self.cards.get("RADESYS", self.cards.get("RADECSYS"))
        if system is None:
            system = "ICRS" if given is None else ("FK5" if given >= 1984.0 else "FK4")
        name = str(system).strip().upper()
        if name == "ICRS" or (name == "FK5" and given in (None, 2000.0)):
            return None
        if name == "FK5" and given is not None and 1900.0 <= given <= 2200.0:
            return given
        raise InputError(
            self.source, "RADESYS, EQUINOX", f"{name}, {given}", "ICRS, or FK5 of 1900 to 2200"
        )
