"""`nightplan` alone: is tonight worth it, and what is done when."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from nightplan.cli.common import doing, emit, load

BEGIN = """\
There is no {path} here yet. Begin with

  nightplan start    eight questions about your site and rig
  nightplan          is tonight worth it, and what is done when

Or look at an invented night first: nightplan demo. All commands: nightplan --help"""


def answer(config_path: Path, evening: datetime.date | None, as_json: bool) -> None:
    """Print the night in a few lines, or how to begin where there is no configuration.

    With `as_json` this is the document of ``nightplan plan``.
    """
    if not config_path.exists() and not as_json:
        click.echo(BEGIN.format(path=config_path))
        return
    from nightplan.library import plan
    from nightplan.report.texts.tonight_text import tonight_text

    config = load(config_path)
    with doing("planning the night"):
        planned = plan(config, evening)
    document = planned.document
    emit(document, as_json, lambda: tonight_text(document, planned.plan.night, config))
