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
from nightplan.model.starter import starter_text
from nightplan.planning.optics.train_optics import train_optics
from nightplan.planning.photons.colour_channel import channel_of
from nightplan.planning.photons.filter_budget import beam_passband, filter_budgets
from nightplan.planning.photons.time_to_snr import time_to_snr

FLAT = [[300, 0.6], [1000, 0.6]]


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


def test_luminance_counts_all_pixels_at_their_mean() -> None:
    """Efficiencies 0.2, 0.6 and 0.4 under 1/4, 1/2 and 1/4 of the pixels are 0.45 in the mean."""
    low, high = [[300, 0.2], [1000, 0.2]], [[300, 0.4], [1000, 0.4]]
    config = coloured(red=low, blue=high)
    for name, share, efficiency in (("L", 1.0, 0.45), ("R", 0.25, 0.2), ("G", 0.5, 0.6)):
        channel = channel_of(config, name)
        assert channel.pixel_share == share
        assert channel.efficiency[0][1] == pytest.approx(efficiency)
    (mean,) = (one for one in filter_budgets(config, "reducer") if one.filter == "L")
    (same,) = (one for one in filter_budgets(mono(0.45), "reducer") if one.filter == "L")
    assert mean.reference_sky_e_s == pytest.approx(same.reference_sky_e_s)


def test_a_line_is_counted_where_it_is_seen_best() -> None:
    """O III: half the pixels at 0.5 are more than a quarter at 0.9; H-alpha: only red sees it."""
    config = coloured(
        red=[[500, 0.02], [656, 0.7]],
        green=[[500, 0.5], [656, 0.02]],
        blue=[[500, 0.9], [656, 0.0]],
    )
    assert channel_of(config, "OIII").pixel_share == 0.5
    assert channel_of(config, "Ha").efficiency[-1] == (656.0, 0.7)


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
