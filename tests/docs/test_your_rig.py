"""Every example of a rig in docs/how-to/your-rig.md is a configuration that plans a night."""

from __future__ import annotations

import datetime
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
import tomlkit

from nightplan.model.catalog_reading import load_catalog
from nightplan.model.config import Config, parse_config
from nightplan.model.starter import starter_text
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonights_plan.plan import make_plan

PAGE = Path(__file__).parents[2] / "docs" / "how-to" / "your-rig.md"
FENCE = re.compile(r"^```toml (more|instead)(?: (rig|site)=([^\n]+))?\n(.*?)^```$", re.M | re.S)
EXAMPLES = list(FENCE.finditer(PAGE.read_text(encoding="utf-8")))


def merged(tables: dict[str, Any], more: dict[str, Any]) -> dict[str, Any]:
    """`more` laid into `tables`, key by key."""
    found = dict(tables)
    for key, value in more.items():
        both = isinstance(value, dict) and isinstance(found.get(key), dict)
        found[key] = merged(found[key], value) if both else value
    return found


def configured(example: re.Match[str]) -> Config:
    kind, owner, name, text = example.groups()
    starter, block = tomllib.loads(starter_text()), tomllib.loads(text)
    tables = merged(starter, block) if kind == "more" else {**starter, **block}
    return parse_config(tomlkit.dumps(tables), **({owner: name} if owner else {}))


@pytest.mark.parametrize(
    "example", EXAMPLES, ids=[" ".join(one[4].split("\n")[0].split()) for one in EXAMPLES]
)
def test_example_plans(example: re.Match[str]) -> None:
    config = configured(example)
    night = compute_night(config.site, datetime.date(2027, 10, 6))
    plan = make_plan(config, night, load_catalog(), ["M 33"], solve_s=3.0)
    assert plan.solution is not None
    assert plan.solution.schedule.blocks
    assert plan.solution.bound >= plan.solution.objective - 1e-9


def test_every_key_of_an_example_is_explained() -> None:
    text = PAGE.read_text(encoding="utf-8")
    told = FENCE.sub("", text)
    for example in EXAMPLES:
        for key in re.findall(r"^(\w+) =", example[4], re.M):
            assert f"{key}`" in told or key in STARTER_KEYS, key


STARTER_KEYS = set(re.findall(r"^(?:# )?(\w+) =", starter_text(), re.M))
"""Explained where the starter file has them."""
