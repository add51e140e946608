"""`nightplan sheet`: the page to carry into the field."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from nightplan.cli.common import (
    common_options,
    doing,
    done_option,
    emit,
    file_option,
    from_option,
    keep_option,
    load,
    save_option,
    typed_names,
)
from nightplan.cli.stopping import StoppedError


@click.command("sheet")
@click.argument("targets", nargs=-1, metavar="[TARGET]...")
@common_options
@file_option("--output", words="The HTML file to write.", required=True)
@click.option(
    "--style",
    type=click.Choice(["day", "red", "print"]),
    default="day",
    show_default=True,
    help="Colours: bright, red light only, or black on white for paper.",
)
@click.option("--quick", is_flag=True, help="Leave out what to do after clouds: written sooner.")
@click.option(
    "--serve",
    is_flag=True,
    help="Then offer it to the phone on the local network, until Ctrl-C.",
)
@from_option
@keep_option
@done_option
@save_option
def command(
    targets: tuple[str, ...],
    config_path: Path,
    evening: datetime.date | None,
    as_json: bool,
    output: Path,
    style: str,
    quick: bool,
    serve: bool,
    start: str | None,
    keep: Path | None,
    done: tuple[str, ...],
    save: Path | None,
) -> None:
    """Write tonight's plan as one HTML file for a phone in the dark, or for paper.

    The file needs no network and no script. Put it on the phone before you leave.

    \b
    Examples:
        nightplan sheet --output tonight.html --style red
        nightplan sheet "M 31" --date 2027-10-06 --output m31.html --style print
        nightplan sheet --keep plan.json --from now --output tonight.html --style red
    """
    from nightplan.errors import FileError
    from nightplan.files import check_ending, write_whole
    from nightplan.library.asking import asked_plan
    from nightplan.report.documents.sheet import SheetDocument

    check_ending(output, "a sheet", (".html", ".htm"))
    if not output.resolve().parent.is_dir():
        raise FileError(output, "cannot be written: no such folder")
    config = load(config_path)
    names = typed_names(config, targets)
    with doing("plan of the night") as say:
        planned = asked_plan(
            config, evening, names, start=start, keep=keep, done=done, as_it_stands=True
        )
        html = planned.sheet(
            style=style,  # type: ignore[arg-type]
            kept_in=save or keep,
            quick=quick,
            on_step=say,
        )
    if save is not None:
        planned.save(save)
    write_whole(output, html)
    plan = planned.document
    document = SheetDocument(
        site=plan.site,
        date=plan.date,
        written=str(output),
        style=style,  # type: ignore[arg-type]
        targets=[row.target for row in plan.targets],
        blocks=len(plan.blocks),
        size_bytes=len(html.encode("utf-8")),
    )
    emit(document, as_json, lambda: f"{output} is written ({style}, {len(html) // 1000} kB).")
    if serve:
        from nightplan.library.serving import serve_sheet

        # Colours go to a terminal only. With --json standard output holds the document alone.
        serve_sheet(
            output,
            lambda line: click.echo(line, err=as_json),
            stopped_by=(KeyboardInterrupt, StoppedError),
        )
