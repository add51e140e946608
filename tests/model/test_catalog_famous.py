"""Three hundred and sixty targets that people shoot: found as typed, right kind, size and angle.

Source of the expected figures: tests/reference/catalog_famous.csv and catalog_famous_more.csv,
remembered (see their heads).
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from nightplan.errors import TargetError
from nightplan.model.catalog import Catalog
from nightplan.model.catalog_files import catalog_folder
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.name_lookup import normalise

REFERENCE = Path(__file__).parents[1] / "reference" / "catalog_famous.csv"

with open(REFERENCE, encoding="utf-8", newline="") as _stream:
    FAMOUS = list(csv.DictReader(line for line in _stream if not line.startswith("#")))

with open(REFERENCE.with_name("catalog_famous_more.csv"), encoding="utf-8", newline="") as _stream:
    MORE = list(csv.DictReader(line for line in _stream if not line.startswith("#")))

KINDS = {
    "g": "galaxy", "gg": "galaxy_group", "em": "emission_nebula", "rf": "reflection_nebula",
    "dk": "dark_nebula", "pn": "planetary_nebula", "sn": "supernova_remnant",
    "oc": "open_cluster", "gc": "globular_cluster", "cn": "cluster_with_nebula",
    "sf": "star_field",
}  # fmt: skip

# The goal: size within 20 %, angle within 15°, for 295 of 300.
SIZE_FACTOR = 1.2
ANGLE_DEG = 15.0
WANTED = 295
WANTED_OF_MORE = 46
"""The second list has more nebulae without an edge, whose size depends on the exposure."""


def faults_of(catalog: Catalog, row: dict[str, str]) -> list[str]:
    """What is wrong with the target that a typed name leads to; empty when nothing is."""
    try:
        target = catalog.target(catalog.find(row["typed"]))
    except TargetError as error:
        return [f"not found: {error}"]
    faults = []
    if target.kind != KINDS[row["kind"]]:
        faults.append(f"{target.name} is {target.kind}")
    expected = float(row["major_arcmin"])
    size = target.major_arcmin
    if size is None or not 1 / SIZE_FACTOR < size / expected < SIZE_FACTOR:
        faults.append(f"{target.name} is {size}' long, not {expected}'")
    if row["angle_deg"]:
        angle = target.angle_deg
        away = 90.0 if angle is None else abs((angle - float(row["angle_deg"]) + 90) % 180 - 90)
        if away > ANGLE_DEG:
            faults.append(f"{target.name} lies at {angle}, not {row['angle_deg']}")
    return faults


RC3 = REFERENCE.parent / "catalog_rc3.csv"
with open(RC3, encoding="utf-8", newline="") as _stream:
    TURNED = list(csv.DictReader(line for line in _stream if not line.startswith("#")))


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def test_there_are_three_hundred() -> None:
    assert len(FAMOUS) == len({row["typed"] for row in FAMOUS}) == 300


def test_famous_targets_are_as_people_know_them(catalog: Catalog) -> None:
    wrong = {row["typed"]: faults for row in FAMOUS if (faults := faults_of(catalog, row))}
    assert len(FAMOUS) - len(wrong) >= WANTED, wrong
    assert np.isfinite(catalog.ra_deg).all()


def test_sixty_more_are_found_of_the_right_kind(catalog: Catalog) -> None:
    assert len(MORE) == len({row["typed"] for row in MORE} - {row["typed"] for row in FAMOUS}) == 60
    for row in MORE:
        assert catalog.target(catalog.find(row["typed"])).kind == KINDS[row["kind"]], row
    wrong = {row["typed"]: faults for row in MORE if (faults := faults_of(catalog, row))}
    assert len(MORE) - len(wrong) >= WANTED_OF_MORE, wrong


@pytest.mark.parametrize("row", TURNED, ids=lambda row: row["name"])
def test_galaxies_are_as_long_as_in_rc3(catalog: Catalog, row: dict[str, str]) -> None:
    """Source and tolerance: head of tests/reference/catalog_rc3.csv."""
    assert faults_of(catalog, {"typed": row["name"], "kind": "g", **row}) == []


def test_no_unchecked_galaxy_is_much_shorter_than_in_the_siena_galaxy_atlas(
    catalog: Catalog,
) -> None:
    """SGA-2020 (Moustakas et al. 2023, ApJS 269, 3), as catalogs/sga_galaxies.csv has it.

    Its isophote (26 mag/arcsec² in r) is 1.7 times as long as that of 25 in B in the median; ours
    may be shorter than that by 1.3, and from 2' up is mended beyond.
    """
    path = catalog_folder() / "sga_galaxies.csv"
    with open(path, encoding="utf-8", newline="") as stream:
        atlas = list(csv.DictReader(line for line in stream if not line.startswith("#")))
    assert len(atlas) > 4000
    lengths = []
    for row in atlas:
        found = catalog.names.designations.get(normalise(row["name"]))
        if found is None or catalog.kind[found] != "galaxy":
            continue
        expected = float(row["major_arcmin"]) / 1.7
        lengths.append(expected / catalog.major_arcmin[found])
        if expected >= 2.05 and catalog.origin[found] == "openngc":
            assert lengths[-1] <= 1.32, row["name"]
    assert np.nanmedian(lengths) == pytest.approx(1.0, abs=0.06)
