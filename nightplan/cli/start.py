"""`nightplan start`: write the starter file."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from nightplan.cli.common import config_option, date_option, json_option


@click.command("start")
@config_option
@partial(date_option, words="Taken as by every command, but of no effect: the file holds no date.")
@json_option
def command(config_path: Path, evening: str | None, as_json: bool) -> None:
    """Write a commented configuration file; one that exists is never overwritten.

    The file is valid as written: the invented site "Hollow Ridge" and its rig.

    \b
    Example:
        nightplan start --config ridge.toml
    """
    import json

    from nightplan.files import write_whole
    from nightplan.model.starter import starter_text

    write_whole(config_path, starter_text(), replace=False)
    if as_json:
        click.echo(json.dumps({"written": str(config_path)}))
    else:
        click.echo(f"{config_path} is written. Put your site and rig in, then: nightplan night")
