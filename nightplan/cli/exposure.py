"""`nightplan exposure TARGET`: what each filter collects, and the sub length."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from nightplan.cli.common import (
    EARLIEST,
    LATEST,
    check_picture,
    common_options,
    doing,
    file_option,
    full_option,
    load,
    picture_options,
    show,
    typed_name,
    wrote,
)
from nightplan.errors import InputError


@click.command("exposure")
@click.argument("words", nargs=-1, required=True, metavar="TARGET")
@common_options
@click.option("--train", metavar="NAME", help="The train. [default: the one that fits it best]")
@click.option(
    "--time",
    "time_text",
    metavar="UTC",
    help="Moment in UTC, such as 2027-10-06T22:30:00Z. [default: the night's best moment]",
)
@file_option("--plot", words="Save worth against time for every filter (.png, .svg, .pdf).")
@picture_options
@full_option
def command(
    words: tuple[str, ...],
    config_path: Path,
    evening: datetime.date | None,
    as_json: bool,
    train: str | None,
    time_text: str | None,
    plot: Path | None,
    style: str,
    narrow: bool,
    full: bool,
) -> None:
    """Show sky and target rates per filter, gain, sub length, S/N, and what an hour is worth.

    \b
    Examples:
        nightplan exposure "M 33" --date 2027-10-06
        nightplan exposure "NGC 7000" --time 2027-10-20T22:30:00Z --plot worth.png
    """
    from astropy.time import Time

    from nightplan.library import exposure

    check_picture(plot, style)
    config = load(config_path)
    moment = None if time_text is None else _moment(time_text)
    name = typed_name(config, words)
    with doing("weighing the night, filter by filter") as say:
        time = None if moment is None else Time(moment)
        photons = exposure(config, name, evening, train=train, time=time)
        if plot is not None:
            say("drawing the plot")
            photons.save_plot(plot, style=style, narrow=narrow)
    show(photons, as_json, full=full)
    wrote(as_json, plot)


def _moment(text: str) -> datetime.datetime:
    """The time that `--time` names."""
    try:
        moment = datetime.datetime.fromisoformat(text)
    except ValueError:
        moment = None
    good = moment is not None and moment.tzinfo is not None
    if moment is None or not good or not EARLIEST <= moment.date() <= LATEST:
        raise InputError(
            "command line",
            "--time",
            text,
            f"an ISO 8601 time in UTC ending in Z, from {EARLIEST} to {LATEST}",
        )
    return moment
