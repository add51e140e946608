"""`nightplan plan`: the night's blocks of filters."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from nightplan.cli.common import common_options, doing, emit, evening_of, load
from nightplan.cli.names import typed_names
from nightplan.cli.replan_options import done_option, from_option, keep_option, save_option

if TYPE_CHECKING:
    from nightplan.library.planned import Planned


@click.command("plan")
@common_options
@click.argument("targets", nargs=-1, metavar="[TARGET]...")
@click.option(
    "--plot",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Save the altitude-and-moon plot (.png, .svg or .pdf).",
)
@from_option
@keep_option
@done_option
@save_option
@click.option(
    "--export",
    "exports",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write the night as a calendar (.ics), a table (.csv) or .json; repeatable.",
)
def command(
    config_path: Path,
    evening: str | None,
    as_json: bool,
    targets: tuple[str, ...],
    plot: Path | None,
    start: str | None,
    keep: Path | None,
    done: tuple[str, ...],
    save: Path | None,
    exports: tuple[Path, ...],
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
    from nightplan.report.looks.style import picture_format

    config = load(config_path)
    if plot is not None:
        picture_format(plot)
    for path in exports:
        check_export(path)
    day = None if evening is None else evening_of(config.site, evening)
    names = typed_names(config, targets)
    with doing("framing the targets and solving the night"):
        planned = asked_plan(config, day, names, start=start, keep=keep, done=done)
    show(planned, as_json, plot, exports, save)


def show(
    planned: Planned,
    as_json: bool,
    plot: Path | None,
    exports: tuple[Path, ...] = (),
    save: Path | None = None,
) -> None:
    """Print a plan, and save it, its plot and its exports where they are wanted."""
    if save is not None:
        planned.save(save)
    if plot is not None:
        planned.save_plot(plot)
    for path in exports:
        planned.save_export(path)
    emit(planned.document, as_json, lambda: str(planned))
    if as_json:
        return
    if save is not None:
        from nightplan.report.wording.printed_command import replan_command

        document = planned.document.model_dump(mode="json")
        again = replan_command(document, planned.plan.config.path, save)
        click.echo(f"Saved: {save}\nIn the night: {again}")
    if plot is not None:
        click.echo(f"Plot: {plot}")
