"""What the cards of an exposure say, in this program's words.

DATE-OBS, EXPTIME, OBJECT and the celestial cards are of the FITS standard 4.0; FILTER, IMAGETYP,
FOCALLEN, XPIXSZ, XBINNING, GAIN, CCD-TEMP, OBJCTRA, OBJCTDEC, RA, DEC, ROWORDER, ROTATANG,
PIERSIDE, STARCNT, FWHM and HFR are common practice, no source. Every reader gives none for a card
that is missing or makes no sense.
"""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Mapping
from typing import Literal

from nightplan.journal.fits_header import Value
from nightplan.sky.times import mjd_from_datetime

FrameKind = Literal["light", "flat", "dark", "flat_dark", "bias"]
Cards = Mapping[str, Value]

EARLIEST_YEAR, LATEST_YEAR = 1980, 2199
LONGEST_EXPOSURE_S = 86_400.0
MOST_READING_DEG = 1440.0
_EARLIEST_MJD, _LATEST_MJD = (
    mjd_from_datetime(datetime.datetime(year, 1, 1, tzinfo=datetime.UTC))
    for year in (EARLIEST_YEAR, LATEST_YEAR + 1)
)

_KINDS: tuple[tuple[FrameKind, frozenset[str]], ...] = (
    ("flat_dark", frozenset({"flatdark", "darkflat"})),
    ("light", frozenset({"light", "object", "science", "lights", "sci", "target"})),
    ("flat", frozenset({"flat", "skyflat", "twilightflat", "domeflat", "flatfield", "flats",
                        "panelflat", "flatlight"})),
    ("dark", frozenset({"dark", "darks", "darkcurrent"})),
    ("bias", frozenset({"bias", "zero", "offset", "biases"})),
)  # fmt: skip


def frame_kind(cards: Cards) -> FrameKind | None:
    """What IMAGETYP (or FRAME, OBSTYPE) calls the exposure; none if it names no known kind."""
    text = _first_text(cards, "IMAGETYP", "IMAGETYPE", "FRAME", "OBSTYPE")
    word = re.sub(r"[^a-z]", "", text.casefold())
    word = re.sub(r"(frame|image|exposure|exp|field)s?$", "", word) or word
    for kind, spellings in _KINDS:
        if word in spellings:
            return kind
    return None


def kind_text(cards: Cards) -> str:
    """IMAGETYP as it stands in the header."""
    return _first_text(cards, "IMAGETYP", "IMAGETYPE", "FRAME", "OBSTYPE")


def is_stack(cards: Cards) -> bool:
    """Whether the file is made of several exposures, so that none of them must count again."""
    text = kind_text(cards).casefold()
    if "master" in text or "stack" in text or "integration" in text:
        return True
    combined = max(_first_number(cards, "NCOMBINE") or 0.0, _first_number(cards, "STACKCNT") or 0.0)
    return combined > 1.0


def start_utc_mjd(cards: Cards) -> float | None:
    """UTC as MJD when the shutter opened (FITS standard 4.0, section 9.1 and 9.5).

    Reads DATE-OBS as ISO 8601 or in the old form DD/MM/YY, which means 19YY, with the clock in
    TIME-OBS, UTSTART or UT where DATE-OBS has none; without a DATE-OBS, the standard's DATE-BEG,
    MJD-BEG or MJD-OBS.
    """
    if _first_text(cards, "TIMESYS").upper() not in ("", "UTC", "UT", "GMT"):
        return None
    date = _first_text(cards, "DATE-OBS", "DATE_OBS", "DATE-BEG")
    if not date and "DATE-OBS" not in cards:
        mjd = _first_number(cards, "MJD-BEG", "MJD-OBS")
        return mjd if mjd is not None and _EARLIEST_MJD <= mjd < _LATEST_MJD else None
    old = re.fullmatch(r"(\d\d)/(\d\d)/(\d\d)", date)
    if old is not None:
        date = f"19{old.group(3)}-{old.group(2)}-{old.group(1)}"
    if re.fullmatch(r"\d{4}-\d\d-\d\d", date):
        date = f"{date}T{_first_text(cards, 'TIME-OBS', 'UTSTART', 'UT', 'UTC')}"
    found = re.fullmatch(
        r"(\d{4}-\d\d-\d\d)[T ](\d\d):(\d\d):(\d\d(?:\.\d*)?)\s*(?:Z|\+00:?00)?", date
    )
    return None if found is None else _mjd(*found.groups())


def _mjd(day: str, hours: str, minutes: str, seconds: str) -> float | None:
    try:
        midnight = datetime.datetime.fromisoformat(day).replace(tzinfo=datetime.UTC)
    except ValueError:
        return None
    sound = int(hours) <= 23 and int(minutes) <= 59 and float(seconds) < 61.0
    if not sound or not EARLIEST_YEAR <= midnight.year <= LATEST_YEAR:
        return None
    rest_s = int(hours) * 3600 + int(minutes) * 60 + float(seconds)
    return mjd_from_datetime(midnight) + rest_s / 86_400.0


def exposure_s(cards: Cards) -> float | None:
    """Seconds the shutter was open, from 0 to a day; EXPTIME leads, then EXPOSURE and XPOSURE."""
    value = _first_number(cards, "EXPTIME", "EXPOSURE", "EXP_TIME", "XPOSURE")
    return value if value is not None and 0.0 <= value <= LONGEST_EXPOSURE_S else None


