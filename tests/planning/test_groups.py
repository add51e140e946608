"""Groups that observers know are found in the catalogue, and hold what they promise."""

import math

import pytest

from nightplan.model.catalog_reading import load_catalog
from nightplan.model.starter import demo_config
from nightplan.planning.framing.groups import find_groups, neighbour_rows
from nightplan.planning.optics.train_optics import train_optics
from nightplan.sky.angles import separation_deg

CONFIG = demo_config()


@pytest.fixture(scope="module")
def catalog():
    return load_catalog()


def names(catalog, target, train):
    found = find_groups(CONFIG, catalog.target(catalog.find(target)), catalog, train)
    return [{member.name for member in group.targets} for group in found]


# Well-known pairs and triples (common practice, no source); the Leo Triplet is M 65, M 66 and
# NGC 3628.
@pytest.mark.parametrize(
    ("target", "train", "members"),
    [
        ("M 81", "flattener", {"M 81", "M 82"}),
        ("M 65", "flattener", {"M 65", "M 66", "NGC 3628"}),
        ("M 97", "flattener", {"M 97", "M 108"}),
        ("NGC 7635", "reducer", {"NGC 7635", "M 52"}),
        ("NGC 869", "reducer", {"NGC 869", "NGC 884"}),
    ],
)
def test_known_groups_are_found(catalog, target, train, members):
    assert any(members <= found for found in names(catalog, target, train))


def test_groups_fit_with_the_wanted_margin(catalog):
    target = catalog.target(catalog.find("M 65"))
    for group in find_groups(CONFIG, target, catalog, "flattener"):
        assert group.targets[0].name == "M 65"
        assert 2 <= len(group.targets) <= 3
        assert group.framing.margin_arcmin >= CONFIG.preferences.margin_arcmin - 1e-3
        assert len(group.framing.panels) == 1
        assert group.framing.coverage == 1.0


def test_a_lone_target_has_no_group(catalog):
    assert names(catalog, "M 15", "flattener") == []


def test_a_target_too_large_for_the_field_has_no_group(catalog):
    assert names(catalog, "M 31", "flattener") == []


def test_neighbours_are_near_and_not_part_of_the_target(catalog):
    optics = train_optics(CONFIG, "reducer")
    target = catalog.target(catalog.find("M 33"))
    for row in neighbour_rows(CONFIG, target, catalog, optics):
        near = catalog.target(int(row))
        apart = float(separation_deg(target.ra_deg, target.dec_deg, near.ra_deg, near.dec_deg))
        assert apart < math.hypot(optics.long_side_arcmin, optics.short_side_arcmin) / 60.0
        # NGC 604 and its like lie on M 33 itself.
        assert near.name not in {"NGC 604", "NGC 595", "M 33"}
