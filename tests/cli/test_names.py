"""Targets as they are typed: unquoted words, nicknames."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from nightplan.cli.common import typed_names
from nightplan.cli.main import run
from nightplan.model.config import load_config

Capture = pytest.CaptureFixture[str]


@pytest.mark.parametrize("command", ["frame", "exposure"])
def test_a_name_need_not_be_quoted(config_file: Path, capsys: Capture, command: str) -> None:
    arguments = [command, "M", "33", "--date", "2027-10-06", "--json"]
    assert run([*arguments, "--config", str(config_file)]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    target = json.loads(said.out)["target"]
    assert (target if isinstance(target, str) else target["name"]) == "M 33"


def test_several_unquoted_names(config_file: Path) -> None:
    config = load_config(config_file)
    assert typed_names(config, ["M", "33", "north", "america", "NGC 6888"]) == [
        "M 33",
        "NGC 7000",
        "NGC 6888",
    ]
    assert typed_names(config, []) == []


def test_a_nickname_says_whom_it_means(config_file: Path, capsys: Capture) -> None:
    arguments = ["exposure", "owl", "--date", "2027-03-06", "--json"]
    assert run([*arguments, "--config", str(config_file)]) == 0
    said = capsys.readouterr()
    assert "M 97" in said.out
    assert said.err.startswith("owl is taken as M 97 (Owl Nebula), not as NGC 457")
    assert said.err.count("\n") == 1


def test_a_kind_that_no_target_has_offers_the_others(config_file: Path, capsys: Capture) -> None:
    assert run(["frame", "sunflower nebula", "--config", str(config_file)]) == 2
    said = capsys.readouterr().err
    assert "M 63" in said
    assert said.count("\n") == 1
