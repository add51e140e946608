"""`nightplan night`: the dark window of one night."""

from __future__ import annotations

from pathlib import Path

import click

from nightplan.cli.common import common_options, emit, evening_of, load


@click.command("night")
@common_options
def command(config_path: Path, evening: str | None, as_json: bool) -> None:
    """Show the twilights, the moon and the window that holds all work of the night.

    \b
    Example:
        nightplan night --date 2027-10-06
    """
    from nightplan.planning.tonight.night import compute_night
    from nightplan.report.documents.night import night_document
    from nightplan.report.texts.night_text import night_text

    config = load(config_path)
    night = compute_night(config.site, evening_of(config.site, evening))
    emit(night_document(night), as_json, lambda: night_text(night))
