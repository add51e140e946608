"""A colour camera sees with a share of its pixels; filters of several bands; by hand."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
import tomlkit

from nightplan.errors import ConfigError
from nightplan.light.passband import top_hat
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.config import Config, parse_config
from nightplan.model.preferences import Goal
from nightplan.model.starter import starter_text
from nightplan.planning.optics.train_optics import train_optics
from nightplan.planning.photons.colour_channel import pixels_of
from nightplan.planning.photons.filter_budget import beam_passband, filter_budgets
from nightplan.planning.photons.goals import hours_range, target_goals
from nightplan.planning.photons.time_to_snr import time_to_snr

FLAT = [[300, 0.6], [1000, 0.6]]
SEEING = {
    "red": [[400, 0.05], [500, 0.05], [580, 0.35], [600, 0.75], [656, 0.68], [700, 0.55]],
    "green": [[400, 0.08], [460, 0.35], [530, 0.85], [560, 0.75], [600, 0.25], [656, 0.08]],
    "blue": [[400, 0.55], [450, 0.75], [500, 0.45], [540, 0.12], [600, 0.04], [700, 0.04]],
}
"""An invented matrix."""


def coloured(**colour: object) -> Config:
    tables = tomllib.loads(starter_text())
    del tables["camera"]["quantum_efficiency"]
    tables["camera"]["colour"] = {"red": FLAT, "green": FLAT, "blue": FLAT, **colour}
    return parse_config(tomlkit.dumps(tables))


def mono(efficiency: float) -> Config:
    tables = tomllib.loads(starter_text())
    tables["camera"]["quantum_efficiency"] = [[300, efficiency], [1000, efficiency]]
    return parse_config(tomlkit.dumps(tables))


def test_a_quarter_of_the_pixels_takes_four_times_the_hours() -> None:
    """Equal efficiencies: a red pixel of the matrix is the mono pixel, and there are a quarter as
    many; hours to a signal to noise per square arcsecond go with the number of pixels."""
    catalog = load_catalog()
    nebula = catalog.target(catalog.find("NGC 7000"))
    grey = mono(0.6)
    blind = [[300, 0.0], [1000, 0.0]]
    one = time_to_snr(coloured(green=blind, blue=blind), nebula, "flattener")
    whole = time_to_snr(grey, nebula, "flattener")
    assert one.filter == whole.filter == "Ha"
    assert one.hours == pytest.approx(4.0 * whole.hours, rel=1e-6)


def test_colours_come_at_once_through_a_filter_for_all_light() -> None:
    """Efficiencies 0.2, 0.6 and 0.4: red, green and blue of one sub, each by its own pixels."""
    low, high = [[300, 0.2], [1000, 0.2]], [[300, 0.4], [1000, 0.4]]
    config = coloured(red=low, blue=high)
    assert list(config.filter) == ["L", "R", "G", "B", "Ha", "OIII", "SII"]
    assert list(config.channel)[:4] == ["L red", "L green", "L blue", "R"]
    budgets = {one.filter: one for one in filter_budgets(config, "reducer")}
    for name, share, efficiency in (
        *(("L red", 0.25, 0.2), ("L green", 0.5, 0.6), ("L blue", 0.25, 0.4)),
        *(("R", 0.25, 0.2), ("G", 0.5, 0.6)),
    ):
        pixels = pixels_of(config, config.channel[name])
        assert pixels.pixel_share == budgets[name].pixel_share == share
        assert pixels.efficiency[0][1] == pytest.approx(efficiency)
    (same,) = (one for one in filter_budgets(mono(0.6), "reducer") if one.filter == "L")
    assert budgets["L green"].reference_sky_e_s == pytest.approx(same.reference_sky_e_s)
    # One sub: one gain and one length.
    settings = {(one.gain, one.sub_s) for one in budgets.values() if one.filter.startswith("L ")}
    assert len(settings) == 1


def test_a_line_is_counted_in_the_pixels_that_see_it() -> None:
    """O III: green and blue, 3/4 of the pixels, at (2 x 0.5 + 0.9) / 3; H-alpha: only red."""
    config = coloured(
        red=[[500, 0.02], [656, 0.7]],
        green=[[500, 0.5], [656, 0.02]],
        blue=[[500, 0.9], [656, 0.0]],
    )
    oxygen = pixels_of(config, config.channel["OIII"])
    assert oxygen.pixel_share == 0.75
    assert oxygen.efficiency[0] == (500.0, pytest.approx(1.9 / 3.0))
    hydrogen = pixels_of(config, config.channel["Ha"])
    assert hydrogen.pixel_share == 0.25
    assert hydrogen.efficiency[-1] == (656.0, 0.7)


def test_a_filter_for_two_lines_feeds_both_on_a_colour_camera_and_the_sum_on_a_mono_one() -> None:
    tables = tomllib.loads(starter_text())
    tables["filter"]["duo"] = {
        **tables["filter"]["Ha"], "width_nm": 7.0, "more_bands": [[500.9, 7.0, 0.9]],
    }  # fmt: skip
    alone = parse_config(tomlkit.dumps(tables))
    assert "duo" in alone.channel
    assert len(alone.channel) == len(alone.filter)
    del tables["camera"]["quantum_efficiency"]
    tables["camera"]["colour"] = SEEING
    config = parse_config(tomlkit.dumps(tables))
    found = {name: one for name, one in config.channel.items() if one.filter == "duo"}
    assert list(found) == ["duo H-alpha", "duo O III"]
    assert found["duo H-alpha"].colours == ("red",)
    assert found["duo O III"].colours == ("green", "blue")
    # Two lines that the same pixels see are one picture.
    tables["filter"]["duo"]["more_bands"] = [[671.6, 7.0, 0.9]]
    config = parse_config(tomlkit.dumps(tables))
    assert [name for name, one in config.channel.items() if one.filter == "duo"] == ["duo"]


def colour_rig() -> Config:
    """A colour camera with a filter for all light and one for two lines, in a drawer."""
    tables = tomllib.loads(starter_text())
    del tables["camera"]["quantum_efficiency"]
    tables["camera"]["colour"] = SEEING
    one = {"peak_transmission": 0.95, "clear_aperture_mm": 46}
    tables["filter"] = {
        "colour": {"role": "luminance", "centre_nm": 550, "width_nm": 300, **one},
        "duo": {
            **{"role": "H-alpha", "centre_nm": 656.4, "width_nm": 7.0, **one},
            "more_bands": [[500.9, 7.0, 0.9]],
        },
    }
    tables["wheel"] |= {"positions": 1, "by_hand": True, "change_s": 180}
    tables.pop("goal", None)
    return parse_config(tomlkit.dumps(tables))


def test_hours_to_choose_are_those_of_subs() -> None:
    """The floor and ceiling of a kind, and `goal_hours`, hold for what is on the clock."""
    catalog, config = load_catalog(), colour_rig()
    for name in ("M 33", "NGC 7000", "M 13"):
        target = catalog.target(catalog.find(name))
        (goal,) = target_goals(config, [target], "flattener")
        by_filter = {"colour": 0.0, "duo": 0.0}
        for item in goal.wanted:
            own = config.channel[item.filter].filter
            by_filter[own] = max(by_filter[own], item.goal_h)
        stars_h = 20.0 / 60.0
        floor, ceiling = hours_range(target)
        assert floor - 1e-6 <= sum(by_filter.values()) <= ceiling + stars_h + 1e-6
        colours = [item.goal_h for item in goal.wanted if item.filter.startswith("colour")]
        assert len(set(np.round(colours, 9))) == 1
    wish = config.preferences.model_copy(update={"goal_hours": 10.0})
    fixed = config.model_copy(update={"preferences": wish})
    (goal,) = target_goals(fixed, [catalog.target(catalog.find("M 33"))], "flattener")
    assert max(i.goal_h for i in goal.wanted if i.filter.startswith("colour")) < 8.0


def test_a_wish_by_filter_is_one_for_each_of_its_pictures() -> None:
    tables = tomllib.loads(tomlkit.dumps({"NGC 7000": {"hours": {"duo": 8, "duo O III": 12}}}))
    config = colour_rig()
    goals = {name: Goal.model_validate(table) for name, table in tables.items()}
    config = config.model_copy(update={"goal": goals})
    catalog = load_catalog()
    (goal,) = target_goals(config, [catalog.target(catalog.find("NGC 7000"))], "flattener")
    assert {i.filter: i.goal_h for i in goal.wanted} == {"duo H-alpha": 8.0, "duo O III": 12.0}


def test_bands_of_one_filter_add_up() -> None:
    tables = tomllib.loads(starter_text())
    tables["filter"]["Ha"]["more_bands"] = [[500.9, 3.0, 0.87]]
    duo = parse_config(tomlkit.dumps(tables))
    optics = train_optics(duo, "flattener")
    both = beam_passband(duo, optics, "Ha")
    plain = parse_config(starter_text())
    parts = [beam_passband(plain, optics, name) for name in ("Ha", "OIII")]
    for nm in (500.7, 501.5, 560.0, 656.3, 657.0):
        assert both.at(nm) == pytest.approx(sum(float(one.at(nm)) for one in parts), abs=1e-4)
    assert np.diff(both.wavelength_nm).min() > 0.0
    sums = top_hat(400.0, 500.0).plus(top_hat(600.0, 650.0, 0.5))
    assert sums.at([450.0, 550.0, 620.0]).tolist() == [1.0, 0.0, 0.5]


@pytest.mark.parametrize(
    ("colour", "words"),
    [
        ({"shares": [0.5, 0.5, 0.5]}, "sum to 1"),
        ({"red": [[600, 0.5], [500, 0.4]]}, "rising wavelength"),
        ({"blue": [[400, 1.4]]}, "0 to 1"),
    ],
)
def test_faults_name_key_and_range(colour: dict[str, object], words: str) -> None:
    with pytest.raises(ConfigError) as caught:
        coloured(**colour)
    assert words in str(caught.value)
    assert "camera.colour" in str(caught.value)
