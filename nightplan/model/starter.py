"""The commented file that a new user starts from: the demo scenario, all of it invented."""

from __future__ import annotations

from importlib.resources import files

from nightplan.model.config import Config, parse_config


def starter_text() -> str:
    """The starter file, valid as it stands."""
    return files("nightplan.model").joinpath("starter.toml").read_text(encoding="utf-8")


def demo_config() -> Config:
    """The demo scenario as a configuration."""
    return parse_config(starter_text(), "nightplan.toml")
