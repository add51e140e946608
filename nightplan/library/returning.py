"""Back to a camera angle of an earlier night."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeAlias

from nightplan.errors import InputError
from nightplan.library.inputs import evening_of, targets_of, value_in
from nightplan.library.outputs import Answer
from nightplan.model.config import Config

if TYPE_CHECKING:
    import datetime

    from astropy.coordinates import Angle
    from astropy.io.fits import Header
    from astropy.units import Quantity
    from astropy.wcs import WCS

    from nightplan.journal.plate_solution import PlateSolution
    from nightplan.journal.records import Framing, RotatorSolution
    from nightplan.library.inputs import AnyEvening, AnyTarget
    from nightplan.planning.return_advice import Advice, CameraNow, Wanted
    from nightplan.report.documents.angle import AngleDocument

    AnySolution: TypeAlias = str | os.PathLike[str] | Header | WCS

Pier = Literal["east", "west"]


class AngleAdvice(Answer):
    """How the camera lies and how to turn it, in astropy objects; None where not known.

    Attributes
    ----------
    advice : Advice
        The planner's own.
    """

    def __init__(self, advice: Advice, pier: Pier | None) -> None:
        self.advice = advice
        self._pier = pier

    @property
    def position_angle_now(self) -> Angle:
        """Line of the sensor's long side now, 0 to below 180 deg."""
        return _angle(self.advice.now.position_angle_deg)

    @property
    def image_up_angle(self) -> Angle | None:
        """Direction of rising FITS axis 2 now; None where only the line is known."""
        return _optional(self.advice.now.image_up_angle_deg)

    @property
    def mirrored(self) -> bool:
        """Parity of the FITS axes."""
        return self.advice.now.mirrored

    @property
    def move(self) -> Angle | None:
        """Turn on the sky, positive from north to east, the shorter way for the rectangle."""
        return _optional(self.advice.move_deg)

    @property
    def rotator_target(self) -> Angle | None:
        """Reading to send the rotator to, inside its limits; see the document for a reason."""
        return _optional(self.advice.rotator.target_deg)

    @property
    def hand_turn(self) -> str | None:
        """The same turn by hand, in words, as seen from behind the camera."""
        return None if self.advice.hand is None else self.advice.hand.words

    @property
    def shared_area(self) -> float | None:
        """Share of the wanted field that the field as it is now holds."""
        return self.advice.shared_area

    @property
    def tolerance(self) -> Angle:
        """Turn that still shares 98 % of the field."""
        return _angle(self.advice.tolerance_deg)

    @property
    def document(self) -> AngleDocument:
        """The JSON document of `nightplan angle`."""
        from nightplan.report.documents.angle import angle_document

        return angle_document(self.advice, self._pier)

    def __str__(self) -> str:
        from nightplan.report.angle_text import angle_text

        return angle_text(self.document)


def angle(
    config: Config,
    *,
    solution: AnySolution | None = None,
    position_angle: Quantity | str | None = None,
    rotator: Quantity | str | None = None,
    target_angle: Quantity | str | None = None,
    target: AnyTarget | None = None,
    panel: int = 1,
    train: str | None = None,
    pier: Pier | None = None,
    second: tuple[Quantity | AnySolution, Quantity | str] | None = None,
    second_pier: Pier | None = None,
    same_way_up: bool = False,
    evening: AnyEvening = None,
) -> AngleAdvice:
    """Say how the camera lies and how to turn it to a wanted angle; as `nightplan angle`.

    Nothing is stored.

    Parameters
    ----------
    config : Config
    solution : path, astropy Header or WCS, optional
        A solved FITS file, its header as text, or either as astropy read it.
    position_angle : Quantity, optional
        Instead of a solution: the angle now, 0 to below 180 deg.
    rotator : Quantity, optional
        The rotator's reading now.
    target_angle : Quantity, optional
        The position angle wanted.
    target : name, SkyCoord, FixedTarget or Target, optional
        Come back to this target's framing in the journal, or to its goal's angle.
    panel, train, pier
        Panel of the framing, train in use, side of the pier that the tube is on.
    second : (solution or Quantity, Quantity), optional
        A second solution (or its position angle) and the rotator's reading there, at least
        10 deg from the first: tells the sense of rotation.
    second_pier
        Side of the pier there.
    same_way_up : bool
        Not the 180° twin of the angle.
    evening : date, str, Time or None
        Night whose rotator solutions in the journal still hold.

    Raises
    ------
    nightplan.errors.InputError
        A value is out of range, or what is given does not suffice.
    nightplan.errors.NightplanError
        No framing of the target is stored.
    """
    from astropy import units as u

    from nightplan.planning.return_advice import advise, choose_train, find_sense

    if (solution is None) == (position_angle is None):
        raise InputError("library", "solution", solution, "a file, or position_angle in its place")
    solved = None if solution is None else _read(config, solution)
    framing = None if target is None else _stored(config, target, train, panel)
    optics, notices = choose_train(config, train, framing, solved)
    now = _camera(config, solved, position_angle, optics.name)
    reading = None if rotator is None else value_in("rotator", rotator, u.deg)
    date = evening_of(config.site, evening)
    told = None
    if second is not None:
        where, second_reading = second
        told = _second(
            config, where, value_in("second", second_reading, u.deg), second_pier, optics.name, date
        )
    configured = None if config.rotator is None else config.rotator.sense
    earlier = _earlier(config, date, optics.name)
    sense, more = find_sense(configured, now, reading, pier, earlier, told)
    advice = advise(
        config,
        optics,
        now,
        _wanted(config, framing, target, target_angle),
        reading_deg=reading,
        sense=sense,
        same_way_up=same_way_up,
        notices=[*notices, *more],
    )
    return AngleAdvice(advice, pier)


