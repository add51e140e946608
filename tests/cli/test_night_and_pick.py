"""`nightplan night` and `pick` through the command line: keys, reasons beside nulls, bad input."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from nightplan.model.starter import starter_text
from tests.cli.running import assert_one_line_error, document, run

NIGHT_KEYS = {
    "sunset_utc", "civil_dusk_utc", "nautical_dusk_utc", "astronomical_dusk_utc",
    "astronomical_dawn_utc", "nautical_dawn_utc", "civil_dawn_utc", "sunrise_utc", "moonrise_utc",
    "moonset_utc", "moon_illuminated_fraction", "dark_hours", "moonless_dark_hours", "window_kind",
    "window_start_utc", "window_end_utc",
}  # fmt: skip
PICK_KEYS = {
    "name", "ra_deg", "dec_deg", "train", "score", "score_parts", "hours", "best_utc",
    "max_altitude_deg", "moon_altitude_deg", "moon_separation_deg",
}  # fmt: skip


def site(folder: Path, **values: str) -> Path:
    text = starter_text()
    given = {"latitude_deg": "38.60", "longitude_deg": "-7.55", "timezone": '"Europe/Lisbon"'}
    for key, value in values.items():
        assert f"{key} = {given[key]}" in text
        text = text.replace(f"{key} = {given[key]}", f"{key} = {value}", 1)
    (folder / "nightplan.toml").write_text(text, encoding="utf-8")
    return folder


def assert_nulls_have_reasons(found: dict[str, object]) -> None:
    for key, value in found.items():
        if value is None:
            assert found.get(f"{key}_reason"), key
        if key.endswith("_utc") and value is not None:
            assert isinstance(value, str)
            assert value.endswith("Z")
            datetime.datetime.fromisoformat(value)


def test_the_night_of_the_demo_has_every_key_and_the_almanacs_times(config_file: Path) -> None:
    found = document("night", "--date", "2027-10-06", folder=config_file.parent)
    assert set(found) >= NIGHT_KEYS
    assert_nulls_have_reasons(found)
    # skyfield 1.55 with de421 (almanac.find_discrete, dark_twilight_day and risings_and_settings)
    # is compared in tests/planning; here ephem's own search is the outside.
    import ephem

    place = ephem.Observer()
    place.lat, place.lon, place.elevation, place.pressure = "38.60", "-7.55", 0, 0
    place.date = "2027/10/06 12:00:00"
    place.horizon = "-18"
    dusk = place.next_setting(ephem.Sun(), use_center=True).datetime()
    given = datetime.datetime.fromisoformat(found["astronomical_dusk_utc"]).replace(tzinfo=None)
    assert abs((given - dusk).total_seconds()) < 5.0


@pytest.mark.parametrize("date", ["2027-06-21", "2027-12-21", "2027-03-14", "2027-09-01"])
@pytest.mark.parametrize("latitude", ["78.2", "-78.2", "62.0"])
def test_high_latitudes_have_reasons_beside_every_null(
    tmp_path: Path, latitude: str, date: str
) -> None:
    folder = site(tmp_path, latitude_deg=latitude, timezone='"Etc/UTC"')
    found = document("night", "--date", date, folder=folder)
    assert set(found) >= NIGHT_KEYS
    assert_nulls_have_reasons(found)


def test_pick_has_its_keys_best_first(config_file: Path) -> None:
    found = document("pick", "--date", "2027-10-06", "--count", "8", folder=config_file.parent)
    assert len(found["targets"]) == 8
    for row in found["targets"]:
        assert set(row) >= PICK_KEYS
        assert row["train"] in {"flattener", "reducer"}
    scores = [row["score"] for row in found["targets"]]
    assert scores == sorted(scores, reverse=True)


def test_pick_in_a_bright_night_is_an_answer(tmp_path: Path) -> None:
    folder = site(tmp_path, latitude_deg="70.0", timezone='"Europe/Oslo"')
    found = document("pick", "--date", "2027-06-21", folder=folder)
    assert found["targets"] == []
    assert found["targets_reason"] == "no_darkness"
    text = run("pick", "--date", "2027-06-21", folder=folder)
    assert text.returncode == 0


def test_texts_fit_80_columns_and_carry_the_offset(config_file: Path) -> None:
    for command in ("night", "pick"):
        done = run(command, "--date", "2027-10-06", folder=config_file.parent)
        assert done.returncode == 0
        assert max(len(line) for line in done.stdout.splitlines()) <= 80
        assert "+01:00" in done.stdout


def test_bad_input_is_one_line(config_file: Path) -> None:
    folder = config_file.parent
    assert_one_line_error(run("night", "--date", "2027-13-01", folder=folder), "--date", "YYYY")
    assert_one_line_error(run("night", "--date", "3027-01-01", folder=folder), "2199")
    assert_one_line_error(run("pick", "--kind", "blob", folder=folder), "kind", "galaxy")
    assert_one_line_error(run("pick", "--only", "zzz 12", folder=folder), "zzz 12")
    done = run("night", "--config", "none.toml", folder=folder)
    assert_one_line_error(done, "none.toml", "nightplan start")
    config_file.write_text("site = 3", encoding="utf-8")
    assert_one_line_error(run("night", folder=folder), "nightplan.toml")


def test_a_mistyped_option_keeps_the_usage_text(config_file: Path) -> None:
    done = run("night", "--dat", "2027-10-06", folder=config_file.parent)
    assert done.returncode == 2
    assert "Usage:" in done.stderr
