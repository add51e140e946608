"""`nightplan review`: the morning after, planned against shot."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from nightplan.cli.common import (
    check_picture,
    common_options,
    emit,
    file_option,
    load,
    picture_options,
    wrote,
)


@click.command("review")
@common_options
@file_option("--keep", words="The saved plan; else the one that `nightplan follow` began with.")
@file_option("--plot", words="Save planned against shot as a picture (.png, .svg or .pdf).")
@picture_options
def command(
    config_path: Path,
    evening: datetime.date | None,
    as_json: bool,
    keep: Path | None,
    plot: Path | None,
    style: str,
    narrow: bool,
) -> None:
    """Compare a night's plan with what was shot, block by block.

    Says what the night brought of each goal, what is missing, and when the next night for it
    comes. Collect the night's files first.

    \b
    Examples:
        nightplan review
        nightplan review --date 2027-10-06 --keep plan.json --plot review.png
    """
    from nightplan.library import review
    from nightplan.library.inputs import evening_of

    check_picture(plot, style)
    config = load(config_path)
    found = review(config, evening_of(config.site, evening), keep)
    if plot is not None:
        found.save_plot(plot, style=style, narrow=narrow)
    emit(found.document, as_json, lambda: str(found))
    wrote(as_json, plot)
