"""`nightplan season`: a target's useful hours over a year, or the best targets of a month."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from nightplan.cli.common import (
    NumberRange,
    check_picture,
    common_options,
    counting,
    doing,
    file_option,
    load,
    picture_options,
    show,
    typed_name,
    wrote,
)


@click.command("season")
@click.argument("words", nargs=-1, metavar="[TARGET]")
@common_options
@click.option(
    "--train",
    metavar="NAME",
    help="The train whose field counts. [default: the best for TARGET, of a month for each]",
)
@file_option("--plot", words="Calendar heat map.")
@picture_options
@click.option("--month", metavar="YYYY-MM", help="Without TARGET: rank this month. [default: now]")
@click.option("--count", default=15, type=click.IntRange(1, 500), metavar="N", show_default=True)
@click.option("--full", is_flag=True, help="Without TARGET: the whole list.")
@click.option(
    "--least-hours",
    default=2.0,
    type=NumberRange(0.1, 24.0),
    metavar="H",
    show_default=True,
    help="What makes a night useful.",
)
def command(
    words: tuple[str, ...],
    config_path: Path,
    evening: datetime.date | None,
    as_json: bool,
    train: str | None,
    plot: Path | None,
    style: str,
    narrow: bool,
    month: str | None,
    count: int,
    full: bool,
    least_hours: float,
) -> None:
    """Show the hours above all limits, night by night, for a year from --date on.

    Without TARGET the whole catalogue is gone through, and the targets are listed whose size
    suits a train's field, each in the train that suits it best, and for which the month is best:
    by moonless hours, how near they are to those of the target's own best month, and how it fills
    the field and stands out of the sky, as `pick` scores that.

    \b
    Examples:
        nightplan season "NGC 7000" --plot year.svg
        nightplan season --month 2027-11
    """
    from nightplan.library.years import month_of, year_of

    check_picture(plot, style)
    config = load(config_path)
    if not words:
        if plot is not None:
            raise click.UsageError("--plot shows one target: name it")
        with counting("going through the year") as step:
            best = month_of(
                config,
                month,
                evening,
                train=train,
                count=count,
                least_hours=least_hours,
                on_step=step,
            )
        show(best, as_json, full=full)
        return
    if month is not None:
        raise click.UsageError("--month ranks the catalogue: leave TARGET out")
    name = typed_name(config, words)
    with doing("going through the year") as say:
        year = year_of(config, name, evening, train=train, least_hours=least_hours)
        if plot is not None:
            say("drawing the heat map")
            year.save_plot(plot, style=style, narrow=narrow)
    show(year, as_json)
    wrote(as_json, plot)
