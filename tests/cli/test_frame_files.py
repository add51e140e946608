"""Files that `nightplan frame` writes, and what it says of the guider and the bolted train."""

from __future__ import annotations

import gzip
import json
import math
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from nightplan.cli.main import run as run_words
from nightplan.model.starter import starter_text
from nightplan.sky.angles import separation_deg

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "nightplan.toml").write_text(starter_text())

    def call(*args: str) -> tuple[int, str, str]:
        status = run_words(["frame", *args])
        shown = capsys.readouterr()
        return status, shown.out, shown.err

    return call


def test_chart_header_and_footprint_agree_with_the_document(run: Run, tmp_path: Path) -> None:
    """The header read by astropy.wcs, the table by astropy.table."""
    from astropy.io import fits
    from astropy.table import Table
    from astropy.wcs import WCS

    code, out, err = run(
        "NGC 281", "--json", "--date", "2026-11-25", "--angle", "40", "--chart", "chart.svg",
        "--style", "red", "--header", "field.fits", "--footprint", "field.ecsv",
    )  # fmt: skip
    assert (code, err) == (0, "")
    document = json.loads(out)
    panel = document["panels"][0]
    assert "<svg" in (tmp_path / "chart.svg").read_text()
    with fits.open(tmp_path / "field.fits") as units:
        assert units[1].shape == (4000, 6000)
        sky = WCS(units[1].header).all_pix2world([[3000.5, 2000.5], [3100.5, 2000.5]], 1)
    assert separation_deg(*sky[0], panel["ra_deg"], panel["dec_deg"]) * 3600 < 0.01
    # A reader that looks at the first header alone: size, centre and corners, without a warning.
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        first = WCS(fits.getheader(tmp_path / "field.fits"))
        assert first.pixel_shape == (6000, 4000)
        middle = first.pixel_to_world((6000 - 1) / 2, (4000 - 1) / 2).icrs
        corners = first.calc_footprint()
    assert separation_deg(middle.ra.deg, middle.dec.deg, *sky[0]) * 3600 < 0.01
    diagonal = separation_deg(*corners[0], *corners[2])
    focal_mm = 784.0 * {"flattener": 1.0, "reducer": 0.75}[document["train"]]
    expected = 2.0 * math.atan(math.hypot(6000.0, 4000.0) * 0.0039 / 2.0 / focal_mm)
    assert abs(diagonal - math.degrees(expected)) < 1e-3
    table = Table.read(tmp_path / "field.ecsv")
    assert len(table) == len(document["panels"])
    assert abs(table["position_angle_deg"][0] - 40.0) < 1e-3


def test_every_panel_and_a_packed_header_file(run: Run, tmp_path: Path) -> None:
    """astropy finds each panel at full size, and the gzipped file says the same in kilobytes."""
    from astropy.io import fits
    from astropy.wcs import WCS

    for name in ("field.fits", "field.fits.gz"):
        code, out, _ = run(
            "NGC 7000", "--json", "--date", "2027-10-06", "--train", "flattener", "--header", name
        )
        assert code == 0
        panels = json.loads(out)["panels"]
        assert len(panels) > 1
        with fits.open(tmp_path / name) as units:
            assert len(units) == 1 + len(panels)
            for unit, panel in zip(units, [panels[0], *panels], strict=True):
                assert unit.shape == (4000, 6000)
                assert not unit.data.any()
                place = WCS(unit.header).pixel_to_world(2999.5, 1999.5).icrs
                apart = separation_deg(
                    place.ra.deg, place.dec.deg, panel["ra_deg"], panel["dec_deg"]
                )
                assert apart * 3600 < 0.01
    assert (tmp_path / "field.fits.gz").stat().st_size < 100_000
    assert (
        gzip.decompress((tmp_path / "field.fits.gz").read_bytes())
        == (tmp_path / "field.fits").read_bytes()
    )


def test_guider_keys(run: Run) -> None:
    """The keys and states of the interface."""
    code, out, _ = run("M 51", "--json", "--date", "2027-03-01")
    assert code == 0
    guide = json.loads(out)["guide"]
    for side in ("before_meridian", "after_meridian"):
        assert guide[side]["state"] in {"found", "expected", "unlikely"}
        assert guide[side]["expected_count"] >= len(guide[side]["stars"])
    better = guide["better_image_up_angle_deg"]
    assert (better is None) == isinstance(guide.get("better_image_up_angle_deg_reason"), str)


def test_a_deeper_star_file_beside_the_configuration(run: Run, tmp_path: Path) -> None:
    """Stars of G 11.5 strewn densely: then the guider finds one where G 10 has none."""
    code, out, _ = run("M 51", "--json", "--date", "2027-03-01")
    before = json.loads(out)["guide"]["before_meridian"]
    assert code == 0
    assert before["state"] != "found"
    ra, dec = np.meshgrid(np.arange(199.0, 206.0, 0.1), np.arange(45.5, 49.0, 0.07))
    rows = [f"{a:.4f},{d:.4f},11.5" for a, d in zip(ra.ravel(), dec.ravel(), strict=True)]
    (tmp_path / "deep.csv").write_text("ra_deg,dec_deg,g_mag\n" + "\n".join(rows) + "\n")
    text = starter_text().replace('# star_file = "deeper-stars.csv"', 'star_file = "deep.csv"')
    (tmp_path / "nightplan.toml").write_text(text)
    code, out, _ = run("M 51", "--json", "--date", "2027-03-01")
    after = json.loads(out)["guide"]["before_meridian"]
    assert code == 0
    assert after["state"] == "found"
    assert after["stars"][0]["g_mag"] == 11.5
    (tmp_path / "deep.csv").write_text("ra_deg,dec_deg,g_mag\n1,2,x\n")
    code, _, err = run("M 51", "--json")
    assert code == 2
    assert err.count("\n") == 1
    assert "deep.csv: line 2, g_mag = 'x'" in err


def test_train_as_bolted_together(run: Run) -> None:
    code, out, _ = run("M 51", "--json", "--train", "reducer", "--date", "2027-03-01")
    assert code == 0
    document = json.loads(out)
    assert any("add 0.87 mm" in note for note in document["bolted_together"])
    assert any("add 0.87 mm" in note for note in document["notices"])


@pytest.mark.parametrize(
    ("args", "message"),
    [
        (("--chart", "x.bmp"), ".png, .svg or .pdf"),
        (("--chart", "x.png", "--style", "loud"), "--style = 'loud'"),
        (("--footprint", "x.json"), ".stcs"),
        (("--header", "nowhere/x.fits"), "cannot be written"),
    ],
)
def test_refusals(run: Run, tmp_path: Path, args: tuple[str, ...], message: str) -> None:
    code, _, err = run("M 51", *args)
    assert code == 2
    assert err.count("\n") == 1
    assert message in err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["nightplan.toml"]
