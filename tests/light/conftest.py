"""Reads the reference tables that the light tests compare with."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

REFERENCE = Path(__file__).parents[1] / "reference"


@pytest.fixture
def reference_rows() -> Callable[[str], list[dict[str, str]]]:
    """A reader of `tests/reference/light_NAME.csv`; lines that begin with # hold the source."""

    def read(name: str) -> list[dict[str, str]]:
        with (REFERENCE / f"light_{name}.csv").open(encoding="utf-8") as stream:
            return list(csv.DictReader(line for line in stream if not line.startswith("#")))

    return read
