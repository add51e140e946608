"""`nightplan plan`: the night's blocks of filters."""

from __future__ import annotations

import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from nightplan.cli.common import (
    check_picture,
    common_options,
    doing,
    done_option,
    file_option,
    from_option,
    full_option,
    keep_option,
    load,
    picture_options,
    save_option,
    show,
    typed_names,
    wrote,
)

if TYPE_CHECKING:
    from nightplan.library.planned import Planned


FULL_HELP = "Why, progress, minutes and framing as well."
PLOT_HELP = "Save the altitude-and-moon plot (.png, .svg or .pdf)."


@click.command("plan")
@common_options
@picture_options
@partial(full_option, words=FULL_HELP)
@click.argument("targets", nargs=-1, metavar="[TARGET]...")
@file_option("--plot", words=PLOT_HELP)
@from_option
@keep_option
@done_option
@save_option
@file_option(
    "--export",
    "exports",
    words="Write the night as a calendar (.ics), a table (.csv) or .json; repeatable.",
    multiple=True,
)
def command(
    config_path: Path,
    evening: datetime.date | None,
    as_json: bool,
    targets: tuple[str, ...],
    plot: Path | None,
    style: str,
    narrow: bool,
    start: str | None,
    keep: Path | None,
    done: tuple[str, ...],
    save: Path | None,
    exports: tuple[Path, ...],
    full: bool,
) -> None:
    """Split the dark hours over targets and filters, and prove how good the split is.

    Without a TARGET the configuration's list is planned, or else the best of the catalogue.

    \b
    Examples:
        nightplan plan "M 31" --date 2027-10-06 --plot night.png
        nightplan plan --save plan.json
        nightplan plan --from now --keep plan.json --save plan.json --done "M 33:L=18"
    """
    from nightplan.library.asking import asked_plan
    from nightplan.report.exports.night_exports import check_export

    config = load(config_path)
    check_picture(plot, style)
    for path in exports:
        check_export(path)
    names = typed_names(config, targets)
    with doing("framing the targets and solving the night"):
        planned = asked_plan(config, evening, names, start=start, keep=keep, done=done)
    show_plan(planned, as_json, plot, exports, save, full=full, look=(style, narrow))


def show_plan(
    planned: Planned,
    as_json: bool,
    plot: Path | None,
    exports: tuple[Path, ...] = (),
    save: Path | None = None,
    *,
    full: bool = False,
    look: tuple[str, bool] = ("day", False),
) -> None:
    """Print a plan, and save it, its plot and its exports where they are wanted.

    `look` are style and narrowness of the plot.
    """
    if save is not None:
        planned.save(save)
    if plot is not None:
        planned.save_plot(plot, style=look[0], narrow=look[1])
    for path in exports:
        planned.save_export(path)
    show(planned, as_json, full=full)
    wrote(as_json, plot, *exports)
    if save is not None and not as_json:
        from nightplan.report.wording.printed_command import replan_command

        again = replan_command(planned.document.model_dump(mode="json"), planned.plan.config, save)
        click.echo(f"Written: {save}\nIn the night: {again}")