def _read(config: Config, solution: AnySolution) -> PlateSolution:
    from astropy.io.fits import Header
    from astropy.wcs import WCS

    from nightplan.journal.plate_solution import read_solution, solution_from_cards

    sensor_px = (config.camera.width_px, config.camera.height_px)
    if isinstance(solution, WCS):
        header = solution.to_header(relax=True)
        if solution.pixel_shape is not None:
            header["NAXIS1"], header["NAXIS2"] = solution.pixel_shape
        return solution_from_cards(dict(header), "WCS", sensor_px)
    if isinstance(solution, Header):
        return solution_from_cards(dict(solution), "header", sensor_px)
    return read_solution(Path(solution), sensor_px)


def _camera(
    config: Config,
    solved: PlateSolution | None,
    position_angle: Quantity | str | None,
    train: str,
) -> CameraNow:
    from astropy import units as u

    from nightplan.planning.camera_angle import check_position_angle
    from nightplan.planning.return_advice import now_from_angle, now_from_solution

    if solved is not None:
        return now_from_solution(solved)
    assert position_angle is not None
    typed = check_position_angle(value_in("position_angle", position_angle, u.deg))
    return now_from_angle(typed, config.train[train].mirrored)


def _stored(config: Config, target: AnyTarget, train: str | None, panel: int) -> Framing | None:
    from nightplan.journal import Journal

    (found,) = targets_of(config, [target])
    journal = Journal.open(config.folder)
    if journal is None:
        return None
    with journal:
        return journal.framing(found.name, train, panel)


def _wanted(
    config: Config,
    framing: Framing | None,
    target: AnyTarget | None,
    target_angle: Quantity | str | None,
) -> Wanted | None:
    from dataclasses import replace

    from astropy import units as u

    from nightplan.errors import NightplanError
    from nightplan.planning.camera_angle import check_position_angle
    from nightplan.planning.return_advice import Wanted, wanted_from_framing

    stored = None if framing is None else wanted_from_framing(framing)
    if target_angle is not None:
        asked = check_position_angle(value_in("target_angle", target_angle, u.deg))
        if stored is None:
            return Wanted(asked, "library")
        return replace(stored, position_angle_deg=asked, image_up_angle_deg=None, source="library")
    if stored is not None or target is None:
        return stored
    name = targets_of(config, [target])[0].name
    goal = config.goal.get(name)
    if goal is None or goal.position_angle_deg is None:
        raise NightplanError(f"no framing of {name} is stored; give target_angle")
    return Wanted(goal.position_angle_deg, "configuration")


def _earlier(config: Config, date: datetime.date, train: str) -> list[RotatorSolution]:
    from nightplan.journal import Journal

    journal = Journal.open(config.folder)
    if journal is None:
        return []
    with journal:
        return journal.rotator_solutions(date, train)


def _second(
    config: Config,
    where: Quantity | AnySolution,
    reading_deg: float,
    pier: Pier | None,
    train: str,
    date: datetime.date,
) -> RotatorSolution:
    from astropy.units import Quantity

    from nightplan.journal.records import RotatorSolution

    if isinstance(where, Quantity):
        now = _camera(config, None, where, train)
    else:
        now = _camera(config, _read(config, where), None, train)
    return RotatorSolution(
        evening=date,
        train=train,
        reading_deg=reading_deg,
        position_angle_deg=now.position_angle_deg,
        image_up_angle_deg=now.image_up_angle_deg,
        mirrored=now.mirrored,
        pier=pier,
    )


def _angle(degrees: float) -> Angle:
    from astropy.coordinates import Angle

    return Angle(degrees, "deg")


def _optional(degrees: float | None) -> Angle | None:
    return None if degrees is None else _angle(degrees)
