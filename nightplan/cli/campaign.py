"""`nightplan campaign`: which of the coming nights serve which target."""

from __future__ import annotations

from pathlib import Path

import click

from nightplan.cli.common import (
    check_picture,
    common_options,
    counting,
    emit,
    evening_of,
    load,
    picture_options,
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
@click.option(
    "--plot", type=click.Path(path_type=Path), metavar="FILE", help="Save the calendar picture."
)
@picture_options
@click.option("--full", is_flag=True, help="Every night, why each train, and what should wait.")
def command(
    config_path: Path,
    evening: str | None,
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
    from nightplan.library.earlier import remembered
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.campaign.campaign import check_range, make_campaign
    from nightplan.report.documents.campaign import campaign_document
    from nightplan.report.texts.campaign_text import campaign_text

    journal = remembered(load(config_path))
    config = journal.config
    first = evening_of(config.site, evening)
    if chance is None:
        chance = config.preferences.clear_night_chance
    check_range(nights, chance, "command line", "--")
    check_picture(plot, style)
    names = typed_names(config, targets)
    with counting("looking ahead") as show:
        campaign = make_campaign(
            config,
            first,
            nights,
            catalog_for(config),
            names,
            earlier=journal.earlier,
            chance=chance,
            progress=show,
        )
    document = campaign_document(campaign)
    if plot is not None:
        from nightplan.report.plots.calendar_picture import calendar_picture
        from nightplan.report.plots.calendar_plot import save_calendar_plot

        dump = document.model_dump(mode="json")
        save_calendar_plot(plot, calendar_picture(dump), style, narrow=narrow)
    emit(document, as_json, lambda: campaign_text(document, full=full))
    wrote(as_json, plot)
