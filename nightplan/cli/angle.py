"""`nightplan angle`: come back to a stored camera angle."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from nightplan.cli.common import common_options, emit, evening_of, load, typed_target

if TYPE_CHECKING:
    import datetime

    from nightplan.library.angle_question import AngleQuestion
    from nightplan.model.config import Config

Pier = Literal["east", "west"]
FILE = click.Path(path_type=Path)
SIDES = click.Choice(["east", "west"])


@dataclass(frozen=True)
class Asked:
    """The options, as typed."""

    solution: tuple[Path, ...]
    image_up: float | None
    position_angle: float | None
    rotator: float | None
    target_angle: float | None
    target: str | None
    panel: int
    train: str | None
    pier: Pier | None
    second_solution: Path | None
    second_position_angle: float | None
    second_rotator: float | None
    second_pier: Pier | None
    same_way_up: bool
    record: bool


@click.command("angle")
@common_options
@click.option(
    "--solution",
    type=FILE,
    multiple=True,
    metavar="FILE",
    help="Solved FITS file or its header; of several the newest is now.",
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
@click.option("--second-solution", type=FILE, metavar="FILE", help="Tells the sense of rotation.")
@click.option("--second-position-angle", type=float, metavar="DEG", help="Or typed.")
@click.option("--second-rotator", type=float, metavar="DEG", help="The reading of the second.")
@click.option("--second-pier", type=SIDES, help="Side of the pier of the second.")
@click.option("--same-way-up", is_flag=True, help="Not the 180° twin (for the guider's patch).")
@click.option("--record", is_flag=True, help="Keep this solution in the journal for tonight.")
def command(config_path: Path, evening: str | None, as_json: bool, **options: object) -> None:
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
    from nightplan.library.angle_question import answer_angle, record_angle
    from nightplan.report.documents.angle import angle_document
    from nightplan.report.texts.angle_text import angle_text

    config = load(config_path)
    asked = Asked(**options)  # type: ignore[arg-type]
    date = evening_of(config.site, evening)
    _check(asked)
    question = _question(config, asked, date)
    advice = answer_angle(config, question)
    if asked.record:
        record_angle(config, question, advice)
    document = angle_document(advice)
    emit(document, as_json, lambda: angle_text(document))


def _question(config: Config, asked: Asked, date: datetime.date) -> AngleQuestion:
    from nightplan.journal.plate_solution import read_solution
    from nightplan.library.angle_question import AngleQuestion, Sighting, newest_first
    from nightplan.model.own_targets import catalog_for

    sensor_px = (config.camera.width_px, config.camera.height_px)
    target = None
    if asked.target is not None:
        catalog = catalog_for(config)
        target = typed_target(catalog, [asked.target]).name
    read = newest_first([read_solution(path, sensor_px) for path in asked.solution])
    others = [Sighting(one) for one in read[1:]]
    if asked.second_rotator is not None:
        path = asked.second_solution
        others.insert(
            0,
            Sighting(
                solution=None if path is None else read_solution(path, sensor_px),
                position_angle_deg=asked.second_position_angle,
                rotator_deg=asked.second_rotator,
                pier=asked.second_pier,
            ),
        )
    return AngleQuestion(
        evening=date,
        now=Sighting(
            read[0] if read else None,
            asked.image_up,
            asked.position_angle,
            asked.rotator,
            asked.pier,
        ),
        others=tuple(others),
        target_angle_deg=asked.target_angle,
        target=target,
        panel=asked.panel,
        train=asked.train,
        same_way_up=asked.same_way_up,
    )


def _check(asked: Asked) -> None:
    import math

    from nightplan.errors import InputError
    from nightplan.planning.framing.camera_angle import check_image_up, check_position_angle

    given = (asked.solution or None, asked.image_up, asked.position_angle)
    if given.count(None) < 2:
        raise click.UsageError("give one of --solution, --image-up and --position-angle")
    if given.count(None) == 3 and asked.rotator is None:
        raise click.UsageError("give --solution FILE, --image-up DEG or --position-angle DEG")
    for key in ("position_angle", "target_angle", "second_position_angle"):
        value = getattr(asked, key)
        if value is not None:
            check_position_angle(value, key=f"--{key.replace('_', '-')}")
    if asked.image_up is not None:
        check_image_up(asked.image_up)
    for key in ("rotator", "second_rotator"):
        value = getattr(asked, key)
        if value is not None and not (math.isfinite(value) and abs(value) <= 1440.0):
            option = f"--{key.replace('_', '-')}"
            raise InputError("command line", option, value, "degrees from -1440 to 1440")
    angles = (asked.second_solution, asked.second_position_angle)
    if angles.count(None) == 0:
        raise click.UsageError("give --second-solution or --second-position-angle, not both")
    if (angles.count(None) == 2) != (asked.second_rotator is None):
        raise click.UsageError("a second solution needs --second-rotator, and the other way round")
