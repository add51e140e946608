"""The question of the way back to an angle, put together from solution, journal and file.

Plain numbers in degrees, so that the command line and the calls with Quantities share it.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from nightplan.errors import NightplanError

if TYPE_CHECKING:
    from nightplan.journal.plate_solution import PlateSolution
    from nightplan.journal.records import Framing, RotatorSolution
    from nightplan.model.config import Config
    from nightplan.planning.returning.return_advice import Advice, CameraNow, Wanted

Pier = Literal["east", "west"]


@dataclass(frozen=True)
class AngleQuestion:
    """What is known of the camera now, and what is wanted.

    Of `solution`, `position_angle_deg` the first that is given tells the camera's angle; without
    both, the rotator's reading and a solution of this evening in the journal do. `target` is a
    target's canonical name. The second solution tells the sense of rotation.
    """

    evening: datetime.date
    solution: PlateSolution | None = None
    position_angle_deg: float | None = None
    rotator_deg: float | None = None
    target_angle_deg: float | None = None
    target: str | None = None
    panel: int = 1
    train: str | None = None
    pier: Pier | None = None
    second_solution: PlateSolution | None = None
    second_position_angle_deg: float | None = None
    second_rotator_deg: float | None = None
    second_pier: Pier | None = None
    same_way_up: bool = False
    source: str = "command line"


def answer_angle(config: Config, asked: AngleQuestion) -> Advice:
    """Advice on the way back.

    Raises
    ------
    nightplan.errors.InputError
        A value is out of range.
    nightplan.errors.NightplanError
        No framing of the target is stored, or the reading alone does not suffice.
    """
    from nightplan.planning.returning.return_advice import advise, choose_train, find_sense

    framing = _framing(config, asked)
    optics, notices = choose_train(config, asked.train, framing, asked.solution)
    earlier = _earlier(config, asked.evening, optics.name)
    now = _now(config, asked, optics.name, earlier)
    configured = None if config.rotator is None else config.rotator.sense
    second = _second(config, asked, optics.name)
    sense, more = find_sense(configured, now, asked.rotator_deg, asked.pier, earlier, second)
    return advise(
        config,
        optics,
        now,
        _wanted(config, asked, framing),
        reading_deg=asked.rotator_deg,
        sense=sense,
        same_way_up=asked.same_way_up,
        notices=[*notices, *more],
    )


def record_angle(config: Config, asked: AngleQuestion, advice: Advice) -> None:
    """Keep tonight's solution with its reading in the journal.

    Raises
    ------
    nightplan.errors.NightplanError
        There is no reading.
    nightplan.errors.FileError
        The journal cannot be written.
    """
    from nightplan.journal import Journal

    if asked.rotator_deg is None:
        raise NightplanError("a solution is kept with the rotator's reading, which was not given")
    kept = _solution_of(asked.evening, advice.train, asked.rotator_deg, advice.now, asked.pier)
    with Journal.open(config.folder, writable=True) as journal:
        journal.record_rotator_solution(kept)


def _goal_angle(config: Config, name: str) -> float | None:
    from nightplan.model.goals import goal_for
    from nightplan.model.own_targets import catalog_for

    catalog = catalog_for(config)
    goal = goal_for(config, catalog.target(catalog.find(name)))
    return None if goal is None else goal.position_angle_deg


def _framing(config: Config, asked: AngleQuestion) -> Framing | None:
    if asked.target is None:
        return None
    from nightplan.journal import Journal

    journal = Journal.open(config.folder)
    found = None
    if journal is not None:
        with journal:
            found = journal.framing(asked.target, asked.train, asked.panel)
    known = asked.target_angle_deg is not None or _goal_angle(config, asked.target) is not None
    if found is None and not known:
        raise NightplanError(
            f"no framing of {asked.target} is stored; record one with `nightplan frame --record`, "
            "or give the angle wanted (--target-angle DEG)"
        )
    return found


def _wanted(config: Config, asked: AngleQuestion, framing: Framing | None) -> Wanted | None:
    from nightplan.planning.returning.return_advice import Wanted, wanted_from_framing

    angle = asked.target_angle_deg
    if framing is not None:
        stored = wanted_from_framing(framing)
        if angle is None:
            return stored
        return replace(
            stored, position_angle_deg=angle, image_up_angle_deg=None, source=asked.source
        )
    if angle is not None:
        return Wanted(angle, asked.source)
    goal = None if asked.target is None else _goal_angle(config, asked.target)
    return None if goal is None else Wanted(goal, "configuration")


def _earlier(config: Config, evening: datetime.date, train: str) -> list[RotatorSolution]:
    from nightplan.journal import Journal

    journal = Journal.open(config.folder)
    if journal is None:
        return []
    with journal:
        return journal.rotator_solutions(evening, train)


def _now(
    config: Config, asked: AngleQuestion, train: str, earlier: list[RotatorSolution]
) -> CameraNow:
    from nightplan.planning.optics.train_optics import train_optics
    from nightplan.planning.returning.camera_return import effective_sense
    from nightplan.planning.returning.return_advice import (
        now_from_angle,
        now_from_offset,
        now_from_solution,
    )

    mirrored = config.train[train].mirrored
    if asked.solution is not None:
        return now_from_solution(asked.solution)
    if asked.position_angle_deg is not None:
        return now_from_angle(asked.position_angle_deg, mirrored)
    configured = None if config.rotator is None else config.rotator.sense
    if not earlier or configured is None or asked.rotator_deg is None:
        raise NightplanError(
            "the rotator's reading alone tells the angle only with sense under [rotator] and a "
            "solution of tonight in the journal; give a solution (--solution FILE) or the position "
            "angle (--position-angle DEG)"
        )
    sense = effective_sense(configured, mirrored)
    optics = train_optics(config, train)
    return now_from_offset(earlier[0], asked.rotator_deg, sense, asked.pier, optics)


def _second(config: Config, asked: AngleQuestion, train: str) -> RotatorSolution | None:
    from nightplan.planning.returning.return_advice import now_from_angle, now_from_solution

    if asked.second_rotator_deg is None:
        return None
    if asked.second_solution is not None:
        now = now_from_solution(asked.second_solution)
    elif asked.second_position_angle_deg is not None:
        now = now_from_angle(asked.second_position_angle_deg, config.train[train].mirrored)
    else:
        return None
    return _solution_of(asked.evening, train, asked.second_rotator_deg, now, asked.second_pier)


def _solution_of(
    evening: datetime.date, train: str, reading_deg: float, now: CameraNow, pier: Pier | None
) -> RotatorSolution:
    from nightplan.journal.records import RotatorSolution

    return RotatorSolution(
        evening=evening,
        train=train,
        reading_deg=reading_deg,
        position_angle_deg=now.position_angle_deg,
        image_up_angle_deg=now.image_up_angle_deg,
        mirrored=now.mirrored,
        pier=pier,
    )
