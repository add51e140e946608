"""`nightplan sheet`: the page to carry into the field."""

from __future__ import annotations

from pathlib import Path

import click

from nightplan.cli.common import common_options, doing, emit, evening_of, load


@click.command("sheet")
@click.argument("targets", nargs=-1, metavar="[TARGET]...")
@common_options
@click.option(
    "--output",
    type=click.Path(path_type=Path),
    required=True,
    metavar="FILE",
    help="The HTML file to write.",
)
@click.option(
    "--style",
    type=click.Choice(["day", "red", "print"]),
    default="day",
    show_default=True,
    help="Colours: bright, red light only, or black on white for paper.",
)
def command(
    targets: tuple[str, ...],
    config_path: Path,
    evening: str | None,
    as_json: bool,
    output: Path,
    style: str,
) -> None:
    """Write tonight's plan as one HTML file for a phone in the dark, or for paper.

    The file needs no network and no script. Put it on the phone before you leave.

    \b
    Examples:
        nightplan sheet --output tonight.html --style red
        nightplan sheet "M 31" --date 2027-10-06 --output m31.html --style print
    """
    from nightplan.errors import FileError
    from nightplan.files import check_ending, write_whole
    from nightplan.library.calibration import calibration_owed
    from nightplan.library.earlier import earlier_nights, with_stored_goals
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.schedule.plan import make_plan
    from nightplan.planning.tonight.night import compute_night
    from nightplan.report.documents.sheet import SheetDocument
    from nightplan.report.sheet.night_sheet import sheet_of_plan

    check_ending(output, "a sheet", (".html", ".htm"))
    if not output.resolve().parent.is_dir():
        raise FileError(output, "cannot be written: no such folder")
    config = with_stored_goals(load(config_path))
    night = compute_night(config.site, evening_of(config.site, evening))
    catalog = catalog_for(config)
    with doing("plan of the night") as say:
        plan = make_plan(config, night, catalog, targets, earlier=earlier_nights(config))
        html = sheet_of_plan(
            plan,
            catalog,
            style=style,  # type: ignore[arg-type]
            calibration_owed=calibration_owed(plan),
            on_step=say,
        )
    write_whole(output, html)
    document = SheetDocument(
        site=night.site.name,
        date=night.evening.isoformat(),
        written=str(output),
        style=style,  # type: ignore[arg-type]
        targets=[target.name for target in plan.targets],
        blocks=0 if plan.solution is None else len(plan.solution.schedule.blocks),
        size_bytes=len(html.encode("utf-8")),
    )
    emit(document, as_json, lambda: f"{output} is written ({style}, {len(html) // 1000} kB).")