def filter_text(cards: Cards) -> str:
    """The filter's name in the header."""
    return _first_text(cards, "FILTER", "FILTER1", "FILTNAM")


def object_text(cards: Cards) -> str:
    """The target's name in the header."""
    return _first_text(cards, "OBJECT", "OBJNAME")


def gain_text(cards: Cards) -> str | None:
    """The gain setting, as a short text; none if the header has none."""
    value = cards.get("GAIN")
    if isinstance(value, bool) or value is None or value == "":
        return None
    if isinstance(value, float):
        return f"{value:g}" if math.isfinite(value) else None
    return str(value)[:20]


def sensor_temperature_c(cards: Cards) -> float | None:
    """Sensor temperature, deg C."""
    value = _first_number(cards, "CCD-TEMP", "CCDTEMP", "SET-TEMP", "DET-TEMP")
    return value if value is not None and -120.0 <= value <= 80.0 else None


def focal_length_mm(cards: Cards) -> float | None:
    """Focal length, mm."""
    value = _first_number(cards, "FOCALLEN")
    return value if value is not None and 10.0 <= value <= 100_000.0 else None


def pixel_um(cards: Cards) -> float | None:
    """Size of a pixel as it stands in the image, µm: common practice is that XPIXSZ is binned."""
    value = _first_number(cards, "XPIXSZ", "PIXSIZE1")
    return value if value is not None and 0.1 <= value <= 1000.0 else None


def pointing_deg(cards: Cards) -> tuple[float, float] | None:
    """Where the telescope pointed, deg: RA and DEC, OBJCTRA and OBJCTDEC, else a WCS's CRVAL."""
    for ra_key, dec_key in (("RA", "DEC"), ("OBJCTRA", "OBJCTDEC")):
        ra, dec = cards.get(ra_key), cards.get(dec_key)
        if ra is None or dec is None:
            continue
        place = (_angle(ra, hours=isinstance(ra, str)), _angle(dec, hours=False))
        if place[0] is not None and place[1] is not None and abs(place[1]) <= 90.0:
            return place[0] % 360.0, place[1]
    if str(cards.get("CTYPE1", "")).startswith("RA--"):
        ra_deg, dec_deg = number(cards.get("CRVAL1")), number(cards.get("CRVAL2"))
        if ra_deg is not None and dec_deg is not None and abs(dec_deg) <= 90.0:
            return ra_deg % 360.0, dec_deg
    return None


def rows_top_down(cards: Cards) -> bool:
    """Whether the header says that the rows run from the top down."""
    return _first_text(cards, "ROWORDER").upper().replace("_", "-") == "TOP-DOWN"


def star_count(cards: Cards) -> float | None:
    """Stars that a capture program counted in the exposure."""
    value = _first_number(cards, "STARCNT", "STARCOUNT", "NSTARS", "STARS")
    return value if value is not None and value >= 0.0 else None


def star_width(cards: Cards) -> float | None:
    """Width of its stars, in whatever unit the program uses."""
    value = _first_number(cards, "FWHM", "HFD", "HFR")
    return value if value is not None and value > 0.0 else None


def rotator_deg(cards: Cards) -> float | None:
    """The rotator's own reading, deg; cards that hold an angle on the sky are not meant."""
    value = _first_number(cards, "ROTATANG", "ROTATOR", "ROTANG", "ROTANGLE", "ROTMECH")
    return value if value is not None and abs(value) <= MOST_READING_DEG else None


def pier_side(cards: Cards) -> Literal["east", "west"] | None:
    """Side of the pier that the tube is on."""
    word = re.sub(r"[^a-z]", "", _first_text(cards, "PIERSIDE", "SIDEPIER").casefold())
    word = word.removeprefix("pier")
    return {"east": "east", "e": "east", "west": "west", "w": "west"}.get(word)  # type: ignore[return-value]


def number(value: object) -> float | None:
    """A finite number out of a card's value, text included; else none."""
    if isinstance(value, bool) or value is None:
        return None
    try:
        found = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        return None
    return found if math.isfinite(found) else None


def _first_number(cards: Cards, *keys: str) -> float | None:
    for key in keys:
        found = number(cards.get(key))
        if found is not None:
            return found
    return None


def _first_text(cards: Cards, *keys: str) -> str:
    for key in keys:
        value = cards.get(key)
        if isinstance(value, str) and value.strip():
            return value.strip()
    return ""


_SEXAGESIMAL = re.compile(r"([+-]?)\s*(\d{1,3})[\s:hd]+(\d{1,2})(?:[\s:m']+(\d{1,2}(?:\.\d*)?))?.?")


def _angle(value: object, *, hours: bool) -> float | None:
    """Degrees from a number, or from sexagesimal text (hours for a right ascension)."""
    plain = number(value)
    if plain is not None:
        return plain
    found = _SEXAGESIMAL.fullmatch(str(value).strip())
    if found is None:
        return None
    sign, whole, minutes, seconds = found.groups()
    if float(minutes) >= 60.0 or float(seconds or 0.0) >= 60.0:
        return None
    angle = float(whole) + float(minutes) / 60.0 + float(seconds or 0.0) / 3600.0
    angle *= 15.0 if hours else 1.0
    return -angle if sign == "-" else angle
