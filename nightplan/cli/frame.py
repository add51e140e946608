"""`nightplan frame TARGET`: train, camera angle, panels and guide star."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from nightplan.cli.common import (
    check_picture,
    common_options,
    doing,
    emit,
    evening_of,
    load,
    picture_options,
    typed_target,
    wrote,
)
from nightplan.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from nightplan.library.composing import Composition
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.planning.choosing.frame_answer import FrameAnswer


@click.command("frame")
@click.argument("words", nargs=-1, required=True, metavar="TARGET")
@common_options
@click.option("--angle", "angle_text", metavar="DEG", help="The position angle wanted, 0 to 180.")
@click.option("--train", metavar="NAME", help="The train to take. [default: the best]")
@click.option(
    "--centre",
    "centre_text",
    metavar="RA,DEC",
    help="The field's centre, ICRS: 10.68,41.27 or 00:42:44,+41:16:09; `target` for its own.",
)
@click.option(
    "--panels",
    type=click.IntRange(1, 100),
    metavar="N",
    help="Largest number of panels; 1 is a single field, whatever it cuts.",
)
@click.option(
    "--group",
    type=click.IntRange(1, 100),
    metavar="N",
    help="Take the Nth composition with neighbours that this command proposes.",
)
@click.option(
    "--chart",
    "chart_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Save the fields over real stars (.png, .svg, .pdf).",
)
@picture_options
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
@click.option(
    "--record",
    is_flag=True,
    help="Keep this framing, and the composition if one is asked for, in the journal.",
)
@click.option(
    "--goal",
    "goals",
    multiple=True,
    metavar="FILTER=HOURS",
    help="Keep the effective hours wanted in the journal; 0 forgets them; repeatable.",
)
@click.option("--full", is_flag=True, help="All figures, with their sources.")
def command(
    words: tuple[str, ...],
    config_path: Path,
    evening: str | None,
    as_json: bool,
    angle_text: str | None,
    train: str | None,
    centre_text: str | None,
    panels: int | None,
    group: int | None,
    chart_path: Path | None,
    style: str,
    narrow: bool,
    header_path: Path | None,
    footprint_path: Path | None,
    page_path: Path | None,
    record: bool,
    goals: tuple[str, ...],
    full: bool,
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
        nightplan frame "M 31" --centre 10.3,40.9 --panels 1 --record
    """
    from nightplan.library.composing import composed, keep_composition
    from nightplan.library.earlier import remembered
    from nightplan.library.keeping import check_goal_filters, keep_framing, keep_goals
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.choosing.frame_answer import frame_answer
    from nightplan.planning.framing.camera_angle import check_position_angle
    from nightplan.planning.tonight.limits import planned_night
    from nightplan.report.documents.frame import frame_document
    from nightplan.report.texts.frame_text import frame_text

    check_picture(chart_path, style)
    journal = remembered(load(config_path))
    config = journal.config
    date = evening_of(config.site, evening)
    angle = None if angle_text is None else check_position_angle(_number(angle_text))
    catalog = catalog_for(config)
    target = typed_target(catalog, words)
    wanted = dict(_goal(text) for text in goals)
    check_goal_filters(config, wanted)
    asked = _composition(centre_text, panels, group)
    config = composed(config, target, catalog, asked, angle_deg=angle, train=train)
    earlier = journal.earlier
    with doing("laying the fields over the sky") as say:
        answer = frame_answer(
            config,
            planned_night(config, date),
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
            say("drawing the chart")
            _save_chart(chart_path, config, catalog, answer, (style, narrow))
        _save_fields(config, answer, header_path, footprint_path)
        if page_path is not None:
            say("turning every train through half a circle")
            _save_page(page_path, config, answer, style, earlier.flats_angles)
    if record:
        keep_framing(config, answer.framing)
        if asked.given:
            keep_composition(config, target, asked)
    if wanted:
        kept = keep_goals(config, target.name, wanted)
    document = frame_document(answer)
    emit(document, as_json, lambda: frame_text(document, full=full))
    wrote(as_json, chart_path, header_path, footprint_path, page_path)
    if record and not as_json:
        click.echo(f"Recorded as the framing of {target.name} with the {answer.framing.train}.")
    if wanted and not as_json:
        listed = ", ".join(f"{name} {hours:g} h" for name, hours in kept.items()) or "none"
        click.echo(f"Goals of {target.name} in the journal: {listed}.")


def _save_chart(
    path: Path, config: Config, catalog: Catalog, answer: FrameAnswer, look: tuple[str, bool]
) -> None:
    from nightplan.report.charts.framing_chart import save_framing_chart

    save_framing_chart(
        path,
        config,
        answer.target,
        answer.framing,
        answer.framings,
        style=look[0],
        narrow=look[1],
        catalog=catalog,
        guide=answer.guide,
    )


def _save_fields(
    config: Config, answer: FrameAnswer, header: Path | None, footprint: Path | None
) -> None:
    if header is not None:
        from nightplan.report.exports.fits_header import write_header_file

        write_header_file(header, config, answer.framing)
    if footprint is not None:
        from nightplan.report.exports.footprint import write_footprint

        write_footprint(footprint, config, answer.framing)


def _save_page(
    path: Path,
    config: Config,
    answer: FrameAnswer,
    style: str,
    flats: Mapping[str, Sequence[float]],
) -> None:
    from nightplan.files import check_ending, write_whole
    from nightplan.report.page.framing_page import framing_page

    check_ending(path, "a page", (".html", ".htm"))
    html = framing_page(config, answer.target, answer, style=style, flats_angles=flats)  # type: ignore[arg-type]
    write_whole(path, html)


def _composition(centre: str | None, panels: int | None, group: int | None) -> Composition:
    from nightplan.library.composing import Composition, place_from_text

    if group is not None and (centre is not None or panels is not None):
        raise click.UsageError("--group brings its own centre and number of panels")
    place = None if centre is None else place_from_text(centre)
    own = centre is not None and place is None
    return Composition(centre_deg=place, own_middle=own, panels=panels, group=group)


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
