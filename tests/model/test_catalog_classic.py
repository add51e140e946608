"""Sharpless, van den Bergh and Barnard are all there, at their places and as large as printed."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord

from nightplan.model.catalog import Catalog
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.name_lookup import normalise

REFERENCE = Path(__file__).parents[1] / "reference" / "catalog_classic_quarter.csv"

with open(REFERENCE, encoding="utf-8", newline="") as _stream:
    QUARTER = list(csv.DictReader(line for line in _stream if not line.startswith("#")))

BARNARD_NUMBERS = {*range(1, 176), *range(201, 371)} - {
    52,
    172,
}  # the list lacks them, and 176 to 200
SECOND_HAND = re.compile(r"(?!OpenNGC)[^;,]*, by VizieR extract, second hand")
SIZE_FACTOR = 1.25
PLACE_SHARE = 0.3
"""Of the larger diameter: middle of a vague patch, and patches that are part of one target."""

PLACED_ELSEWHERE = {"B 168"}
"""The list gives the lane's east end."""


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def test_every_number_is_found(catalog: Catalog) -> None:
    names = [f"Sh2-{number}" for number in range(1, 314)]
    names += [f"vdB {number}" for number in range(1, 159)]
    names += [f"B {number}" for number in sorted(BARNARD_NUMBERS)]
    found = {normalise(name) for name in catalog.name}
    found |= {normalise(name) for cell in catalog.identifiers for name in cell.split(";")}
    assert [name for name in names if normalise(name) not in found] == []


@pytest.mark.parametrize("entry", QUARTER, ids=lambda row: row["name"])
def test_place_and_size_are_the_printed_ones(catalog: Catalog, entry: dict[str, str]) -> None:
    target = catalog.target(catalog.find(entry["name"]))
    place = SkyCoord(float(entry["ra_deg"]) * u.deg, float(entry["dec_deg"]) * u.deg)
    printed = float(entry["diameter_arcmin"] or 0.0)
    reach = max(printed, target.major_arcmin or 0.0, 6.0)
    if target.name not in PLACED_ELSEWHERE:
        assert place.separation(target.coord).arcmin < PLACE_SHARE * reach
    if printed and SECOND_HAND.fullmatch(target.size_source):
        assert target.major_arcmin == pytest.approx(printed, abs=0.01)
        assert "second hand" in target.size_source


def test_most_sizes_agree_with_the_lists(catalog: Catalog) -> None:
    """The rest are envelopes or parts: the larger nebula's row stands for them."""
    sized = [entry for entry in QUARTER if entry["diameter_arcmin"]]
    found = np.array([catalog.major_arcmin[catalog.find(entry["name"])] for entry in sized])
    printed = np.array([float(entry["diameter_arcmin"]) for entry in sized])
    agreed = (found / printed < SIZE_FACTOR) & (printed / found < SIZE_FACTOR)
    assert agreed.mean() > 0.8
