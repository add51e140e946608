"""Which filters a target deserves."""

from __future__ import annotations

from dataclasses import replace

import pytest

from nightplan.model.config import Config, parse_config
from nightplan.model.starter import starter_text
from nightplan.model.target import KINDS, Target
from nightplan.planning.photons.filter_set import line_is_inside, wanted_filters

GALAXY = Target(
    name="test galaxy", ra_deg=10.0, dec_deg=40.0, kind="galaxy", radial_velocity_km_s=-300.0
)


def names(config: Config, target: Target) -> set[str]:
    return {item.filter for item in wanted_filters(config, target)}


@pytest.mark.parametrize("kind", KINDS)
def test_shares_sum_to_one_and_hours_to_the_goal_in_the_wheels_order(
    demo: Config, kind: str
) -> None:
    wanted = wanted_filters(demo, replace(GALAXY, kind=kind))
    assert sum(item.share for item in wanted) == pytest.approx(1.0)
    assert sum(item.goal_h for item in wanted) <= demo.preferences.goal_hours + 1e-9
    order = list(demo.filter)
    places = [order.index(item.filter) for item in wanted]
    assert places == sorted(places)


def test_a_near_galaxy_gets_h_alpha_a_receding_one_and_an_unknown_one_do_not(demo: Config) -> None:
    # 656.28 nm (NIST ASD, air) moves by 656.28 v/c: 3 nm wide and centred at 656.4 nm the filter
    # loses the line between 700 and 800 km/s: 656.28 x 740/299792 = 1.62 nm = 0.12 + 1.5.
    assert names(demo, GALAXY) == {"L", "R", "G", "B", "Ha"}
    assert "Ha" in names(demo, replace(GALAXY, radial_velocity_km_s=700.0))
    assert "Ha" not in names(demo, replace(GALAXY, radial_velocity_km_s=800.0))
    assert "Ha" not in names(demo, replace(GALAXY, radial_velocity_km_s=None))
    assert line_is_inside(demo.filter["Ha"], 735.0)
    assert not line_is_inside(demo.filter["Ha"], 745.0)


def test_nebulae_get_their_lines_and_star_colours_where_asked_for(demo: Config) -> None:
    nebula = replace(GALAXY, kind="emission_nebula")
    assert names(demo, nebula) == {"Ha", "OIII", "SII"}
    preferences = demo.preferences.model_copy(update={"star_colour_share": 0.05})
    colours = demo.model_copy(update={"preferences": preferences})
    wanted = {item.filter: item.share for item in wanted_filters(colours, nebula)}
    assert set(wanted) == {"R", "G", "B", "Ha", "OIII", "SII"}
    assert [wanted[name] for name in "RGB"] == pytest.approx([0.05] * 3)
    assert names(colours, GALAXY) == names(demo, GALAXY)
    assert names(demo, replace(GALAXY, kind="reflection_nebula")) == {"L", "R", "G", "B"}
    assert names(demo, replace(GALAXY, kind="dark_nebula")) == {"L", "R", "G", "B"}


def test_a_goal_in_the_configuration_replaces_the_kind() -> None:
    text = (
        starter_text() + '\n[goal."test galaxy"]\nhours = { L = 3.0, B = 1.0 }\nsnr = { Ha = 20 }\n'
    )
    wanted = {i.filter: i.goal_h for i in wanted_filters(parse_config(text), GALAXY)}
    assert wanted == {"L": 3.0, "B": 1.0, "Ha": 1.0}


def test_a_wheel_without_the_kinds_filters_gives_all_it_has(demo: Config) -> None:
    narrow = {name: item for name, item in demo.filter.items() if item.is_narrow}
    only = demo.model_copy(update={"filter": narrow})
    assert names(only, replace(GALAXY, kind="dark_nebula")) == {"Ha", "OIII", "SII"}
