"""`nightplan frame TARGET`: train, camera angle, panels and guide star."""

from __future__ import annotations

from pathlib import Path

import click

from nightplan.cli.common import common_options, doing, emit, evening_of, load
from nightplan.cli.names import typed_target
from nightplan.errors import InputError


@click.command("frame")
@click.argument("words", nargs=-1, required=True, metavar="TARGET")
@common_options
@click.option("--angle", "angle_text", metavar="DEG", help="The position angle wanted, 0 to 180.")
@click.option("--train", metavar="NAME", help="The train to take. [default: the best]")
@click.option(
    "--chart",
    "chart_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Save the fields over real stars (.png, .svg, .pdf).",
)
@click.option(
    "--style",
    metavar="NAME",
    default="day",
    show_default=True,
    help="Colours of the chart: day, dark, red or print.",
)
@click.option(
    "--header",
    "header_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write a FITS file with the field's size and coordinates (.fits, .fits.gz).",
)
@click.option(
    "--footprint",
    "footprint_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write the panels as a table (.ecsv, .vot) or as one region (.stcs).",
)
@click.option(
    "--page",
    "page_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write a page (.html) to turn the camera on, in style day, red or print. For a mosaic "
    "this takes some ten seconds.",
)
@click.option("--record", is_flag=True, help="Keep this framing in the journal to come back to.")
@click.option(
    "--goal",
    "goals",
    multiple=True,
    metavar="FILTER=HOURS",
    help="Keep the equivalent hours wanted in the journal; 0 forgets them; repeatable.",
)
def command(
    words: tuple[str, ...],
    config_path: Path,
    evening: str | None,
    as_json: bool,
    angle_text: str | None,
    train: str | None,
    chart_path: Path | None,
    style: str,
    header_path: Path | None,
    footprint_path: Path | None,
    page_path: Path | None,
    record: bool,
    goals: tuple[str, ...],
) -> None:
    """Show how each train frames a target, at which camera angle, and what the guider will see.

    A position angle is the line of the sensor's long side, north through east.

    \b
    Examples:
        nightplan frame "M 31" --chart m31.png
        nightplan frame "NGC 7000" --train reducer --angle 30 --json
        nightplan frame "IC 1396" --chart ic1396.svg --style red --header ic1396.fits
        nightplan frame "M 31" --page m31.html
        nightplan frame "M 31" --record --goal L=6 --goal Ha=3
    """
    from nightplan.library.earlier import earlier_nights
    from nightplan.library.keeping import check_goal_filters, keep_framing, keep_goals
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.choosing.frame_answer import frame_answer
    from nightplan.planning.framing.camera_angle import check_position_angle
    from nightplan.planning.tonight.night import compute_night
    from nightplan.report.documents.frame import frame_document
    from nightplan.report.looks.style import STYLES
    from nightplan.report.texts.frame_text import frame_text

    if style not in STYLES:
        raise InputError("command line", "--style", style, "one of " + ", ".join(STYLES))
    config = load(config_path)
    date = evening_of(config.site, evening)
    angle = None if angle_text is None else check_position_angle(_number(angle_text))
    catalog = catalog_for(config)
    target = typed_target(catalog, words)
    wanted = dict(_goal(text) for text in goals)
    check_goal_filters(config, wanted)
    earlier = earlier_nights(config)
    with doing("laying the fields over the sky") as say:
        answer = frame_answer(
            config,
            compute_night(config.site, date),
            target,
            catalog,
            train=train,
            angle_deg=angle,
            used_angles={
                name: earlier.used_angles.get((target.name, name), ()) for name in config.train
            },
            flats_angles=earlier.flats_angles,
        )
        if chart_path is not None:
            from nightplan.report.charts.framing_chart import save_framing_chart

            say("drawing the chart")
            save_framing_chart(
                chart_path,
                config,
                target,
                answer.framing,
                answer.framings,
                style=style,
                catalog=catalog,
                guide=answer.guide,
            )
        if header_path is not None:
            from nightplan.report.exports.fits_header import write_header_file

            write_header_file(header_path, config, answer.framing)
        if footprint_path is not None:
            from nightplan.report.exports.footprint import write_footprint

            write_footprint(footprint_path, config, answer.framing)
        if page_path is not None:
            from nightplan.files import check_ending, write_whole
            from nightplan.report.page.framing_page import framing_page

            check_ending(page_path, "a page", (".html", ".htm"))
            say("turning every train through half a circle")
            write_whole(page_path, framing_page(config, target, answer, style=style))  # type: ignore[arg-type]
    if record:
        keep_framing(config, answer.framing)
    if wanted:
        kept = keep_goals(config, target.name, wanted)
    document = frame_document(answer)
    emit(document, as_json, lambda: frame_text(document))
    if record and not as_json:
        click.echo(f"Recorded as the framing of {target.name} with the {answer.framing.train}.")
    if wanted and not as_json:
        listed = ", ".join(f"{name} {hours:g} h" for name, hours in kept.items()) or "none"
        click.echo(f"Goals of {target.name} in the journal: {listed}.")


def _goal(text: str) -> tuple[str, float | None]:
    name, _, hours = text.rpartition("=")
    try:
        number = float(hours)
    except ValueError:
        number = float("nan")
    if not name or not 0.0 <= number <= 1000.0:
        raise InputError("command line", "--goal", text, "FILTER=HOURS, hours from 0 to 1000")
    return name, number or None


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InputError(
            "command line", "--angle", text, "a position angle from 0 to below 180 degrees"
        ) from None
