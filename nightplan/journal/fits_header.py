"""Reading the headers of FITS files of unknown honesty: bounded, read-only, pixels untouched.

The structure is that of the FITS standard 4.0: blocks of 2880 bytes (section 3.1), cards of 80
characters up to END (3.3), data sizes by eqs. 1 and 2 (4.4.1.1, 4.4.1.2). Cards are parsed by
astropy; a card that cannot be parsed is as good as missing.
"""

from __future__ import annotations

import gzip
import stat
import warnings
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from nightplan.errors import FileError
from nightplan.files import reason_of

BLOCK = 2880
CARD = 80
MOST_HEADER_BLOCKS = 400
MOST_UNITS = 8
MOST_PACKED_BYTES = 2**28
"""Unpacked bytes that are gone through to reach an image; a small file can unpack to terabytes."""
_SAMPLE_BYTES = 65536

Value = str | int | float | bool
_OWN_OF_A_UNIT = ("SIMPLE", "XTENSION", "BITPIX", "EXTEND", "PCOUNT", "GCOUNT", "GROUPS")


@dataclass(frozen=True)
class FitsHeader:
    """Cards of the image in a FITS file, those of its primary header filling the gaps.

    `cards` maps upper-case keywords to values; commentary cards are left out. `sample` is the
    start of the image's stored bytes, at most 64 KiB; empty where there are none.
    """

    path: Path
    cards: Mapping[str, Value]
    sample: bytes


def read_fits_header(path: Path) -> FitsHeader:
    """Read the header of the first image of a FITS file, plain, gzipped or tile-compressed.

    Raises FileError (the file is no regular file, is not FITS, is cut short, or its header has no
    end).
    """
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise FileError(path, "is not a regular file")
        if status.st_size == 0:
            raise FileError(path, "is empty")
        with _opened(path) as (stream, packed):
            return _read(path, stream, None if packed else status.st_size)
    except (gzip.BadGzipFile, zlib.error, EOFError) as error:
        raise FileError(path, f"is cut short or badly packed: {error}") from error
    except OSError as error:
        raise FileError(path, f"cannot be read: {reason_of(error)}") from error


@contextmanager
def _opened(path: Path) -> Iterator[tuple[IO[bytes], bool]]:
    with open(path, "rb") as plain:
        packed = plain.read(2) == b"\x1f\x8b"
        plain.seek(0)
        if packed:
            with gzip.open(plain) as unpacked:
                yield unpacked, True  # type: ignore[misc]
        else:
            yield plain, False


def _read(path: Path, stream: IO[bytes], size: int | None) -> FitsHeader:
    primary: dict[str, Value] = {}
    for number in range(MOST_UNITS):
        cards = _unit(path, stream, number)
        if cards is None:
            break
        length = _data_length(path, cards)
        start = stream.tell()
        if size is not None and start + length > size:
            raise FileError(
                path, f"is cut short: {start + length} bytes are announced, {size} there"
            )
        if number == 0:
            primary = cards
        if _is_image(cards):
            sample = stream.read(min(length, _SAMPLE_BYTES))
            if len(sample) < min(length, _SAMPLE_BYTES):
                raise FileError(path, "is cut short inside its image")
            return FitsHeader(path, _merged(primary, cards), sample)
        if length:
            if size is None and length > MOST_PACKED_BYTES:
                raise FileError(path, "is packed, with too much before its image")
            stream.seek(start + _padded(length))
    # A header alone is what plate solvers write.
    return FitsHeader(path, primary, b"")


def _unit(path: Path, stream: IO[bytes], number: int) -> dict[str, Value] | None:
    """Cards of the next unit; none at the end of the file."""
    text = bytearray()
    for _ in range(MOST_HEADER_BLOCKS):
        block = stream.read(BLOCK)
        if not block and not text and number:
            return None
        if not text:
            mark = b"SIMPLE  =" if number == 0 else b"XTENSION="
            if not block.startswith(mark):
                if number:
                    return None  # special records may follow the last unit (section 3.5)
                raise FileError(path, "is not a FITS file")
        text += block
        if len(block) < BLOCK and not _has_end(block):
            raise FileError(path, "is cut short inside its header")
        if _has_end(block):
            return _parsed(path, bytes(text))
    raise FileError(path, f"has no END card in the first {MOST_HEADER_BLOCKS * BLOCK} bytes")


def _has_end(block: bytes) -> bool:
    return any(
        block[at : at + CARD].rstrip(b" \x00") == b"END" for at in range(0, len(block), CARD)
    )


def _parsed(path: Path, text: bytes) -> dict[str, Value]:
    from astropy.io import fits

    # Bytes outside printable ASCII break the standard; as blanks they break one card, not all.
    clean = bytes(byte if 32 <= byte < 127 else 32 for byte in text).decode("ascii")
    cards: dict[str, Value] = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            header = fits.Header.fromstring(clean)
            items = list(header.cards)
        except Exception as error:  # astropy raises several kinds for headers beyond repair
            raise FileError(path, f"has a header that cannot be read: {error}") from error
        for card in items:
            try:
                keyword, value = card.keyword.upper(), card.value
            except Exception:
                continue
            if keyword in ("", "COMMENT", "HISTORY", "END") or keyword in cards:
                continue
            if isinstance(value, str):
                cards[keyword] = value.strip()
            elif isinstance(value, (bool, int, float)):
                cards[keyword] = value
    return cards


def _data_length(path: Path, cards: Mapping[str, Value]) -> int:
    """Bytes of a unit's data, padding left out: FITS standard 4.0, eqs. 1 and 2."""
    try:
        axes = int(cards.get("NAXIS", 0))
        sizes = [int(cards[f"NAXIS{axis}"]) for axis in range(1, axes + 1)]
        bits = abs(int(cards["BITPIX"]))
        parameters, groups = int(cards.get("PCOUNT", 0)), int(cards.get("GCOUNT", 1))
    except (KeyError, ValueError, OverflowError) as error:
        raise FileError(
            path, f"has a header without sound BITPIX and NAXIS cards ({error})"
        ) from None
    if axes > 999 or min([0, *sizes, parameters, groups]) < 0:
        raise FileError(path, "has a header with impossible NAXIS cards")
    if not sizes:
        return 0
    pixels = 1
    for one in sizes:
        pixels *= one
    return bits // 8 * groups * (parameters + pixels)


def _padded(length: int) -> int:
    return -(-length // BLOCK) * BLOCK


def _is_image(cards: Mapping[str, Value]) -> bool:
    try:
        if cards.get("ZIMAGE") is True:
            return int(cards.get("ZNAXIS", 0)) >= 2
        kind = cards.get("XTENSION", "IMAGE")
        return kind == "IMAGE" and int(cards.get("NAXIS", 0)) >= 2 and int(cards["NAXIS1"]) > 0
    except (KeyError, ValueError):
        return False


def _merged(primary: Mapping[str, Value], image: Mapping[str, Value]) -> dict[str, Value]:
    if primary is image:
        return dict(image)
    filled = {
        key: value
        for key, value in primary.items()
        if key not in _OWN_OF_A_UNIT and not key.startswith("NAXIS")
    }
    merged = {**filled, **image}
    for axis in ("NAXIS", "NAXIS1", "NAXIS2"):
        # A tile-compressed image carries its true size in Z cards (section 10.1.1).
        if f"Z{axis}" in image:
            merged[axis] = image[f"Z{axis}"]
    return merged
