"""`nightplan frame TARGET`: train, camera angle, panels and guide star."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from nightplan.cli.common import (
    check_picture,
    common_options,
    doing,
    file_option,
    full_option,
    load,
    picture_options,
    show,
    typed_name,
    wrote,
)
from nightplan.errors import InputError

PANELS = click.IntRange(1, 100)


@click.command("frame")
@click.argument("words", nargs=-1, required=True, metavar="TARGET")
@common_options
@click.option("--angle", type=float, metavar="DEG", help="The position angle wanted, 0 to 180.")
@click.option("--train", metavar="NAME", help="The train to take. [default: the best]")
@click.option(
    "--centre",
    metavar="RA,DEC",
    help="The field's centre, ICRS: 10.68,41.27 or 00:42:44,+41:16:09; `target` for its own.",
)
@click.option(
    "--panels",
    type=PANELS,
    metavar="N",
    help="Largest number of panels; 1 is a single field, whatever it cuts.",
)
@click.option(
    "--group",
    type=PANELS,
    metavar="N",
    help="Take the Nth composition with neighbours that this command proposes.",
)
@file_option("--chart", words="Save the fields over real stars (.png, .svg, .pdf).")
@picture_options
@file_option(
    "--header", words="Write a FITS file with the field's size and coordinates (.fits, .fits.gz)."
)
@file_option(
    "--footprint", words="Write the panels as a table (.ecsv, .vot) or as one region (.stcs)."
)
@file_option(
    "--page",
    words="Write a page (.html) to turn the camera on, in style day, red or print. For a mosaic "
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
@full_option
def command(
    words: tuple[str, ...],
    config_path: Path,
    evening: datetime.date | None,
    as_json: bool,
    angle: float | None,
    train: str | None,
    centre: str | None,
    panels: int | None,
    group: int | None,
    chart: Path | None,
    style: str,
    narrow: bool,
    header: Path | None,
    footprint: Path | None,
    page: Path | None,
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
    from astropy import units as u

    from nightplan.library import frame
    from nightplan.library.keeping import check_goal_filters, keep_goals

    check_picture(chart, style)
    config = load(config_path)
    wanted = dict(_goal(text) for text in goals)
    check_goal_filters(config, wanted)
    name = typed_name(config, words)
    with doing("laying the fields over the sky") as say:
        framed = frame(
            config,
            name,
            evening,
            train=train,
            angle=None if angle is None else angle * u.deg,
            centre=centre,
            panels=panels,
            group=group,
        )
        if chart is not None:
            say("drawing the chart")
            framed.save_chart(chart, style=style, narrow=narrow)
        if header is not None:
            framed.save_header(header)
        if footprint is not None:
            framed.save_footprint(footprint)
        if page is not None:
            say("turning every train through half a circle")
            framed.save_page(page, style=style)  # type: ignore[arg-type]
    if record:
        framed.record()
    if wanted:
        kept = keep_goals(config, name, wanted)
    show(framed, as_json, full=full)
    wrote(as_json, chart, header, footprint, page)
    if record and not as_json:
        click.echo(f"Recorded as the framing of {name} with the {framed.train}.")
    if wanted and not as_json:
        listed = (
            ", ".join(f"{filter_name} {hours:g} h" for filter_name, hours in kept.items()) or "none"
        )
        click.echo(f"Goals of {name} in the journal: {listed}.")


def _goal(text: str) -> tuple[str, float | None]:
    name, _, hours = text.rpartition("=")
    try:
        number = float(hours)
    except ValueError:
        number = float("nan")
    if not name or not 0.0 <= number <= 1000.0:
        raise InputError("command line", "--goal", text, "FILTER=HOURS, hours from 0 to 1000")
    return name, number or None
