"""`nightplan angle`: come back to a stored camera angle."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from nightplan.cli.common import common_options, emit, evening_of, load

if TYPE_CHECKING:
    import datetime

    from nightplan.journal.records import Framing, RotatorSolution
    from nightplan.model.config import Config
    from nightplan.planning.return_advice import CameraNow, Wanted

Pier = Literal["east", "west"]
FILE = click.Path(path_type=Path)
SIDES = click.Choice(["east", "west"])


@dataclass(frozen=True)
class Asked:
    """The options, as typed."""

    solution: Path | None
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
@click.option("--solution", type=FILE, metavar="FILE", help="Solved FITS file or its header.")
@click.option("--position-angle", type=float, metavar="DEG", help="Or the angle now, typed.")
@click.option("--rotator", type=float, metavar="DEG", help="The rotator's reading now.")
@click.option("--target-angle", type=float, metavar="DEG", help="Position angle wanted.")
@click.option("--target", metavar="NAME", help="Come back to this target's stored framing.")
@click.option("--panel", type=click.IntRange(1, 100), default=1, metavar="N", show_default=True)
@click.option("--train", metavar="NAME", help="The train in use. [default: as the field shows]")
@click.option("--pier", type=SIDES, help="Side of the pier that the tube is on.")
@click.option("--second-solution", type=FILE, metavar="FILE", help="Tells the sense of rotation.")
@click.option("--second-position-angle", type=float, metavar="DEG", help="Or typed.")
@click.option("--second-rotator", type=float, metavar="DEG", help="The reading of the second.")
@click.option("--second-pier", type=SIDES, help="Side of the pier of the second.")
@click.option("--same-way-up", is_flag=True, help="Not the 180° twin (for the guider's patch).")
@click.option("--record", is_flag=True, help="Keep this solution in the journal for tonight.")
def command(config_path: Path, evening: str | None, as_json: bool, **options: object) -> None:
    """Say how the camera lies now and how to turn it to a wanted angle.

    One solution gives tonight's offset between rotator and sky; two, their readings at least
    10° apart, give the sense of rotation as well. Without a rotator the turn is told by hand,
    as seen from behind the camera.

    \b
    Examples:
        nightplan angle --solution test.fits --rotator 112.5 --target "NGC 7000"
        nightplan angle --position-angle 31 --target-angle 120
    """
    from nightplan.planning.return_advice import advise, choose_train, find_sense
    from nightplan.report.angle_text import angle_text
    from nightplan.report.documents.angle import angle_document

    config = load(config_path)
    asked = Asked(**options)  # type: ignore[arg-type]
    date = evening_of(config.site, evening)
    _check(asked)
    solved = _solution(config, asked.solution)
    framing = _framing(config, asked)
    optics, notices = choose_train(config, asked.train, framing, solved)
    earlier = _earlier(config, date, optics.name)
    now = _now(config, asked, optics.name, earlier)
    second = _second(config, asked, date, optics.name)
    configured = None if config.rotator is None else config.rotator.sense
    sense, more = find_sense(configured, now, asked.rotator, asked.pier, earlier, second)
    advice = advise(
        config,
        optics,
        now,
        _wanted(config, asked, framing),
        reading_deg=asked.rotator,
        sense=sense,
        same_way_up=asked.same_way_up,
        notices=[*notices, *more],
    )
    if asked.record:
        _record(config, asked, date, optics.name, now)
    document = angle_document(advice, asked.pier)
    emit(document, as_json, lambda: angle_text(document))


def _check(asked: Asked) -> None:
    import math

    from nightplan.errors import InputError
    from nightplan.planning.camera_angle import check_position_angle

    if asked.solution is not None and asked.position_angle is not None:
        raise click.UsageError("give --solution or --position-angle, not both")
    if asked.solution is None and asked.position_angle is None and asked.rotator is None:
        raise click.UsageError("give --solution FILE or --position-angle DEG")
    for key in ("position_angle", "target_angle", "second_position_angle"):
        value = getattr(asked, key)
        if value is not None:
            check_position_angle(value, key=f"--{key.replace('_', '-')}")
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
    if asked.record and asked.rotator is None:
        raise click.UsageError("--record needs --rotator DEG")


def _solution(config: Config, path: Path | None):  # type: ignore[no-untyped-def]
    if path is None:
        return None
    from nightplan.journal.plate_solution import read_solution

    return read_solution(path, (config.camera.width_px, config.camera.height_px))


def _framing(config: Config, asked: Asked) -> Framing | None:
    if asked.target is None:
        return None
    from nightplan.errors import NightplanError
    from nightplan.journal import Journal
    from nightplan.model.own_targets import catalog_for

    catalog = catalog_for(config)
    name = str(catalog.name[catalog.find(asked.target)])
    journal = Journal.open(config.folder)
    found = None
    if journal is not None:
        with journal:
            found = journal.framing(name, asked.train, asked.panel)
    goal = config.goal.get(name) or config.goal.get(asked.target)
    if (
        found is None
        and asked.target_angle is None
        and (goal is None or goal.position_angle_deg is None)
    ):
        raise NightplanError(
            f"no framing of {name} is stored; record one with `nightplan frame`, or give "
            "--target-angle DEG"
        )
    return found


def _wanted(config: Config, asked: Asked, framing: Framing | None) -> Wanted | None:
    from dataclasses import replace

    from nightplan.planning.return_advice import Wanted, wanted_from_framing

    if framing is not None:
        stored = wanted_from_framing(framing)
        if asked.target_angle is None:
            return stored
        return replace(
            stored,
            position_angle_deg=asked.target_angle,
            image_up_angle_deg=None,
            source="command line",
        )
    if asked.target_angle is not None:
        return Wanted(asked.target_angle, "command line")
    goal = None if asked.target is None else config.goal.get(asked.target)
    if goal is not None and goal.position_angle_deg is not None:
        return Wanted(goal.position_angle_deg, "configuration")
    return None


def _earlier(config: Config, date: datetime.date, train: str) -> list[RotatorSolution]:
    from nightplan.journal import Journal

    journal = Journal.open(config.folder)
    if journal is None:
        return []
    with journal:
        return journal.rotator_solutions(date, train)


def _now(config: Config, asked: Asked, train: str, earlier: list[RotatorSolution]) -> CameraNow:
    from nightplan.errors import NightplanError
    from nightplan.planning.camera_return import effective_sense
    from nightplan.planning.return_advice import (
        now_from_angle,
        now_from_offset,
        now_from_solution,
    )
    from nightplan.planning.train_optics import train_optics

    if asked.solution is not None:
        return now_from_solution(_solution(config, asked.solution))
    if asked.position_angle is not None:
        return now_from_angle(asked.position_angle, config.train[train].mirrored)
    configured = None if config.rotator is None else config.rotator.sense
    if not earlier or configured is None or asked.rotator is None:
        raise NightplanError(
            "the rotator's reading alone tells the angle only with sense under [rotator] and a "
            "solution of tonight in the journal; give --solution FILE or --position-angle DEG"
        )
    sense = effective_sense(configured, config.train[train].mirrored)
    optics = train_optics(config, train)
    return now_from_offset(earlier[0], asked.rotator, sense, asked.pier, optics)


def _second(
    config: Config, asked: Asked, date: datetime.date, train: str
) -> RotatorSolution | None:
    from nightplan.journal.records import RotatorSolution
    from nightplan.planning.return_advice import now_from_angle, now_from_solution

    if asked.second_rotator is None:
        return None
    if asked.second_solution is not None:
        now = now_from_solution(_solution(config, asked.second_solution))
    else:
        assert asked.second_position_angle is not None
        now = now_from_angle(asked.second_position_angle, config.train[train].mirrored)
    return RotatorSolution(
        evening=date,
        train=train,
        reading_deg=asked.second_rotator,
        position_angle_deg=now.position_angle_deg,
        image_up_angle_deg=now.image_up_angle_deg,
        mirrored=now.mirrored,
        pier=asked.second_pier,
    )


def _record(config: Config, asked: Asked, date: datetime.date, train: str, now: CameraNow) -> None:
    from nightplan.journal import Journal
    from nightplan.journal.records import RotatorSolution

    assert asked.rotator is not None
    with Journal.open(config.folder, writable=True) as journal:
        journal.record_rotator_solution(
            RotatorSolution(
                evening=date,
                train=train,
                reading_deg=asked.rotator,
                position_angle_deg=now.position_angle_deg,
                image_up_angle_deg=now.image_up_angle_deg,
                mirrored=now.mirrored,
                pier=asked.pier,
            )
        )
