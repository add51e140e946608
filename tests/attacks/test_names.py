"""Names in any script, with signs that mean something to a formula, a page or a table."""

from __future__ import annotations

import csv
import json
import warnings
from pathlib import Path
from xml.etree import ElementTree

import pytest
from astropy.io import fits
from astropy.table import Table
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.cli.main import run
from nightplan.errors import NightplanError
from nightplan.model.config import parse_config
from nightplan.model.name_lookup import normalise
from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import starter_text
from nightplan.model.target import is_name

NAMES = [
    "Höhlennebel", "Туманность Пещера", "洞窟星云", "سديم الكهف", "ערפילית המערה", "กลุ่มดาว",
    "동굴 성운",
    "$x_{$", "$x^2$", "a_b^c\\frac", "<b>&\"'", "=1+1", "A,B\"C", "100 % {x}", "🌌 1", "ﬁeld Ⅳ",
    "n" * 200,
]  # fmt: skip
FIGURES = 'ra_deg = 343.0\ndec_deg = 62.5\nmajor_arcmin = 50.0\nkind = "emission_nebula"\n'
DATE = ["--date", "2027-10-06"]


def with_names(name: str) -> str:
    """The starter file with one name for its site, a filter, a train, and a target of its own."""
    quoted = json.dumps(name, ensure_ascii=False)
    text = starter_text().replace('"Hollow Ridge"', quoted)
    text = text.replace("[train.reducer]", f"[train.{quoted}]")
    text = text.replace("[filter.L]", f"[filter.{quoted}]")
    return f"{text}\n[target.{quoted}]\n{FIGURES}"


@pytest.mark.parametrize("name", NAMES, ids=range(len(NAMES)))
def test_an_own_target_of_any_script_is_found(name):
    config = parse_config(with_names(name))
    catalog = catalog_for(config)
    for spelling in (name, name.upper(), f"  {name.casefold()} "):
        assert catalog.name[catalog.find(spelling)] == name


@given(st.text(min_size=1, max_size=30).filter(is_name), st.text(min_size=1, max_size=30))
@settings(max_examples=200, deadline=None)
def test_a_name_has_a_key_of_its_own(name, other):
    assert normalise(name)
    assert normalise(name) == normalise(name.casefold())
    assert "\n" not in normalise(other.replace("\n", ""))


# Signs that table programs, formulas and pages read, and one that the picture's font lacks.
ALL_AT_ONCE = "=Höhle 洞 $x_{$ <b>&\"'"


def test_every_output_takes_the_name(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    name = ALL_AT_ONCE
    Path("nightplan.toml").write_text(with_names(name), encoding="utf-8")
    commands = [
        ["frame", name, "--chart", "c.png", "--header", "h.fits", "--footprint", "f.ecsv",
         "--record", "--goal", f"{name}=4"],
        ["plan", name, "--plot", "p.svg", "--export", "p.ics", "--export", "p.csv",
         "--export", "p.json"],
        ["plan", name, "--save", "kept.json"],
        ["sheet", "--keep", "kept.json", "--output", "s.html", "--quick"],
        ["campaign", name, "--nights", "2", "--plot", "m.png"],
        ["review", "--keep", "kept.json", "--plot", "r.png"],
        ["frame", name, "--page", "turn.html"],
        ["season", name, "--plot", "y.png"],
        ["exposure", name, "--plot", "e.png"],
        ["pick", "--count", "3"],
    ]  # fmt: skip
    with warnings.catch_warnings():
        warnings.simplefilter("error", UserWarning)
        for command in commands:
            assert run([*command, *DATE]) == 0, (command, capsys.readouterr().err)
            assert capsys.readouterr().err == ""
    text = Path("p.json").read_text(encoding="utf-8")
    assert name in {block["target"] for block in json.loads(text)["blocks"]}
    with Path("p.csv").open(encoding="utf-8", newline="") as stream:
        # A table program takes a leading "=" for a formula: it must not be the cell's first sign.
        assert all(cell[:1] not in "=+@" or not cell for row in csv.reader(stream) for cell in row)
    ElementTree.fromstring(Path("p.svg").read_text(encoding="utf-8"))
    card = fits.getheader("h.fits")["OBJECT"]
    assert card.isascii()
    assert card == "=Hohle Dong $x_{$ <b>&\"'"  # Pinyin and the letter without its accent; by hand
    Table.read("f.ecsv")
    for page in ("s.html", "turn.html"):
        assert "<b>&" not in Path(page).read_text(encoding="utf-8")
    for picture in ("c.png", "y.png", "e.png", "m.png", "r.png"):
        assert Path(picture).stat().st_size > 10_000


BAD = ["a\x1b[2J", "a\nb", "a\x00", "\x9b", "a\u202eb", "a\u2066", "\u200b", "a\ufeff", "\x7f"]


@pytest.mark.parametrize("name", BAD, ids=ascii)
@pytest.mark.parametrize("old", ["filter.L", "train.reducer", "target.X", '= "Hollow Ridge"'])
def test_control_characters_are_refused(name, old):
    escaped = json.dumps(name)  # TOML's escapes are JSON's, but for the pair beyond U+FFFF
    text = f"{starter_text()}\n[target.X]\n{FIGURES}"
    owner, dot, _ = old.rpartition(".")
    text = text.replace(old, f"{owner}.{escaped}" if dot else f"= {escaped}", 1)
    with pytest.raises(NightplanError, match=r"control characters|not valid TOML"):
        parse_config(text)


@pytest.mark.parametrize("name", ["", " ", "★", "…", "a;b", "n" * 201])
def test_a_name_that_could_not_be_found_is_refused(name):
    text = f"{starter_text()}\n[target.{json.dumps(name, ensure_ascii=False)}]\n{FIGURES}"
    with pytest.raises(NightplanError, match="with a letter or a digit"):
        catalog_for(parse_config(text))
