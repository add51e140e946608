"""`nightplan exposure`: the pinned keys, their bookkeeping, and its errors."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from nightplan.cli.main import run as run_words

# The keys of shared/design/interface.md, copied here.
FILTERS = ("L", "R", "G", "B", "Ha", "OIII", "SII")
SKY_KEYS = {
    "target_altitude_deg", "moon_altitude_deg", "moon_separation_deg", "moon_phase_angle_deg",
    "extinction_v_mag_airmass", "dark_v_mag_arcsec2", "moonlight_v_nl", "moonlight_used_v_nl",
    "twilight_v_nl", "total_v_mag_arcsec2",
}  # fmt: skip
FILTER_KEYS = {
    "filter", "sky_mag_arcsec2", "sky_rate_e_s_px", "target_rate_e_s_px",
    "target_brightness_source", "gain", "sub_s", "sub_bound", "sub_extra_noise", "snr_one_hour",
    "worth",
}  # fmt: skip


Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(config_file: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the command in this process; gives exit status, standard output and error."""

    def call(*args: str) -> tuple[int, str, str]:
        status = run_words(["exposure", *args, "--config", str(config_file)])
        said = capsys.readouterr()
        return status, said.out, said.err

    return call


@pytest.fixture
def document(run: Run) -> dict:
    status, out, err = run(
        "M 33", "--time", "2027-10-12T23:00:00Z", "--train", "flattener", "--json"
    )
    assert status == 0, err
    return json.loads(out)


def test_keys(document: dict) -> None:
    assert document["time_utc"] == "2027-10-12T23:00:00Z"
    assert document["date"] == "2027-10-12"
    assert document["train"] == "flattener"
    assert set(document["sky"]) >= SKY_KEYS
    assert [row["filter"] for row in document["filters"]] == [
        "L",
        "R",
        "G",
        "B",
        "Ha",
        "OIII",
        "SII",
    ]
    for row in document["filters"]:
        assert set(row) >= FILTER_KEYS


def test_total_sky_is_the_sum(document: dict) -> None:
    from nightplan.light.photometry import nl_from_v_mag

    sky = document["sky"]
    parts = float(nl_from_v_mag(sky["dark_v_mag_arcsec2"]))
    parts += sky["moonlight_used_v_nl"] + sky["twilight_v_nl"]
    assert float(nl_from_v_mag(sky["total_v_mag_arcsec2"])) == pytest.approx(parts, rel=1e-3)


def test_printed_moonlight_by_the_papers_equations(document: dict) -> None:
    """K&S 1991 eq. 3 and 15 to 20 written out again from the document's own numbers."""
    from math import cos, radians, sin, sqrt

    sky = document["sky"]

    def path(altitude: float) -> float:
        return 1 / sqrt(1 - 0.96 * sin(radians(90 - altitude)) ** 2)

    alpha, rho = sky["moon_phase_angle_deg"], sky["moon_separation_deg"]
    k = sky["extinction_v_mag_airmass"]
    scattered = 10**5.36 * (1.06 + cos(radians(rho)) ** 2) + 10 ** (6.15 - rho / 40)
    moon = 10 ** (-0.4 * (3.84 + 0.026 * alpha + 4e-9 * alpha**4))
    expected = scattered * moon * 10 ** (-0.4 * k * path(sky["moon_altitude_deg"]))
    expected *= 1 - 10 ** (-0.4 * k * path(sky["target_altitude_deg"]))
    assert rho > 10
    assert sky["moonlight_v_nl"] == pytest.approx(expected, rel=1e-4)


def test_extra_noise_and_snr_follow_from_the_rates(document: dict) -> None:
    noise = {"low": 3.4, "high": 1.4}
    scale2 = (
        next(t for t in document["trains"] if t["train"] == "flattener")["image_scale_arcsec_px"]
        ** 2
    )
    for row in document["filters"]:
        background = row["sky_rate_e_s_px"] + 0.002
        read2 = noise[row["gain"]] ** 2
        extra = (1 + read2 / (background * row["sub_s"])) ** 0.5 - 1
        assert row["sub_extra_noise"] == pytest.approx(extra, rel=1e-4)
        target = row["target_rate_e_s_px"]
        # N subs of one square arcsecond: signal / sqrt(signal + sky + dark + read noise)
        subs = 3600 / row["sub_s"]
        pixels = 1 / scale2
        signal = target * 3600 * pixels
        variance = pixels * (3600 * (target + background) + subs * read2)
        assert row["snr_one_hour"] == pytest.approx(signal / variance**0.5, rel=1e-3)


def test_text_and_plot(run: Run, tmp_path: Path) -> None:
    picture = tmp_path / "worth.svg"
    status, out, err = run("NGC 7000", "--date", "2027-10-01", "--plot", str(picture))
    assert status == 0, err
    assert all(len(line) <= 80 for line in out.splitlines())
    assert len(out.splitlines()) <= 22
    assert f"Written: {picture}" in out
    assert "Catalogue: emission nebula" in out
    _, full, _ = run("NGC 7000", "--date", "2027-10-01", "--full")
    assert all(len(line) <= 80 for line in full.splitlines())
    assert "remembered" in full
    assert picture.read_text(encoding="utf-8").startswith("<?xml")


@pytest.mark.parametrize(
    ("args", "names"),
    [
        (("M 33", "--time", "tomorrow"), ("--time", "ISO 8601")),
        (("M 33", "--time", "2027-10-12T23:00:00"), ("--time", "ending in Z")),
        (("M 33", "--train", "reduser"), ("train", "reducer")),
        (("M 33", "--date", "2027-10-01", "--time", "2027-10-12T23:00:00Z"), ("--time",)),
        (("M 333", "--date", "2027-10-01"), ("M 333",)),
        (("M 33", "--date", "2027-10-01", "--plot", "worth.gif"), (".png",)),
    ],
)
def test_one_line_errors(run: Run, args: tuple[str, ...], names: tuple[str, ...]) -> None:
    status, out, err = run(*args)
    assert status == 2
    assert out == ""
    assert err.count("\n") == 1
    for name in names:
        assert name in err


def test_a_filter_beyond_the_lamp_tables_is_named(
    config_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = config_file.read_text(encoding="utf-8")
    wide = text.replace("centre_nm = 640", "centre_nm = 735")
    assert wide != text
    config_file.write_text(wide, encoding="utf-8")
    arguments = ["M 33", "--train", "flattener", "--time", "2027-10-12T23:00:00Z", "--json"]
    assert run_words(["exposure", *arguments, "--config", str(config_file)]) == 0
    notices = json.loads(capsys.readouterr().out)["notices"]
    assert any("beyond 780 nm" in notice and "in R" in notice for notice in notices)
