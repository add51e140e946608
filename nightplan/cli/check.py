"""`nightplan check`: read the configuration back, with what looks odd."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from nightplan.cli.common import config_option, date_option, emit, json_option, load


@click.command("check")
@config_option
@partial(date_option, words="Taken as by every command, but of no effect.")
@json_option
def command(config_path: Path, evening: str | None, as_json: bool) -> None:
    """Read a configuration back in plain words, and say what looks odd in it.

    What is outside its accepted range is an error, as with every command; what is odd may still
    be what you want.

    \b
    Example:
        nightplan check
    """
    import datetime

    from nightplan.planning.optics.rig_oddities import rig_oddities
    from nightplan.report.documents.check import check_document
    from nightplan.report.texts.check_text import check_text
    from nightplan.report.wording.oddity_words import oddity_words

    config = load(config_path)
    odd = rig_oddities(config, datetime.datetime.now(datetime.UTC))
    document = check_document(config, [(oddity, oddity_words(oddity)) for oddity in odd])
    emit(document, as_json, lambda: check_text(document, config))
