"""One plate solution: how the camera lies on the sky, read from a FITS header or its text."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from nightplan.errors import FileError
from nightplan.files import read_bytes
from nightplan.journal.fits_cards import (
    number,
    pier_side,
    rotator_deg,
    rows_top_down,
    start_utc_mjd,
)
from nightplan.journal.fits_header import Value, read_fits_header
from nightplan.sky.wcs_angle import orientation_at, terms_from_cards

MOST_TEXT_BYTES = 1_000_000


@dataclass(frozen=True)
class PlateSolution:
    """Place, angle and parity at the image's centre (ICRS).

    `mirrored` is the parity of the FITS axes; `optics_mirrored` that of the light, which differs
    where the header says that rows run from the top down. The field is given as full sides in
    its tangent plane, radians. What the header says of the moment (UTC MJD), the rotator's reading
    and the side of the pier is none where it says nothing.
    """

    file: str
    ra_deg: float
    dec_deg: float
    image_up_angle_deg: float
    mirrored: bool
    optics_mirrored: bool
    width_px: int
    height_px: int
    scale_arcsec_px: float
    utc_mjd: float | None = None
    rotator_deg: float | None = None
    pier: Literal["east", "west"] | None = None

    @property
    def width_plane(self) -> float:
        """Full field along FITS axis 1, as a tangent."""
        return self.width_px * math.radians(self.scale_arcsec_px / 3600.0)

    @property
    def height_plane(self) -> float:
        """Full field along FITS axis 2, as a tangent."""
        return self.height_px * math.radians(self.scale_arcsec_px / 3600.0)


def read_solution(path: Path, sensor_px: tuple[int, int]) -> PlateSolution:
    """Read a solved FITS file, a header-only FITS file, or a header as text, one card a line.

    The image's size is NAXIS1 and NAXIS2; where the header has no image, IMAGEW and IMAGEH, which
    some solvers write (common practice, no source), else `sensor_px`. Raises FileError (the file
    cannot be read or is neither FITS nor a text of cards) and InputError (the header holds no
    celestial WCS that is understood; the card is named).
    """
    return solution_from_cards(_cards(path), str(path), sensor_px)


def solution_from_cards(
    cards: dict[str, Value], source: str, sensor_px: tuple[int, int]
) -> PlateSolution:
    """The same from a header's cards at hand; `source` names them in errors.

    Raises InputError (the cards hold no celestial WCS that is understood; the card is named).
    """
    terms = terms_from_cards(cards, source)
    width, height = _size(cards, sensor_px)
    found = orientation_at(terms, ((width + 1) / 2.0, (height + 1) / 2.0))
    return PlateSolution(
        file=source,
        ra_deg=found.ra_deg,
        dec_deg=found.dec_deg,
        image_up_angle_deg=found.image_up_angle_deg,
        mirrored=found.mirrored,
        optics_mirrored=found.mirrored != rows_top_down(cards),
        width_px=width,
        height_px=height,
        scale_arcsec_px=found.scale_arcsec_px,
        utc_mjd=start_utc_mjd(cards),
        rotator_deg=rotator_deg(cards),
        pier=pier_side(cards),
    )


def _cards(path: Path) -> dict[str, Value]:
    start = read_bytes(path, 9, cut=True)
    if start[:2] == b"\x1f\x8b" or start.startswith(b"SIMPLE  ="):
        try:
            return dict(read_fits_header(path).cards)
        except FileError as error:
            # A header that was saved as text may begin like a FITS file.
            if "header" not in str(error):
                raise
            return _text_cards(path)
    return _text_cards(path)


def _text_cards(path: Path) -> dict[str, Value]:
    from astropy.io import fits

    text = read_bytes(path, MOST_TEXT_BYTES, cut=True).decode("ascii", errors="replace")
    cards: dict[str, Value] = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for line in text.splitlines():
            if "=" not in line:
                continue
            try:
                card = fits.Card.fromstring(line[:80].ljust(80))
                keyword, value = card.keyword.upper(), card.value
            except Exception:
                continue
            if isinstance(value, str):
                cards[keyword] = value.strip()
            elif isinstance(value, (bool, int, float)):
                cards[keyword] = value
    if "CTYPE1" not in cards:
        raise FileError(path, "is neither a FITS file nor a FITS header as text with a WCS in it")
    return cards


def _size(cards: dict[str, Value], sensor_px: tuple[int, int]) -> tuple[int, int]:
    for first, second in (("NAXIS1", "NAXIS2"), ("IMAGEW", "IMAGEH")):
        width, height = number(cards.get(first)), number(cards.get(second))
        if width is not None and height is not None and min(width, height) >= 1.0:
            return int(width), int(height)
    return sensor_px
