"""Shared by the library's tests: the demo in a folder of its own, without a journal."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import nightplan
from nightplan.model.config import Config, load_config

EVENING = "2027-10-06"


@pytest.fixture
def config(config_file: Path) -> Config:
    """The demo scenario as a file in an empty folder."""
    return load_config(config_file)


@pytest.fixture
def command(config_file: Path) -> Callable[..., Any]:
    """Run a command on the same configuration, in this process, and read its JSON document."""
    from nightplan.cli.main import group

    def run(*args: str) -> Any:
        result = CliRunner().invoke(group, [*args, "--json", "--config", str(config_file)])
        assert result.exit_code == 0, result.output
        return json.loads(result.stdout)

    return run


@pytest.fixture(scope="session")
def planned(demo: Config) -> nightplan.Planned:
    """A plan of one target on the demo night; no journal."""
    return nightplan.plan(demo, EVENING, "M 33", journal=False)
