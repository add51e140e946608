"""The configuration file: valid as written, round trips, and errors that name the place."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.errors import ConfigError, FileError, NightplanError, UnknownKeyError
from nightplan.model.config import load_config, parse_config
from nightplan.model.site import HorizonProfile
from nightplan.model.starter import demo_config, starter_text

SITE_KEYS = (
    "name",
    "latitude_deg",
    "longitude_deg",
    "elevation_m",
    "timezone",
    "sky_mag_arcsec2",
    "lamp_light",
)


def test_the_starter_is_valid_and_round_trips() -> None:
    import tomlkit

    config = demo_config()
    text = tomlkit.dumps(config.model_dump(mode="json", exclude_none=True))
    assert parse_config(text) == config


@pytest.mark.parametrize("key", SITE_KEYS)
def test_a_site_key_stands_once_in_the_starter_uncommented_and_unindented(key: str) -> None:
    text = starter_text()
    assert len(re.findall(key, text)) == 1
    assert len(re.findall(rf"(?m)^{key} = ", text)) == 1


@pytest.mark.parametrize(
    ("before", "after", "key", "accepted"),
    [
        ("latitude_deg = 38.60", "latitude_deg = 98.6", "site.latitude_deg", "-90 to 90"),
        ("latitude_deg = 38.60", 'latitude_deg = "x"', "site.latitude_deg", "-90 to 90"),
        ("latitude_deg = 38.60", "", "site.latitude_deg", "the key is required"),
        ("latitude_deg = 38.60", "latitude_deg = true", "site.latitude_deg", "-90 to 90"),
        ('"Europe/Lisbon"', '"Europe/Lisbn"', "site.timezone", "IANA"),
        ('lamp_light = "mixed"', 'lamp_light = "gas"', "site.lamp_light", "natural, led, sodium"),
        ("sky_mag_arcsec2 = 21.4", "", "site.sky_mag_arcsec2", "14 to 22.5"),
        ("factor = 0.75", "factor = 9", "train.reducer.factor", "0.2 to 5"),
        ("[0, 8], [20", "[0, 95], [20", "horizon.profile_deg", "-10 to 90"),
        ('role = "red"', 'role = "pink"', "filter.R.role", "luminance"),
        ("positions = 7", "positions = 21", "wheel.positions", "from 1 to 20"),
        ("bits = 16", "bits = 16.5", "camera.bits", "8 to 32"),
        ('fitted = "small"', 'fitted = "tiny"', "guider.fitted", "small, large"),
        ("longest_s = 600", "longest_s = 5", "preferences.sub.longest_s", "at least shortest_s"),
        ("longest_block_min = 240", "longest_block_min = 9", "preferences.longest_block_min", "20"),
        (
            "[calibration]",
            '[goal."M 31"]\nhours = { L = -2 }\n[calibration]',
            "goal.M 31.hours.L",
            "a number from 0.01 to 1000",
        ),
        ("# goal_hours = 12", "goal_hours = nan", "preferences.goal_hours", "1000"),
    ],
)
def test_a_bad_value_is_one_line_with_file_key_value_and_range(
    before: str, after: str, key: str, accepted: str
) -> None:
    text = starter_text()
    assert before in text
    with pytest.raises(ConfigError) as caught:
        parse_config(text.replace(before, after, 1), "ridge.toml")
    message = str(caught.value)
    assert message.startswith(f"ridge.toml: {key} = ")
    assert accepted in message
    assert "\n" not in message


def test_a_sky_that_is_nowhere_given_is_missing() -> None:
    with pytest.raises(ConfigError, match=r"site\.sky_mag_arcsec2 = \(missing\)"):
        parse_config(starter_text().replace("sky_mag_arcsec2 = 21.4\n", "", 1), "ridge.toml")


@pytest.mark.parametrize(
    ("before", "after", "nearest"),
    [
        ("latitude_deg =", "latitud_deg =", "site.latitude_deg"),
        ("[mount]", "[mont]", "mount"),
        ('side = "top"', 'sid = "top"', "guider.side"),
        ("factor = 0.75", "facto = 0.75", "train.reducer.factor"),
    ],
)
def test_an_unknown_key_names_the_nearest(before: str, after: str, nearest: str) -> None:
    with pytest.raises(UnknownKeyError) as caught:
        parse_config(starter_text().replace(before, after, 1), "ridge.toml")
    assert caught.value.nearest[0] == nearest
    assert nearest in str(caught.value)


def test_text_that_is_not_toml_names_file_and_line() -> None:
    with pytest.raises(FileError, match=r"ridge\.toml: is not valid TOML: .*line 2"):
        parse_config("[site]\nname == 3\n", "ridge.toml")


def test_a_missing_file_says_how_to_begin(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="nightplan start"):
        load_config(tmp_path / "none.toml")


def test_the_horizon_can_be_a_csv_beside_the_file(config_file: Path) -> None:
    text = re.sub(r"(?s)profile_deg = \[.*?\n\]", 'csv = "hills.csv"', starter_text(), count=1)
    config_file.write_text(text, encoding="utf-8")
    with pytest.raises(FileError, match=r"hills\.csv"):
        load_config(config_file)
    hills = config_file.parent / "hills.csv"
    hills.write_text("azimuth,altitude\n0,10\n180,20\n", encoding="utf-8")
    assert load_config(config_file).horizon.altitude_deg(90.0) == pytest.approx(15.0)
    hills.write_text("0,10\n90,ten\n", encoding="utf-8")
    with pytest.raises(FileError, match="line 2"):
        load_config(config_file)
    hills.write_text("0,10\n90,100\n", encoding="utf-8")
    with pytest.raises(NightplanError, match=r"line 2 altitude = 100\.0: accepted is"):
        load_config(config_file)


def test_the_horizon_wraps_at_360() -> None:
    profile = HorizonProfile(profile_deg=((10.0, 4.0), (350.0, 8.0)))
    assert profile.altitude_deg(0.0) == pytest.approx(6.0)
    assert profile.altitude_deg([355.0, 5.0, 365.0]) == pytest.approx([7.0, 5.0, 5.0])


def test_the_demo_hill_stands_where_the_scenario_says() -> None:
    horizon = demo_config().horizon
    assert np.all(horizon.altitude_deg(np.linspace(250.0, 300.0, 51)) == pytest.approx(18.0))
    assert horizon.altitude_deg(180.0) < 10.0


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.0, 359.99), st.floats(-5.0, 80.0)),
        min_size=1,
        max_size=12,
        unique_by=lambda pair: round(pair[0], 3),
    ),
    st.floats(-720.0, 720.0),
)
def test_the_horizon_stays_between_its_points_and_repeats(
    points: list[tuple[float, float]], azimuth: float
) -> None:
    profile = HorizonProfile(profile_deg=tuple(points))
    value = float(profile.altitude_deg(azimuth))
    heights = [height for _, height in points]
    assert min(heights) - 1e-9 <= value <= max(heights) + 1e-9
    assert value == pytest.approx(float(profile.altitude_deg(azimuth + 360.0)), abs=1e-6)


@pytest.mark.parametrize(
    ("old", "new", "accepted"),
    [
        ("sky_mag_arcsec2 = 21.4", "sky_mag_arcsec2 = 5", "a number from 14 to 22.5"),
        ("spacers_mm = [2.3]", "spacers_mm = 2", "an array of numbers"),
        ('name = "Hollow Ridge"', 'name = ""', "text that is not empty"),
    ],
)
def test_range_is_told_of_optional_keys_too(old: str, new: str, accepted: str) -> None:
    with pytest.raises(ConfigError, match=accepted):
        parse_config(starter_text().replace(old, new, 1))
