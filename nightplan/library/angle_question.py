"""The question of the way back to an angle, put together from solutions, journal and file.

Plain numbers in degrees, so that the command line and the calls with Quantities share it.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from nightplan.errors import NightplanError

if TYPE_CHECKING:
    from nightplan.journal.plate_solution import PlateSolution
    from nightplan.journal.records import Framing, RotatorSolution
    from nightplan.model.config import Config
    from nightplan.planning.returning.camera_now import CameraNow, Wanted
    from nightplan.planning.returning.return_advice import Advice

Pier = Literal["east", "west"]
AS_ASKED = "as asked"
"""Where an angle that was given by the caller comes from."""


@dataclass(frozen=True)
class Sighting:
    """The camera's angle at one moment, with the rotator's reading and the pier's side there.

    Of `solution`, `image_up_deg` and `position_angle_deg` the first that is given tells the
    angle. A reading or side given here stands before what the solution's header says.
    """

    solution: PlateSolution | None = None
    image_up_deg: float | None = None
    position_angle_deg: float | None = None
    rotator_deg: float | None = None
    pier: Pier | None = None

    @property
    def reading_deg(self) -> float | None:
        """The rotator's reading, given or from the header."""
        header = None if self.solution is None else self.solution.rotator_deg
        return header if self.rotator_deg is None else self.rotator_deg

    @property
    def side(self) -> Pier | None:
        """The pier's side, given or from the header."""
        header = None if self.solution is None else self.solution.pier
        return header if self.pier is None else self.pier

    @property
    def tells_angle(self) -> bool:
        """Whether any of the three is there."""
        return (self.solution, self.image_up_deg, self.position_angle_deg) != (None, None, None)


def newest_first(solutions: Sequence[PlateSolution]) -> list[PlateSolution]:
    """Solutions by the time in their headers; where one lacks it, the last given leads."""
    reverse = list(reversed(solutions))
    if any(one.utc_mjd is None for one in solutions):
        return reverse
    return sorted(reverse, key=lambda one: -(one.utc_mjd or 0.0))


@dataclass(frozen=True)
class AngleQuestion:
    """What is known of the camera now, and what is wanted.

    Where `now` holds no angle, the rotator's reading and a solution in the journal tell it.
    `target` is a target's canonical name. `others` (same evening, other readings) tell the sense
    of rotation.
    """

    evening: datetime.date
    now: Sighting = Sighting()
    others: tuple[Sighting, ...] = ()
    target_angle_deg: float | None = None
    target: str | None = None
    panel: int = 1
    train: str | None = None
    same_way_up: bool = False


def answer_angle(config: Config, asked: AngleQuestion) -> Advice:
    """Advice on the way back.

    Raises
    ------
    nightplan.errors.InputError
        A value is out of range.
    nightplan.errors.NightplanError
        No framing of the target is stored, or the reading alone does not suffice.
    """
    from nightplan.planning.returning.camera_now import other_reading_notice
    from nightplan.planning.returning.return_advice import advise, choose_train, find_sense

    asked, doubts = _checked_reading(config, asked)
    framing = _framing(config, asked)
    optics, notices = choose_train(config, asked.train, framing, asked.now.solution)
    notices += doubts
    log = _log(config, optics.name)
    now, more = _now(config, asked, optics.name, log)
    notices += more
    told = [
        _kept(config, asked, one, optics.name)
        for one in asked.others
        if one.reading_deg is not None and one.tells_angle
    ]
    if len(told) < len(asked.others):
        notices.append("A solution without the rotator's reading does not tell the sense.")
    configured = None if config.rotator is None else config.rotator.sense
    tonight = [one for one in log if one.evening == asked.evening]
    reading = asked.now.reading_deg
    sense, more = find_sense(configured, now, reading, asked.now.side, tonight, told)
    wanted = _wanted(config, asked, framing)
    notices += more
    if asked.now.solution is None and asked.now.tells_angle and wanted is not None:
        typed = "--position-angle" if asked.now.image_up_deg is None else "--image-up"
        notices += other_reading_notice(now, wanted, optics, typed)
    return advise(
        config,
        optics,
        now,
        wanted,
        reading_deg=reading,
        pier=asked.now.side,
        sense=sense,
        log=log,
        same_way_up=asked.same_way_up,
        notices=notices,
    )


def _checked_reading(config: Config, asked: AngleQuestion) -> tuple[AngleQuestion, list[str]]:
    """The question without a header's reading that the rotator cannot show; and what was read."""
    from nightplan.errors import InputError
    from nightplan.planning.returning.camera_return import reading_in_limits

    now = asked.now
    if now.rotator_deg is not None or now.reading_deg is None or config.rotator is None:
        return asked, []
    try:
        reading_in_limits(config.rotator, now.reading_deg)
    except InputError as error:
        assert now.solution is not None
        told = replace(now, solution=replace(now.solution, rotator_deg=None))
        words = f"The header's reading, {now.reading_deg:g}, is left out: {error.accepted}."
        return replace(asked, now=told), [words]
    return asked, [f"The rotator's reading, {now.reading_deg:g}°, is from the solution's header."]


