"""Which filters make a target's picture, and in what ratio."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from nightplan.errors import ConfigError
from nightplan.light.line_brightness import nebula_lines
from nightplan.model.catalog import Catalog
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.config import Config, parse_config
from nightplan.model.filter_roles import Role
from nightplan.model.starter import starter_text
from nightplan.model.target import KINDS, Target
from nightplan.planning.photons.goals import wanted_filters
from nightplan.planning.photons.recipes import (
    NAMED,
    leading_filters,
    line_is_inside,
    recipe_of,
)

TABLE = Path(__file__).parents[1] / "reference" / "recipes.csv"
ROLES: dict[str, Role] = {
    "L": "luminance", "R": "red", "G": "green", "B": "blue",
    "H": "H-alpha", "O": "O III", "S": "S II",
}  # fmt: skip
GALAXY = Target(
    name="test galaxy", ra_deg=10.0, dec_deg=40.0, kind="galaxy", radial_velocity_km_s=-300.0,
    major_arcmin=20.0,
)  # fmt: skip
NEBULA = Target(
    name="test nebula", ra_deg=10.0, dec_deg=40.0, kind="emission_nebula", lines=("H-alpha", "S II")
)


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def practice() -> list[dict[str, str]]:
    with TABLE.open(encoding="utf-8") as stream:
        return list(csv.DictReader(line for line in stream if not line.startswith("#")))


def test_the_table_holds_sixty_targets() -> None:
    assert len(practice()) >= 60


@pytest.mark.parametrize("row", practice(), ids=lambda row: row["target"])
def test_well_known_targets_get_what_they_are_usually_shot_in(
    demo: Config, catalog: Catalog, row: dict[str, str]
) -> None:
    # Common practice, no source: tests/reference/recipes.csv.
    target = catalog.target(catalog.find(row["target"]))
    recipe = recipe_of(demo, target)
    assert recipe.name in row["recipes"].split("|")
    wanted = {demo.filter[one.filter].role: one for one in wanted_filters(demo, target)}
    assert {ROLES[letter] for letter in row["with"].split()} <= wanted.keys()
    assert not {ROLES[letter] for letter in row["without"].split()} & wanted.keys()
    most = max(item.share for item in wanted.values())
    leads = [wanted[ROLES[one]].share for one in row["lead"].split() if ROLES[one] in wanted]
    assert max(leads) == pytest.approx(most)
    if row["least"]:
        letter, share = row["least"].split(":")
        assert wanted[ROLES[letter]].share >= float(share)


@pytest.mark.parametrize("kind", KINDS)
def test_shares_sum_to_one_in_the_wheels_order(demo: Config, kind: str) -> None:
    wanted = wanted_filters(demo, replace(GALAXY, kind=kind))
    assert sum(item.share for item in wanted) == pytest.approx(1.0)
    order = list(demo.filter)
    places = [order.index(item.filter) for item in wanted]
    assert places == sorted(places)
    assert sum(part.share for part in recipe_of(demo, replace(GALAXY, kind=kind)).parts) == (
        pytest.approx(1.0)
    )


def names(config: Config, target: Target) -> set[str]:
    return {part.filter for part in recipe_of(config, target).parts}


def test_a_near_galaxy_gets_h_alpha_a_receding_one_and_an_unknown_one_do_not(demo: Config) -> None:
    # 656.28 nm (NIST ASD, air) moves by 656.28 v/c: 3 nm wide and centred at 656.4 nm the filter
    # loses the line between 700 and 800 km/s: 656.28 x 740/299792 = 1.62 nm = 0.12 + 1.5.
    assert names(demo, GALAXY) == {"L", "R", "G", "B", "Ha"}
    assert "Ha" in names(demo, replace(GALAXY, radial_velocity_km_s=700.0))
    for other in (800.0, None):
        moved = replace(GALAXY, radial_velocity_km_s=other)
        assert names(demo, moved) == {"L", "R", "G", "B"}
        assert recipe_of(demo, moved).name == "LRGB"
    assert names(demo, replace(GALAXY, major_arcmin=3.0)) == {"L", "R", "G", "B"}
    assert line_is_inside(demo.filter["Ha"], 735.0)
    assert not line_is_inside(demo.filter["Ha"], 745.0)


@pytest.mark.parametrize(
    ("name", "has"),
    [
        ("M 110", False), ("M 32", False), ("NGC 147", False), ("NGC 185", False), ("M 86", False),
        ("Draco Dwarf", False), ("M 31", True), ("M 33", True), ("M 101", True), ("M 82", True),
        ("NGC 6822", True), ("IC 1613", True), ("NGC 5128", True), ("M 83", True),
    ],
)  # fmt: skip
def test_only_galaxies_with_h_ii_regions_get_h_alpha(
    demo: Config, catalog: Catalog, name: str, has: bool
) -> None:
    # Hubble types by the RC3 (de Vaucouleurs et al. 1991), remembered: E5 pec, cE2, E5 pec, E3 pec,
    # E3, dSph; SA(s)b, SA(s)cd, SAB(rs)cd, I0, IB(s)m, IB(s)m, S0 pec (dust lane), SAB(s)c.
    target = catalog.target(catalog.find(name))
    assert (recipe_of(demo, target).name == "LRGB with H-alpha") == has
    assert ("Ha" in names(demo, target)) == has


def test_a_field_of_several_is_shot_for_all_of_them(demo: Config, catalog: Catalog) -> None:
    for name, recipe in (
        # Each bright one shows its own colours, and M 20 its dust.
        ("M 8 + M 20", "H-alpha with RGB"),
        ("M 42 + IC 434", "H-alpha with RGB"),
        # A planetary nebula beside a galaxy.
        ("M 97 + M 108", "LRGB with H-alpha and O III"),
        ("NGC 7000 + IC 5070", "H-alpha, O III and S II"),
        ("NGC 147 + NGC 185", "LRGB"),
    ):
        assert recipe_of(demo, catalog.target(catalog.find(name))).name == recipe
    lines = ("H-alpha", "O III", "S II")
    members = [nebula_lines("emission_nebula", [name], lines) for name in ("M 8", "M 20")]
    both = nebula_lines("emission_nebula", ["M 8 + M 20"], lines)
    # The order of the members makes no difference, and the light is between theirs.
    assert both is not None
    other = nebula_lines("emission_nebula", ["M 20 + M 8"], lines)
    assert other is not None
    assert both[0] == pytest.approx(other[0])
    assert both[0] == pytest.approx(np.mean([one[0] for one in members if one is not None], axis=0))


def test_what_is_shot_in_lines_keeps_minutes_of_r_g_and_b_for_its_stars(demo: Config) -> None:
    three = replace(NEBULA, lines=("H-alpha", "O III", "S II"))
    wanted = {item.filter: item.goal_h for item in wanted_filters(demo, three)}
    assert [wanted[name] for name in "RGB"] == pytest.approx([20.0 / 60.0] * 3)
    preferences = demo.preferences.model_copy(update={"star_colour_min": 0.0})
    without = demo.model_copy(update={"preferences": preferences})
    assert names(without, three) == {"Ha", "OIII", "SII"}
    # Where R, G and B are part of the picture nothing is added.
    assert {part.fixed_h for part in recipe_of(demo, NEBULA).parts} == {0.0}


def test_lines_decide_the_recipe_of_a_nebula(demo: Config) -> None:
    told = {
        (): "H-alpha with RGB",
        ("H-alpha",): "H-alpha with RGB",
        ("H-alpha", "S II"): "H-alpha with RGB",
        ("H-alpha", "O III"): "H-alpha and O III",
        ("H-alpha", "O III", "S II"): "H-alpha, O III and S II",
        ("O III",): "O III and H-alpha",
    }
    for lines, name in told.items():
        assert recipe_of(demo, replace(NEBULA, lines=lines)).name == name
    remnant = replace(NEBULA, kind="supernova_remnant", lines=("H-alpha", "O III", "S II"))
    assert recipe_of(demo, remnant).name == "H-alpha and O III"


def test_the_configuration_overrides_target_and_kind() -> None:
    text = starter_text() + (
        '\n[goal."test nebula"]\nshares = { Ha = 3, OIII = 1 }\n'
        '[recipe.emission_nebula]\nrecipe = "O III and H-alpha"\n'
        "[recipe.galaxy]\nshares = { L = 1.0 }\n"
    )
    config = parse_config(text)
    own = {part.filter: part.share for part in recipe_of(config, NEBULA).parts}
    assert own == {"Ha": 0.75, "OIII": 0.25}
    other = recipe_of(config, replace(NEBULA, name="another"))
    assert (other.name, other.leading, other.reason) == ("O III and H-alpha", "OIII", "kind_wish")
    assert names(config, GALAXY) == {"L"}


def test_hours_of_a_goal_stand_before_everything() -> None:
    text = (
        starter_text() + '\n[goal."test galaxy"]\nhours = { L = 3.0, B = 1.0 }\nsnr = { Ha = 20 }\n'
    )
    wanted = {i.filter: i.goal_h for i in wanted_filters(parse_config(text), GALAXY)}
    assert set(wanted) == {"L", "B", "Ha"}
    assert (wanted["L"], wanted["B"]) == (3.0, 1.0)
    assert wanted["Ha"] != 1.0


@pytest.mark.parametrize(
    ("lines", "key"),
    [
        ('[goal."M 31"]\nrecipe = "LRBG"', "goal.M 31.recipe"),
        ('[goal."M 31"]\nshares = { H = 1 }', "goal.M 31.shares"),
        ("[recipe.galaxies]\nshares = { L = 1 }", "recipe"),
        ("[recipe.galaxy]\nshares = { X = 1 }", "recipe.galaxy.shares"),
        ("[recipe.galaxy]\nshares = { L = 0 }", "recipe.galaxy.shares.L"),
    ],
)
def test_a_wrong_wish_is_refused_by_key(lines: str, key: str) -> None:
    with pytest.raises(ConfigError) as refused:
        parse_config(f"{starter_text()}\n{lines}\n")
    assert f" {key} " in str(refused.value).replace(":", " ").replace("=", " ")


def test_a_wheel_without_the_recipes_filters_gives_what_it_has(demo: Config) -> None:
    narrow = {name: item for name, item in demo.filter.items() if item.is_narrow}
    only = demo.model_copy(update={"filter": narrow})
    assert names(only, replace(GALAXY, kind="dark_nebula")) == {"Ha", "OIII", "SII"}
    broad = {name: item for name, item in demo.filter.items() if not item.is_narrow}
    colours = demo.model_copy(update={"filter": broad})
    three = replace(NEBULA, lines=("H-alpha", "O III", "S II"))
    assert recipe_of(colours, three).name == "LRGB"
    no_l = demo.model_copy(update={"filter": {k: v for k, v in demo.filter.items() if k != "L"}})
    assert recipe_of(no_l, replace(GALAXY, kind="reflection_nebula")).name == "RGB"


def test_every_named_recipe_leads_with_what_its_name_says(demo: Config) -> None:
    for name in NAMED:
        text = f'{starter_text()}\n[goal."test nebula"]\nrecipe = "{name}"\n'
        recipe = recipe_of(parse_config(text), NEBULA)
        assert recipe.name == name
        first = "red" if name.startswith("RGB") else None
        first = first or ("luminance" if name.startswith("L") else name.split()[0].strip(","))
        assert demo.filter[recipe.leading].role.split()[0] == first.split()[0]


def test_leading_filters_of_a_catalogue_are_those_of_its_targets_one_by_one(
    demo: Config, catalog: Catalog
) -> None:
    rows = np.r_[0 : len(catalog) : 23, len(catalog) - 200 : len(catalog)]
    found = leading_filters(demo, catalog, rows)
    singly = [recipe_of(demo, catalog.target(int(row))).leading for row in rows]
    assert list(found) == singly
