"""`nightplan demo`: plan a night of the invented scenario."""

from __future__ import annotations

import datetime
from functools import partial
from pathlib import Path

import click

from nightplan.cli.common import (
    check_picture,
    config_option,
    date_option,
    doing,
    file_option,
    full_option,
    json_option,
    picture_options,
)
from nightplan.cli.plan import FULL_HELP, PLOT_HELP

DEMO_EVENING = "2027-10-06"


@click.command("demo")
@config_option
@partial(
    date_option,
    words=f"Civil date at the site's noon before the night. [default: {DEMO_EVENING}]",
)
@json_option
@file_option("--plot", words=PLOT_HELP)
@picture_options
@partial(full_option, words=FULL_HELP)
def command(
    config_path: Path,
    evening: datetime.date | None,
    as_json: bool,
    plot: Path | None,
    style: str,
    narrow: bool,
    full: bool,
) -> None:
    """Plan one night of the demo scenario: the invented site "Hollow Ridge" and its rig.

    The site and rig do not exist; sky, moon and photons are computed like for any other. The
    night is that of 2027-10-06 unless --date says otherwise; --config is not read.

    \b
    Example:
        nightplan demo --plot demo.png
    """
    from nightplan.cli.plan import show_plan
    from nightplan.library import demo_config, plan

    check_picture(plot, style)
    with doing("framing the targets and solving the night"):
        planned = plan(demo_config(), evening or DEMO_EVENING, journal=False)
    show_plan(planned, as_json, plot, full=full, look=(style, narrow))
