"""`nightplan review`: the morning after, planned against shot."""

from __future__ import annotations

from pathlib import Path

import click

from nightplan.cli.common import common_options, emit, evening_of, load, wrote


@click.command("review")
@common_options
@click.option(
    "--keep",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The saved plan; else the one that `nightplan follow` began with.",
)
@click.option(
    "--plot",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Save planned against shot as a picture (.png, .svg or .pdf).",
)
def command(
    config_path: Path, evening: str | None, as_json: bool, keep: Path | None, plot: Path | None
) -> None:
    """Compare a night's plan with what was shot, block by block.

    Says what the night brought of each goal, what is missing, and when the next night for it
    comes. Collect the night's files first.

    \b
    Examples:
        nightplan review
        nightplan review --date 2027-10-06 --keep plan.json --plot review.png
    """
    from nightplan.library.reviewing import review
    from nightplan.report.looks.style import picture_format

    if plot is not None:
        picture_format(plot)
    config = load(config_path)
    found = review(config, evening_of(config.site, evening), keep)
    if plot is not None:
        found.save_plot(plot)
    emit(found.document, as_json, lambda: str(found))
    wrote(as_json, plot)
