"""`nightplan sheet`: the whole way from a configuration to the page."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from nightplan.model.starter import starter_text
from tests.cli.running import assert_one_line_error, document, run

NIGHT = ("--date", "2027-10-06")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sheet")
    (path / "nightplan.toml").write_text(starter_text(), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def red(folder):
    options = ("--output", "red.html", "--style", "red", "--quick")
    found = document("sheet", "M 33", *NIGHT, *options, folder=folder)
    return found, (folder / "red.html").read_text(encoding="utf-8")


def test_document_says_what_was_written(red):
    found, html = red
    assert found["written"] == "red.html"
    assert found["style"] == "red"
    assert found["date"] == "2027-10-06"
    assert found["targets"] == ["M 33"]
    assert found["blocks"] == html.count('class="row block"') > 0
    assert found["size_bytes"] == len(html.encode("utf-8"))


def test_page_has_plot_and_chart_and_is_red_only(red):
    _, html = red
    assert html.count('role="img" aria-label="Altitude of targets and moon') == 2
    assert html.count('aria-label="Framing chart of M 33"') == 1
    assert "CC BY-SA 3.0 IGO" in html  # the stars' licence wants to be named
    html = re.sub(r"@media print\{.*?\n\}\n", "", html, flags=re.DOTALL)
    colours = set(re.findall(r"(?<=[:\"\s])#[0-9a-fA-F]{6}\b", html))
    assert len(colours) > 5
    assert all(re.fullmatch(r"#[0-9a-f]{2}0000", colour) for colour in colours)
    assert not re.search(r"https?:|url\((?!#)", html)


def test_blocks_on_the_page_lie_in_the_window(red):
    _, html = red
    data = json.loads(re.search(r'id="night-data">(.*?)</script>', html)[1])
    start, end = data["strip"]
    work = [item for item in data["items"] if item["id"].startswith("w")]
    assert work
    assert all(start <= item["start"] <= item["end"] <= end + 1000 for item in work)


def test_no_darkness_still_gives_a_sheet(folder):
    text = starter_text().replace("latitude_deg = 38.60", "latitude_deg = 68.0")
    (folder / "north.toml").write_text(text, encoding="utf-8")
    options = ("--config", "north.toml", "--date", "2027-06-20", "--output", "north.html")
    found = document("sheet", "M 33", *options, folder=folder)
    assert found["blocks"] == 0
    html = (folder / "north.html").read_text(encoding="utf-8")
    assert "No window in the night of Sunday 20 June 2027: the sun stays too high" in html
    assert "<svg" not in html


def test_bad_input_is_one_line(folder):
    missing = run("sheet", "M 33", *NIGHT, "--output", "no/x.html", folder=folder)
    assert_one_line_error(missing, "x.html", "no such folder")
    unknown = run("sheet", "Nowhere 7", *NIGHT, "--output", "x.html", folder=folder)
    assert_one_line_error(unknown, "Nowhere 7")
    assert not (folder / "x.html").exists()
    style = run("sheet", "--output", "x.html", "--style", "blue", folder=folder)
    assert style.returncode == 2
    assert "'day', 'red', 'print'" in style.stderr
