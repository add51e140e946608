"""`nightplan season`: a target's useful hours over a year, or the best targets of a month."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from nightplan.cli.common import (
    NumberRange,
    check_picture,
    common_options,
    counting,
    doing,
    emit,
    evening_of,
    load,
    picture_options,
    typed_target,
    wrote,
)

if TYPE_CHECKING:
    import datetime


@click.command("season")
@click.argument("words", nargs=-1, metavar="[TARGET]")
@common_options
@click.option(
    "--train",
    metavar="NAME",
    help="The train whose field counts. [default: the best for TARGET, of a month for each]",
)
@click.option("--plot", type=click.Path(path_type=Path), metavar="FILE", help="Calendar heat map.")
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
    evening: str | None,
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
    import numpy as np

    from nightplan.library.earlier import with_stored_goals
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.choosing.exposure import fitting_train
    from nightplan.planning.choosing.merits import best_merits
    from nightplan.planning.optics.train_optics import train_optics
    from nightplan.planning.photons.goals import target_goals
    from nightplan.planning.season.ranking import fitting, one_a_subject, rank_month
    from nightplan.planning.season.season import season, year_nights
    from nightplan.report.documents.season import month_document, season_document
    from nightplan.report.looks.style import save_figure
    from nightplan.report.texts.season_text import month_text, season_text

    check_picture(plot, style)
    config = with_stored_goals(load(config_path))
    first = evening_of(config.site, evening)
    if not words:
        if plot is not None:
            raise click.UsageError("--plot shows one target: name it")
        wanted = _month(month, first)
        catalog = catalog_for(config)
        trains = {
            name: fitting(catalog, train_optics(config, name))
            for name in ([train] if train else config.train)
        }
        rows = np.flatnonzero(np.any(list(trains.values()), axis=0))
        nights = year_nights(config.site, first.replace(day=1))
        with counting("going through the year") as show:
            table = season(config, nights, catalog.ra_deg[rows], catalog.dec_deg[rows], show)
        allowed = {name: mask[rows] for name, mask in trains.items()}
        merits = best_merits(config, catalog.subset(rows), allowed, nights.frame.utc_mjd)
        looked_at = rank_month(table, rows, merits, wanted, 3 * count, least_hours)
        listed = month_document(one_a_subject(config, catalog, looked_at)[:count], catalog)
        emit(listed, as_json, lambda: month_text(listed, wanted, full=full))
        return
    if month is not None:
        raise click.UsageError("--month ranks the catalogue: leave TARGET out")
    catalog = catalog_for(config)
    found = typed_target(catalog, words)
    optics = train_optics(config, train or fitting_train(config, found))
    with doing("going through the year") as say:
        table = season(config, year_nights(config.site, first), found.ra_deg, found.dec_deg)
        if plot is not None:
            from nightplan.report.plots.season_plot import season_figure

            say("drawing the heat map")
            save_figure(plot, season_figure(table, found.label, style=style, narrow=narrow))
    hours = target_goals(config, [found], optics.name)[0].hours
    emit(
        season_document(table),
        as_json,
        lambda: season_text(table, found, optics, hours, least_hours),
    )
    wrote(as_json, plot)


def _month(text: str | None, first: datetime.date) -> tuple[int, int]:
    """The month to rank; one of the twelve that the year from `first` on holds."""
    import re

    from nightplan.errors import InputError

    if text is None:
        return first.year, first.month
    found = re.fullmatch(r"(\d{4})-(\d{2})", text)
    months = [divmod(first.year * 12 + first.month - 1 + step, 12) for step in range(12)]
    held = [(year, month + 1) for year, month in months]
    if found is None or (int(found[1]), int(found[2])) not in held:
        last = held[-1]
        accepted = f"YYYY-MM from {first:%Y-%m} to {last[0]:04d}-{last[1]:02d}"
        raise InputError("command line", "--month", text, accepted)
    return int(found[1]), int(found[2])
