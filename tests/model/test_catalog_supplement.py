"""The supplement of large targets: sources on every figure, places against the old catalogues."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import ephem
import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord

from nightplan.model.catalog import Catalog
from nightplan.model.catalog_files import catalog_folder
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.target import KINDS, LINES

REFERENCE = Path(__file__).parents[1] / "reference" / "catalog_classic_excerpt.csv"

with open(catalog_folder() / "large_targets.csv", encoding="utf-8", newline="") as _stream:
    ROWS = list(csv.DictReader(_stream))
with open(REFERENCE, encoding="utf-8", newline="") as _stream:
    CLASSIC = list(csv.DictReader(line for line in _stream if not line.startswith("#")))

KNOWN_SOURCE = re.compile(
    "Sharpless 1959|Lynds 1962|Lynds 1965|van den Bergh 1966|Barnard 1927|Green SNR|RC3|"
    "Harris 1996|observing handbooks|remembered|computed from|OpenNGC|no size confirmed|Green 2014"
)

# Places that are not the old catalogue's on purpose.
PLACED_ELSEWHERE = {
    "B 168": "the catalogue gives the lane's east end",
    "B 142": "the E is made of B 142 and B 143, placed between them",
    "B 143": "the E is made of B 142 and B 143, placed between them",
    "Sh2-30": "Sharpless is 12' east of the Trifid's star; kept at OpenNGC's place",
    "Sh2-244": "Sharpless is 4' off the Crab's pulsar",
    "Sh2-292": "the Seagull's head",
    "vdB 93": "the Seagull's head",
    "vdB 142": "the head of the Elephant's Trunk",
    "vdB 67": "the westmost of the patches of NGC 2170",
    "vdB 131": "the south-west one of a pair",
}


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def test_there_are_enough_of_them() -> None:
    assert len(ROWS) >= 140
    assert len({row["name"] for row in ROWS}) == len(ROWS)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["name"])
def test_every_figure_has_its_source(row: dict[str, str]) -> None:
    assert row["grade"] in {"firm", "fair", "doubtful"}
    for figure, source in (
        ("ra_deg", "position_source"),
        ("major_arcmin", "size_source"),
        ("angle_deg", "angle_source"),
        ("magnitude_v", "magnitude_source"),
    ):
        given = row[figure] not in {"", "none"}
        if given:
            assert KNOWN_SOURCE.search(row[source]), f"{figure} without a source"
        elif not row["replaces"] and not row["members"] and figure in {"ra_deg", "major_arcmin"}:
            pytest.fail(f"{figure} is missing, and there is no OpenNGC row to take it from")
    assert bool(row["ra_deg"]) == bool(row["dec_deg"])
    assert bool(row["major_arcmin"]) == bool(row["minor_arcmin"])
    assert not row["kind"] or row["kind"] in KINDS
    assert set(row["lines"].split(";")) <= {*LINES, ""}


def test_what_is_read_keeps_sources_and_confidence(catalog: Catalog) -> None:
    shown = catalog.origin == "supplement"
    assert shown.sum() > len(ROWS)
    assert set(catalog.grade[shown]) == {"firm", "fair", "doubtful"}
    assert set(catalog.grade[~shown]) == {"unchecked"}
    assert (catalog.position_source[shown] != "").all()
    has_size = ~np.isnan(catalog.major_arcmin)
    assert (catalog.size_source[shown & has_size] != "").all()
    has_angle = ~np.isnan(catalog.angle_deg)
    assert (catalog.angle_source[has_angle] != "").all()
    assert (catalog.angle_source[~has_angle] == "").all()


@pytest.mark.parametrize("classic", CLASSIC, ids=lambda row: row["name"])
def test_place_is_near_the_old_catalogue_s(catalog: Catalog, classic: dict[str, str]) -> None:
    """Within half the larger radius: Sharpless 1959, van den Bergh 1966, Barnard 1927."""
    row = catalog.find(classic["name"])
    place = SkyCoord(float(classic["ra_deg"]) * u.deg, float(classic["dec_deg"]) * u.deg)
    away = place.separation(catalog.target(row).coord).arcmin
    diameter = max(float(classic["diameter_arcmin"] or 0.0), catalog.major_arcmin[row])
    limit = 0.6 if classic["name"] in PLACED_ELSEWHERE else 0.25
    assert away < limit * diameter


@pytest.mark.parametrize("classic", CLASSIC, ids=lambda row: row["name"])
def test_cited_diameters_are_the_printed_ones(catalog: Catalog, classic: dict[str, str]) -> None:
    """A size that cites the old catalogue as its source for the major axis equals its figure."""
    target = catalog.target(catalog.find(classic["name"]))
    source = target.size_source.split(";")[0]
    if f"({classic['name']})" in source and "remembered;" not in target.size_source:
        printed = float(classic["diameter_arcmin"])
        assert target.major_arcmin == pytest.approx(printed, abs=0.5)


def test_most_sharpless_sizes_are_cited(catalog: Catalog) -> None:
    cited = [row for row in ROWS if "Sharpless 1959 (Sh2" in row["size_source"]]
    assert len(cited) >= 20


@pytest.mark.parametrize(
    ("target_name", "star", "within_arcmin", "why"),
    [
        ("IC 4606", "Antares", 1.0, "the star lights it"),
        ("M 45", "Alcyone", 10.0, "the brightest Pleiad lies east of the middle"),
        ("IC 1318", "Sadr", 6.0, "the region is named after the star"),
        ("IC 434", "Alnitak", 40.0, "the curtain hangs south of the star"),
        ("NGC 2024", "Alnitak", 20.0, "the Flame stands east of the star"),
        ("NGC 1990", "Alnilam", 1.0, "the star lights it"),
        ("IC 349", "Merope", 1.0, "half an arcminute from the star"),
        ("NGC 1435", "Merope", 2.0, "the star lights it"),
        ("NGC 1432", "Maia", 1.0, "the star lights it"),
    ],
)
def test_place_against_the_star_inside(
    catalog: Catalog, target_name: str, star: str, within_arcmin: float, why: str
) -> None:
    """Source of the stars' places: ephem's star list (Hipparcos), epoch and equinox J2000."""
    body = ephem.star(star)
    place = SkyCoord(float(body._ra) * u.rad, float(body._dec) * u.rad)
    away = place.separation(catalog.target(catalog.find(target_name)).coord).arcmin
    assert away < within_arcmin, why


def test_what_openngc_has_plainly_wrong_is_mended(catalog: Catalog) -> None:
    """Sizes of large nebulae against Sharpless 1959, magnitudes that are those of a star."""
    target = catalog.target(catalog.find("IC 1396"))
    assert target.major_arcmin == pytest.approx(170.0)
    assert "Sharpless 1959" in target.size_source
    west = catalog.target(catalog.find("NGC 6960"))
    assert west.minor_arcmin is not None
    assert west.minor_arcmin < 20.0
    assert catalog.target(catalog.find("NGC 1499")).angle_deg is not None
    assert catalog.kind[catalog.find("NGC 6334")] == "emission_nebula"


def test_parts_of_one_nebula_are_one_row(catalog: Catalog) -> None:
    for one, same in (("NGC 2237", "NGC 2238"), ("M 16", "IC 4703"), ("NGC 6992", "NGC 6995")):
        assert catalog.find(one) == catalog.find(same)


def test_doubtful_sizes_are_left_out(catalog: Catalog) -> None:
    target = catalog.target(catalog.find("IC 1831"))
    assert target.major_arcmin is None
    assert target.minor_arcmin is None
    assert target.grade == "doubtful"
    assert target.note