def record_angle(config: Config, asked: AngleQuestion, advice: Advice) -> None:
    """Keep the solutions with their readings in the journal for tonight.

    Raises
    ------
    nightplan.errors.NightplanError
        There is no reading.
    nightplan.errors.FileError
        The journal cannot be written.
    """
    from nightplan.journal import Journal

    if asked.now.reading_deg is None:
        raise NightplanError("a solution is kept with the rotator's reading, which was not given")
    if not asked.now.tells_angle:
        raise NightplanError("a reading alone is no solution to keep (--solution FILE)")
    kept = [
        _kept(config, asked, one, advice.train)
        for one in (*reversed(asked.others), asked.now)
        if one.reading_deg is not None and one.tells_angle
    ]
    with Journal.of(config, writable=True) as journal:
        for one in kept:
            journal.record_rotator_solution(one)


def _goal_angle(config: Config, name: str) -> float | None:
    from nightplan.model.own_targets import catalog_for
    from nightplan.model.wishes import goal_for

    catalog = catalog_for(config)
    goal = goal_for(config, catalog.target(catalog.find(name)))
    return None if goal is None else goal.position_angle_deg


def _framing(config: Config, asked: AngleQuestion) -> Framing | None:
    if asked.target is None:
        return None
    from nightplan.journal import Journal

    journal = Journal.of(config)
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
    from nightplan.planning.returning.camera_now import Wanted, wanted_from_framing

    angle = asked.target_angle_deg
    if framing is not None:
        stored = wanted_from_framing(framing)
        if angle is None:
            return stored
        return replace(stored, position_angle_deg=angle, image_up_angle_deg=None, source=AS_ASKED)
    if angle is not None:
        return Wanted(angle, AS_ASKED)
    goal = None if asked.target is None else _goal_angle(config, asked.target)
    return None if goal is None else Wanted(goal, "configuration")


def _log(config: Config, train: str) -> list[RotatorSolution]:
    """Every stored solution of a train, newest evening first."""
    from nightplan.journal import Journal

    journal = Journal.of(config)
    if journal is None:
        return []
    with journal:
        return journal.rotator_solutions(None, train)


def _now(
    config: Config, asked: AngleQuestion, train: str, log: Sequence[RotatorSolution]
) -> tuple[CameraNow, list[str]]:
    """The camera's angle now, and notices on how it is known."""
    from nightplan.planning.optics.train_optics import train_optics
    from nightplan.planning.returning.camera_now import now_from_offset
    from nightplan.planning.returning.camera_return import effective_sense

    if asked.now.tells_angle:
        return _seen(config, asked.now, train), []
    configured = None if config.rotator is None else config.rotator.sense
    before = [one for one in log if one.evening <= asked.evening]
    reading = asked.now.reading_deg
    if not before or configured is None or reading is None:
        raise NightplanError(
            "the rotator's reading alone tells the angle only with sense under [rotator] and a "
            "solution in the journal; give a solution (--solution FILE) or the angle "
            "(--image-up DEG or --position-angle DEG)"
        )
    sense = effective_sense(configured, config.train[train].mirrored)
    optics = train_optics(config, train)
    now = now_from_offset(before[0], reading, sense, asked.now.side, optics)
    if before[0].evening == asked.evening:
        return now, []
    return now, [
        f"A first guess: the offset is that of the evening of {before[0].evening}, and the camera "
        "may have come off since. Solve a picture before you trust it."
    ]


def _seen(config: Config, one: Sighting, train: str) -> CameraNow:
    from nightplan.planning.returning.camera_now import (
        now_from_angle,
        now_from_image_up,
        now_from_solution,
    )

    mirrored = config.train[train].mirrored
    if one.solution is not None:
        return now_from_solution(one.solution)
    if one.image_up_deg is not None:
        camera = config.camera
        return now_from_image_up(one.image_up_deg, mirrored, camera.width_px, camera.height_px)
    assert one.position_angle_deg is not None
    return now_from_angle(one.position_angle_deg, mirrored)


def _kept(config: Config, asked: AngleQuestion, one: Sighting, train: str) -> RotatorSolution:
    from nightplan.journal.records import RotatorSolution

    assert one.reading_deg is not None
    now = _seen(config, one, train)
    return RotatorSolution(
        evening=asked.evening,
        train=train,
        reading_deg=one.reading_deg,
        position_angle_deg=now.position_angle_deg,
        image_up_angle_deg=now.image_up_angle_deg,
        mirrored=now.mirrored,
        pier=one.side,
    )
