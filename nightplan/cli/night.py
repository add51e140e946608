"""`nightplan night`: the dark window of one night."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from nightplan.cli.common import common_options, load, load_for_all_sites, show


@click.command("night")
@common_options
@click.option("--all-sites", is_flag=True, help="Compare the night at every site of the file.")
def command(
    config_path: Path, evening: datetime.date | None, as_json: bool, all_sites: bool
) -> None:
    """Show the twilights, the moon and the window that holds all work of the night.

    \b
    Examples:
        nightplan night --date 2027-10-06
        nightplan night --all-sites
    """
    if all_sites:
        from nightplan.library import nights_by_site

        show(nights_by_site(load_for_all_sites(config_path), evening), as_json)
        return
    from nightplan.library import night

    show(night(load(config_path), evening), as_json)
