"""`nightplan demo`: plan a night of the invented scenario."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from nightplan.cli.common import (
    check_picture,
    config_option,
    date_option,
    doing,
    evening_of,
    json_option,
    picture_options,
)

DEMO_EVENING = "2027-10-06"


@click.command("demo")
@config_option
@partial(
    date_option,
    words=f"Civil date at the site's noon before the night. [default: {DEMO_EVENING}]",
)
@json_option
@click.option(
    "--plot",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Save the altitude-and-moon plot (.png, .svg or .pdf).",
)
@picture_options
@click.option("--full", is_flag=True, help="Why, progress, minutes and framing as well.")
def command(
    config_path: Path,
    evening: str | None,
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
    from nightplan.cli.plan import show
    from nightplan.library.planned import Planned
    from nightplan.model.own_targets import catalog_for
    from nightplan.model.starter import demo_config
    from nightplan.planning.tonight.limits import planned_night
    from nightplan.planning.tonights_plan.plan import make_plan

    check_picture(plot, style)
    config = demo_config()
    night = planned_night(config, evening_of(config.site, evening or DEMO_EVENING))
    with doing("framing the targets and solving the night"):
        catalog = catalog_for(config)
        planned = Planned(make_plan(config, night, catalog), catalog)
    show(planned, as_json, plot, full=full, look=(style, narrow))
