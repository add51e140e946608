"""The Messier objects against published values.

Source of the expected values: tests/reference/catalog_messier.csv, handbook figures written down
from memory (see its head).
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord

from nightplan.model.catalog import Catalog
from nightplan.model.catalog_reading import load_catalog

REFERENCE = Path(__file__).parents[1] / "reference" / "catalog_messier.csv"

with open(REFERENCE, encoding="utf-8", newline="") as stream:
    ROWS = list(csv.DictReader(line for line in stream if not line.startswith("#")))

# The printed place has 0.1 min of right ascension (1.5') and 1' of declination. A galaxy, a
# globular or a planetary nebula has a centre; the middle of a cluster or a nebula is a matter of
# taste, here a quarter of its diameter.
SHARP_ARCMIN = 1.6
TASTE_OF_DIAMETER = 0.25
TASTE_ARCMIN = 2.5

SIZE_FACTOR = 1.25

# Total magnitudes of galaxies scatter by half a magnitude between catalogues, and OpenNGC's V
# often is no fainter than B.
MAGNITUDE_TOLERANCE = {"galaxy": 0.9, "globular_cluster": 0.15, "planetary_nebula": 0.2}


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def test_all_are_there() -> None:
    assert [int(row["messier"]) for row in ROWS] == [n for n in range(1, 111) if n != 102]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: "M" + row["messier"])
def test_messier_object(catalog: Catalog, row: dict[str, str]) -> None:
    target = catalog.target(catalog.find("M" + row["messier"]))
    assert target.name == f"M {row['messier']}"
    if row["ngc"]:
        assert f"NGC {row['ngc']}" in target.identifiers
    assert (target.kind, target.constellation) == (row["kind"], row["constellation"])

    printed = SkyCoord(f"{row['ra_h']}h{row['ra_min']}m", row["dec"].replace(" ", "d") + "m")
    tolerance = SHARP_ARCMIN
    if row["kind"] not in MAGNITUDE_TOLERANCE and row["major_arcmin"]:
        tolerance = max(TASTE_ARCMIN, TASTE_OF_DIAMETER * float(row["major_arcmin"]))
    assert printed.separation(target.coord) < tolerance * u.arcmin

    if row["major_arcmin"]:
        assert target.axes_arcmin is not None
        for key, axis in zip(("major_arcmin", "minor_arcmin"), target.axes_arcmin, strict=True):
            if row[key]:
                assert 1 / SIZE_FACTOR <= axis / float(row[key]) <= SIZE_FACTOR, key

    if row["kind"] in MAGNITUDE_TOLERANCE:
        assert target.magnitude is not None
        assert abs(target.magnitude - float(row["magnitude_v"])) < MAGNITUDE_TOLERANCE[row["kind"]]


with open(REFERENCE.parent / "catalog_caldwell.csv", encoding="utf-8", newline="") as stream:
    CALDWELL = list(csv.DictReader(line for line in stream if not line.startswith("#")))


@pytest.mark.parametrize("row", CALDWELL, ids=lambda row: "C" + row["caldwell"])
def test_caldwell_number(catalog: Catalog, row: dict[str, str]) -> None:
    """Source: tests/reference/catalog_caldwell.csv, remembered."""
    assert catalog.find(f"C {row['caldwell']}") == catalog.find(row["object"])


def test_caldwell_numbers_are_all_there(catalog: Catalog) -> None:
    assert len(CALDWELL) == 106
    for number, member in ((14, "NGC 884"), (41, "Hyades"), (99, "Coalsack")):
        whole = catalog.target(catalog.find(f"C {number}"))
        part = catalog.target(catalog.find(member))
        assert whole.coord.separation(part.coord).arcmin < (whole.major_arcmin or 0.0) / 2.0
