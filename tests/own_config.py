"""The starter file with changes, for tests that need another rig, site or wish."""

from __future__ import annotations

from nightplan.model.config import Config, parse_config
from nightplan.model.starter import starter_text


def configured(*changes: tuple[str, str]) -> Config:
    """The configuration of the starter file with the first of each text replaced by another."""
    text = starter_text()
    for before, after in changes:
        assert before in text, before
        text = text.replace(before, after, 1)
    return parse_config(text)
