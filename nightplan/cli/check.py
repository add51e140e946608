"""`nightplan check`: read the configuration back, with what looks odd."""

from __future__ import annotations

import datetime
from functools import partial
from pathlib import Path

import click

from nightplan.cli.common import config_option, date_option, emit, json_option, load


@click.command("check")
@config_option
@partial(date_option, words="Taken as by every command, but of no effect.")
@json_option
def command(config_path: Path, evening: datetime.date | None, as_json: bool) -> None:
    """Read a configuration back in plain words, and say what looks odd in it.

    What is outside its accepted range is an error, as with every command; what is odd may still
    be what you want.

    \b
    Example:
        nightplan check
    """
    from nightplan.library import check

    found = check(load(config_path))
    emit(found.document, as_json, lambda: str(found))
