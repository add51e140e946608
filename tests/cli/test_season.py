"""`nightplan season` end to end."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from nightplan.cli.season import command
from nightplan.errors import NightplanError


@pytest.fixture
def season(config_file):
    def run(*options, as_json=True):
        wanted = [*options, "--config", str(config_file), "--date", "2027-10-06"]
        wanted += ["--json"] if as_json else []
        text = CliRunner().invoke(command, wanted, catch_exceptions=False).stdout
        return json.loads(text) if as_json else text

    return run


def test_a_year_of_rows(season):
    rows = season("ngc7000")
    assert len(rows) == 365
    assert (rows[0]["date"], rows[-1]["date"]) == ("2027-10-06", "2028-10-04")
    assert set(rows[0]) == {
        "date", "usable_hours", "usable_moonless_hours", "moon_illuminated_fraction"
    }  # fmt: skip
    assert all(0 <= r["usable_moonless_hours"] <= r["usable_hours"] + 1e-3 < 24 for r in rows)
    # Full moons of late 2027 by ephem 4 (`ephem.next_full_moon`): 15 October 13:47 UTC,
    # 14 November 03:26 UTC; new moon 29 October 13:36 UTC.
    lit = {r["date"]: r["moon_illuminated_fraction"] for r in rows}
    assert lit["2027-10-15"] > 0.99
    assert lit["2027-11-13"] > 0.99
    assert lit["2027-10-29"] < 0.01
    # On the night of full moon the moon is up from dusk to dawn.
    assert next(r for r in rows if r["date"] == "2027-10-15")["usable_moonless_hours"] == 0.0


def test_moon_dates_against_ephem():
    import ephem

    full = ephem.next_full_moon("2027/10/6").datetime()
    assert full.date().isoformat() == "2027-10-15"
    assert ephem.next_new_moon("2027/10/16").datetime().date().isoformat() == "2027-10-29"


def test_month_ranking(season):
    rows = season("--month", "2027-12", "--count", "10", "--train", "reducer")
    assert len(rows) == 10
    assert [r["score"] for r in rows] == sorted((r["score"] for r in rows), reverse=True)
    assert all(11.0 <= r["major_arcmin"] <= 151.0 for r in rows)
    assert all(r["share_of_best_month"] > 0.8 for r in rows)
    for row in rows:
        merit = row["framing"] * row["contrast"] * row["share_of_best_month"]
        assert 0.0 < row["score"] <= merit * row["usable_moonless_hours"] * 1.001 + 0.01
    # The brightest nebula of the winter sky (common knowledge, no source), not what is merely up.
    assert "M 42" in [r["target"] for r in rows[:3]]
    # What is best around midnight in December stands opposite the sun, near 5 h.
    hours = [r["ra_deg"] / 15.0 for r in rows]
    assert sum(2.0 <= h <= 9.0 for h in hours) >= 8


def test_pictures(season, tmp_path):
    for name, style in (("a.png", "day"), ("b.svg", "red")):
        season("M 42", "--plot", str(tmp_path / name), "--style", style)
        assert (tmp_path / name).stat().st_size > 10_000


def test_text_for_people(season):
    text = season("M 42", as_json=False)
    assert "Best weeks" in text
    assert max(len(line) for line in text.splitlines()) <= 80
    assert len(text.splitlines()) <= 22
    # M 42's year is told with the train that `frame` takes for it, as M 51's is.
    assert "The reducer sees" in text
    wide = season("NGC 7000", as_json=False)
    assert "The reducer sees" in wide
    assert max(len(line) for line in wide.splitlines()) <= 80
    assert "The flattener sees" in season("M 51", as_json=False)
    listed = season("--count", "5", as_json=False)
    assert "Oct 2027" in listed
    assert max(len(line) for line in listed.splitlines()) <= 80


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("xyzzy",), "xyzzy"),
        (("M 42", "--train", "none"), "train"),
        (("M 42", "--plot", "year.bmp"), "year.bmp"),
        (("M 42", "--plot", "year.png", "--style", "loud"), "loud"),
        (("--month", "2026-01"), "--month"),
        (("--month", "soon"), "--month"),
    ],
)
def test_faulty_options(season, options, words):
    with pytest.raises(NightplanError) as caught:
        season(*options)
    assert words in str(caught.value)


def test_heat_map_for_dark_adapted_eyes(season, tmp_path):
    """In red the map stays dark, also where a target is up all night.

    sRGB (IEC 61966-2-1): the light of a channel goes with the power 2.4 of its value.
    """
    import numpy as np
    from PIL import Image

    path = tmp_path / "year.png"
    season("M 81", "--plot", str(path), "--style", "red", as_json=False)
    shown = np.asarray(Image.open(path).convert("RGB")) / 255.0
    assert shown[..., 1:].max() == 0.0
    light = ((shown[..., 0] + 0.055) / 1.055) ** 2.4
    assert light.mean() < 0.1
    assert (shown[..., 0] > 0.3).mean() < 0.1
    assert shown[..., 0].max() == 1.0
