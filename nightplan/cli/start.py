"""`nightplan start`: eight questions, and the configuration that they make."""

from __future__ import annotations

import datetime
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import click

from nightplan.cli.common import config_option, date_option, json_option
from nightplan.report.wording.printed_command import quoted
from nightplan.report.wording.screen import styled

Reader = Callable[[str], Any]


@click.command("start")
@config_option
@partial(date_option, words="Taken as by every command, but of no effect: the file holds no date.")
@json_option
@click.option("--plain", is_flag=True, help="Ask nothing: write the demo scenario, commented.")
def command(config_path: Path, evening: datetime.date | None, as_json: bool, plain: bool) -> None:
    """Ask for your site and rig, and write a short configuration; none is ever overwritten.

    With --plain, or where nobody can be asked, the file holds the invented site "Hollow Ridge"
    and its rig, with a comment on every key.

    \b
    Example:
        nightplan start
        nightplan start --plain --config ridge.toml
    """
    import json

    from nightplan.errors import FileError
    from nightplan.files import write_whole
    from nightplan.model.config import parse_config
    from nightplan.model.starter import starter_text

    if plain or as_json or not (sys.stdin.isatty() and sys.stdout.isatty()):
        write_whole(config_path, starter_text(), replace=False)
        if as_json:
            click.echo(json.dumps({"written": str(config_path)}))
        else:
            check = f"nightplan check --config {quoted(str(config_path))}"
            click.echo(f"{config_path} is written. Put your site and rig in, then: {check}")
        return
    if config_path.exists():
        raise FileError(config_path, "exists already and is left as it is")
    text = ask()
    parse_config(text, config_path)
    write_whole(config_path, text, replace=False)
    name = quoted(str(config_path))
    click.echo(f"\n{config_path} is written. Read it back, and ask about tonight:")
    click.echo(f"  nightplan check --config {name}\n  nightplan --config {name}")


def ask() -> str:
    """Ask the eight questions; returns the configuration's text."""
    from nightplan.model import first_file as read

    click.echo("Eight questions. Enter takes what stands in brackets; Ctrl-C writes nothing.\n")
    answers = read.FirstAnswers(
        place=_ask(
            1,
            "Where do you observe?",
            "Latitude, longitude and height, or a position pasted from a map: 38.60, -7.55, 240",
            read.read_place,
        ),
        sky=_ask(
            2,
            "How dark is it there?",
            "A Bortle class (1 to 9), or the zenith in mag/arcsec² if you have measured it",
            read.read_sky,
            "4",
        ),
        aperture_mm=_ask(3, "Aperture, mm?", "The free diameter of the lens", read.read_aperture),
        focal_length_mm=_ask(
            4,
            "Focal length, mm?",
            "Of the telescope alone, without flattener or reducer",
            read.read_focal_length,
        ),
        factors=_ask(
            5,
            "Factor of each train?",
            "1 for a flattener or none, 0.75 for such a reducer; several parted by blanks",
            read.read_factors,
            "1",
        ),
        camera=_ask(
            6,
            "The camera?",
            "Pixels across, down, pixel µm, read noise e⁻, full well e⁻, peak efficiency %: "
            "6000 4000 3.9 1.4 18000 85",
            read.read_camera,
        ),
        filters=_ask(
            7,
            "The filters?",
            "By name, the width in nm behind narrow ones: L R G B Ha 3 OIII 3 SII 3",
            read.read_filters,
            "L R G B Ha 3 OIII 3 SII 3",
        ),
        rotator=_ask(
            8,
            "Is there a rotator?",
            "A motor that turns the camera; by hand is no",
            read.read_yes,
            "no",
        ),
    )
    now = datetime.datetime.now(datetime.UTC)
    zone = read.likely_zone(answers.place.longitude_deg, _zone_here(), now)
    return read.first_file(answers, "Home", zone)


def _ask(number: int, question: str, words: str, reader: Reader, default: str | None = None) -> Any:
    """Ask until the answer can be read; a wrong one is met with the accepted form."""
    click.echo(f"{number}  {styled(question, 'bold')}  {words}")
    while True:
        text = click.prompt("  ", default=default, prompt_suffix="> ", type=str)
        try:
            return reader(text)
        except ValueError as error:
            click.echo(f"   That cannot be read. Wanted: {error}")


def _zone_here() -> str | None:
    """The computer's IANA time zone, on any system; None where it does not tell."""
    import warnings

    from tzlocal import get_localzone_name

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return get_localzone_name()
    except (LookupError, OSError, ValueError):
        return None
