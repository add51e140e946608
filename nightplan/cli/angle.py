"""`nightplan angle`: come back to a stored camera angle."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from nightplan.cli.common import common_options, file_option, load, show, typed_name

if TYPE_CHECKING:
    from astropy.units import Quantity

    from nightplan.library.angle_question import Pier

SIDES = click.Choice(["east", "west"])


@click.command("angle")
@common_options
@file_option(
    "--solution",
    words="Solved FITS file or its header; of several the newest is now.",
    multiple=True,
)
@click.option(
    "--image-up", type=float, metavar="DEG", help="Or typed: a solver's rotation, 0 to 360."
)
@click.option(
    "--position-angle", type=float, metavar="DEG", help="Or typed: the long side's line, 0 to 180."
)
@click.option(
    "--rotator", type=float, metavar="DEG", help="The rotator's reading now. [default: header]"
)
@click.option("--target-angle", type=float, metavar="DEG", help="Position angle wanted.")
@click.option("--target", metavar="NAME", help="Come back to this target's stored framing.")
@click.option("--panel", type=click.IntRange(1, 100), default=1, metavar="N", show_default=True)
@click.option("--train", metavar="NAME", help="The train in use. [default: as the field shows]")
@click.option("--pier", type=SIDES, help="Side of the pier that the tube is on. [default: header]")
@file_option("--second-solution", words="Tells the sense of rotation.")
@click.option("--second-position-angle", type=float, metavar="DEG", help="Or typed.")
@click.option("--second-rotator", type=float, metavar="DEG", help="The reading of the second.")
@click.option("--second-pier", type=SIDES, help="Side of the pier of the second.")
@click.option("--same-way-up", is_flag=True, help="Not the 180° twin (for the guider's patch).")
@click.option("--record", is_flag=True, help="Keep this solution in the journal for tonight.")
def command(
    config_path: Path,
    evening: datetime.date | None,
    as_json: bool,
    solution: tuple[Path, ...],
    image_up: float | None,
    position_angle: float | None,
    rotator: float | None,
    target_angle: float | None,
    target: str | None,
    panel: int,
    train: str | None,
    pier: Pier | None,
    second_solution: Path | None,
    second_position_angle: float | None,
    second_rotator: float | None,
    second_pier: Pier | None,
    same_way_up: bool,
    record: bool,
) -> None:
    """Say how the camera lies now and how to turn it to a wanted angle.

    One solution gives tonight's offset between rotator and sky; two, their readings at least
    10° apart, give the sense of rotation as well. Without a rotator the turn is by hand, as seen
    from behind the camera. The reading and the pier's side are read from the header where it has
    them (ROTATANG, PIERSIDE).

    \b
    Examples:
        nightplan angle --solution test.fits --rotator 112.5 --target "NGC 7000"
        nightplan angle --solution a.fits --solution b.fits --record
        nightplan angle --image-up 121 --target-angle 120
    """
    from astropy import units as u

    from nightplan.library import angle

    def degrees(value: float | None) -> Quantity | None:
        return None if value is None else value * u.deg

    given = (solution or None, image_up, position_angle)
    if given.count(None) < 2:
        raise click.UsageError("give one of --solution, --image-up and --position-angle")
    if given.count(None) == 3 and rotator is None:
        raise click.UsageError("give --solution FILE, --image-up DEG or --position-angle DEG")
    seconds = [one for one in (second_solution, degrees(second_position_angle)) if one is not None]
    if len(seconds) > 1:
        raise click.UsageError("give --second-solution or --second-position-angle, not both")
    if len(seconds) != (second_rotator is not None):
        raise click.UsageError("a second solution needs --second-rotator, and the other way round")
    config = load(config_path)
    advice = angle(
        config,
        solution=solution or None,
        image_up=degrees(image_up),
        position_angle=degrees(position_angle),
        rotator=degrees(rotator),
        target_angle=degrees(target_angle),
        target=None if target is None else typed_name(config, [target]),
        panel=panel,
        train=train,
        pier=pier,
        second=(seconds[0], degrees(second_rotator)) if seconds else None,  # type: ignore[arg-type]
        second_pier=second_pier,
        same_way_up=same_way_up,
        evening=evening,
    )
    if record:
        advice.record()
    show(advice, as_json)
