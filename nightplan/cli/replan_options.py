"""The options with which a night is planned anew, and its plan kept."""

from __future__ import annotations

from pathlib import Path

import click

from_option = click.option(
    "--from",
    "start",
    metavar="TIME",
    help="Plan anew from this time on: now, 23:40 at the site, 23:40+01:00, or ISO 8601.",
)
keep_option = click.option(
    "--keep",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The JSON of the plan in force; with --from, what it held before is kept.",
)
done_option = click.option(
    "--done",
    multiple=True,
    metavar="[TARGET:]FILTER=COUNT",
    help="With --from: subs really shot before, more or less than planned; repeatable.",
)
save_option = click.option(
    "--save",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write the plan's JSON too: the plan in force, for --keep.",
)
