"""`nightplan night`: the dark window of one night."""

from __future__ import annotations

from pathlib import Path

import click

from nightplan.cli.common import common_options, emit, evening_of, load, load_sites


@click.command("night")
@common_options
@click.option("--all-sites", is_flag=True, help="Compare the night at every site of the file.")
def command(config_path: Path, evening: str | None, as_json: bool, all_sites: bool) -> None:
    """Show the twilights, the moon and the window that holds all work of the night.

    \b
    Examples:
        nightplan night --date 2027-10-06
        nightplan night --all-sites
    """
    if all_sites:
        _all_sites(config_path, evening, as_json)
        return
    from nightplan.planning.tonight.limits import planned_night
    from nightplan.report.documents.night import night_document
    from nightplan.report.texts.night_text import night_text

    config = load(config_path)
    night = planned_night(config, evening_of(config.site, evening))
    emit(night_document(night), as_json, lambda: night_text(night))


def _all_sites(config_path: Path, evening: str | None, as_json: bool) -> None:
    from nightplan.planning.choosing.where_tonight import sites_tonight
    from nightplan.report.documents.night import sites_document
    from nightplan.report.texts.sites_text import sites_text

    configs = load_sites(config_path)
    first = configs[0].site
    found = sites_tonight(configs, evening_of(first, evening))
    document = sites_document(found, first.name, ranked=False)
    zones = [one.config.site.zone for one in found]
    emit(document, as_json, lambda: sites_text(document, zones))
