"""`nightplan campaign`: which of the coming nights serve which target."""

from __future__ import annotations

import datetime
from functools import partial
from pathlib import Path

import click

from nightplan.cli.common import (
    check_picture,
    common_options,
    counting,
    file_option,
    full_option,
    load,
    picture_options,
    show,
    typed_names,
    wrote,
)


@click.command("campaign")
@common_options
@click.argument("targets", nargs=-1, metavar="[TARGET]...")
@click.option("--nights", default=30, show_default=True, type=int, metavar="N", help="How many.")
@click.option(
    "--chance",
    type=float,
    metavar="SHARE",
    help="Chance, 0 to 1, that a night is clear. [default: preferences.clear_night_chance]",
)
@file_option("--plot", words="Save the calendar (.png, .svg or .pdf).")
@picture_options
@partial(full_option, words="Every night, why each train, and what should wait.")
def command(
    config_path: Path,
    evening: datetime.date | None,
    as_json: bool,
    targets: tuple[str, ...],
    nights: int,
    chance: float | None,
    plot: Path | None,
    style: str,
    narrow: bool,
    full: bool,
) -> None:
    """Share the coming nights out over targets and trains, and say when goals are reached.

    Without a TARGET: those with a goal or in the configuration's list, or else the best of the
    first night. Moonlit nights go to what the moon spoils least. Each night is clear with the
    chance given; the expected date is that by which half of all skies have brought the goal.

    \b
    Examples:
        nightplan campaign "M 31" "NGC 7000" --nights 60 --chance 0.4
        nightplan campaign --nights 30 --plot calendar.svg
    """
    from nightplan.library import campaign

    config = load(config_path)
    check_picture(plot, style)
    names = typed_names(config, targets)
    with counting("looking ahead") as count:
        coming = campaign(config, names, evening, nights, chance=chance, on_step=count)
    if plot is not None:
        coming.save_plot(plot, style=style, narrow=narrow)
    show(coming, as_json, full=full)
    wrote(as_json, plot)
