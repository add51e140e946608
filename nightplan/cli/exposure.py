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
    emit,
    evening_of,
    load,
    picture_options,
    typed_target,
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
@click.option(
    "--plot",
    "plot_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Save worth against time for every filter (.png, .svg, .pdf).",
)
@picture_options
@click.option("--full", is_flag=True, help="All figures, with their sources.")
def command(
    words: tuple[str, ...],
    config_path: Path,
    evening: str | None,
    as_json: bool,
    train: str | None,
    time_text: str | None,
    plot_path: Path | None,
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
    from nightplan.library.earlier import with_stored_goals
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.choosing.exposure import exposure_of
    from nightplan.planning.tonight.limits import planned_night
    from nightplan.planning.tonight.night import default_evening
    from nightplan.report.documents.exposure import exposure_document
    from nightplan.report.texts.exposure_text import exposure_text
    from nightplan.sky.times import mjd_from_datetime

    check_picture(plot_path, style)
    config = with_stored_goals(load(config_path))
    moment = None if time_text is None else _moment(time_text)
    if moment is not None and evening is None:
        date = default_evening(config.site, moment)
    else:
        date = evening_of(config.site, evening)
    catalog = catalog_for(config)
    target = typed_target(catalog, words)
    utc_mjd = None if moment is None else mjd_from_datetime(moment)
    with doing("weighing the night, filter by filter") as say:
        exposure = exposure_of(config, planned_night(config, date), target, train, utc_mjd)
        if plot_path is not None:
            from nightplan.report.plots.worth_plot import save_worth_plot

            say("drawing the plot")
            save_worth_plot(plot_path, exposure, style, narrow=narrow)
    document = exposure_document(exposure)
    emit(document, as_json, lambda: exposure_text(document, config.site, full=full))
    wrote(as_json, plot_path)


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
