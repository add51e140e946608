"""`nightplan` alone: is tonight worth it, and what is done when."""

from __future__ import annotations

from pathlib import Path

import click

from nightplan.cli.common import doing, emit, evening_of, load

BEGIN = """\
There is no {path} here yet. Begin with

  nightplan start    eight questions about your site and rig
  nightplan          is tonight worth it, and what is done when

Or look at an invented night first: nightplan demo. All commands: nightplan --help"""


def answer(config_path: Path, evening: str | None, as_json: bool) -> None:
    """Print the night in a few lines, or how to begin where there is no configuration.

    With `as_json` this is the document of ``nightplan plan``.
    """
    if not config_path.exists() and not as_json:
        click.echo(BEGIN.format(path=config_path))
        return
    from nightplan.library.earlier import remembered
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.tonight.limits import planned_night
    from nightplan.planning.tonights_plan.plan import make_plan
    from nightplan.report.documents.plan import plan_document
    from nightplan.report.texts.tonight_text import tonight_text

    journal = remembered(load(config_path))
    config = journal.config
    night = planned_night(config, evening_of(config.site, evening))
    with doing("planning the night"):
        plan = make_plan(config, night, catalog_for(config), earlier=journal.earlier)
    document = plan_document(plan)
    emit(document, as_json, lambda: tonight_text(document, night, config))
