"""`nightplan plan`: the night's blocks of filters."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from nightplan.cli.common import common_options, doing, emit, evening_of, load, utc_option

if TYPE_CHECKING:
    from nightplan.planning.schedule.plan import NightPlan


@click.command("plan")
@common_options
@click.argument("targets", nargs=-1, metavar="[TARGET]...")
@click.option(
    "--plot",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Save the altitude-and-moon plot (.png, .svg or .pdf).",
)
@click.option("--from", "from_utc", metavar="UTC", help="Plan anew from this time on.")
@click.option(
    "--keep",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="With --from: the JSON of the plan in force; what it held before is kept.",
)
@click.option(
    "--done",
    multiple=True,
    metavar="FILTER=COUNT",
    help="With --from: subs really shot before, more or less than planned; repeatable.",
)
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
    from_utc: str | None,
    keep: Path | None,
    done: tuple[str, ...],
    exports: tuple[Path, ...],
) -> None:
    """Split the dark hours over targets and filters, and prove how good the split is.

    Without a TARGET the configuration's list is planned, or else the best of the catalogue.

    \b
    Examples:
        nightplan plan "M 31" --date 2027-10-06 --plot night.png
        nightplan plan --json > plan.json
        nightplan plan --from 2027-10-07T01:10:00Z --keep plan.json --done L=18
    """
    from nightplan.errors import InputError
    from nightplan.files import read_text
    from nightplan.library.earlier import earlier_nights, with_stored_goals
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.schedule.plan import make_plan
    from nightplan.planning.schedule.plan_reading import read_plan_document
    from nightplan.planning.schedule.replan import Replan, parse_done
    from nightplan.planning.tonight.night import compute_night
    from nightplan.report.exports.night_exports import check_export
    from nightplan.report.looks.style import picture_format

    config = with_stored_goals(load(config_path))
    if plot is not None:
        picture_format(plot)
    for path in exports:
        check_export(path)
    again = None
    kept = None if keep is None else read_plan_document(str(keep), read_text(keep))
    if from_utc is not None:
        moment = utc_option("--from", from_utc)
        again = Replan(moment, kept, parse_done(config, done), source=str(keep))
    elif keep is not None or done:
        option = "--keep" if keep is not None else "--done"
        raise InputError("command line", option, str(keep or done[0]), "only together with --from")
    if evening is None and kept is not None:
        evening = str(kept.get("date") or "") or None
    if evening is None and again is not None:
        from nightplan.planning.tonight.night import default_evening
        from nightplan.sky.times import datetime_from_mjd

        evening = default_evening(config.site, datetime_from_mjd(moment)).isoformat()
    night = compute_night(config.site, evening_of(config.site, evening))
    with doing("framing the targets and solving the night"):
        plan = make_plan(
            config, night, catalog_for(config), targets, earlier=earlier_nights(config), again=again
        )
    show(plan, as_json, plot, exports)


def show(plan: NightPlan, as_json: bool, plot: Path | None, exports: tuple[Path, ...] = ()) -> None:
    """Print a plan, and save its plot and exports where they are wanted."""
    from nightplan.report.documents.plan import plan_document
    from nightplan.report.texts.plan_text import plan_text

    document = plan_document(plan)
    if plot is not None:
        from nightplan.report.plots.altitude_plot import save_night_plot
        from nightplan.report.plots.plan_picture import picture_of_plan

        save_night_plot(plot, picture_of_plan(plan, document.model_dump(mode="json")))
    for path in exports:
        from nightplan.report.exports.night_exports import save_export

        save_export(path, document.model_dump(mode="json"))
    emit(document, as_json, lambda: plan_text(document.model_dump(mode="json")))
    if plot is not None and not as_json:
        click.echo(f"Plot: {plot}")
