"""Back to a camera angle of an earlier night."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from nightplan.errors import InputError
from nightplan.library.inputs import evening_of, targets_of, value_in
from nightplan.library.outputs import Answer
from nightplan.model.config import Config

if TYPE_CHECKING:
    from astropy.coordinates import Angle
    from astropy.io.fits import Header
    from astropy.units import Quantity
    from astropy.wcs import WCS

    from nightplan.journal.plate_solution import PlateSolution
    from nightplan.library.angle_question import AngleQuestion, Pier
    from nightplan.library.inputs import AnyEvening, AnyTarget
    from nightplan.planning.returning.return_advice import Advice
    from nightplan.report.documents.angle import AngleDocument

    AnySolution: TypeAlias = str | os.PathLike[str] | Header | WCS


class AngleAdvice(Answer):
    """How the camera lies and how to turn it, in astropy objects; None where not known.

    Attributes
    ----------
    advice : Advice
        The planner's own.
    """

    def __init__(self, config: Config, question: AngleQuestion, advice: Advice) -> None:
        self.advice = advice
        self._config = config
        self._question = question

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

        return angle_document(self.advice)

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.angle_text import angle_text

        return angle_text(self.document)

    def record(self) -> None:
        """Keep this solution with its reading in the journal for tonight; as `--record`.

        Raises
        ------
        nightplan.errors.NightplanError
            The rotator's reading was not given.
        """
        from nightplan.library.angle_question import record_angle

        record_angle(self._config, self._question, self.advice)


def angle(
    config: Config,
    *,
    solution: AnySolution | Sequence[AnySolution] | None = None,
    image_up: Quantity | str | None = None,
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

    Nothing is stored unless `record` is called on the answer.

    Parameters
    ----------
    config : Config
    solution : path, astropy Header or WCS, or a list of them, optional
        A solved FITS file, its header as text, or either as astropy read it. Of several the
        newest by its header is now, and the others tell the sense of rotation.
    image_up : Quantity, optional
        Instead of a solution: the direction of image up now, 0 to below 360 deg (what a plate
        solver prints as rotation).
    position_angle : Quantity, optional
        Instead of both: the long side's line now, 0 to below 180 deg.
    rotator : Quantity, optional
        The rotator's reading now, where the solution's header has none. With the sense configured
        and a solution in the journal it suffices alone.
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
    from astropy.units import Quantity

    from nightplan.library.angle_question import (
        AngleQuestion,
        Sighting,
        answer_angle,
        newest_first,
    )
    from nightplan.planning.framing.camera_angle import check_image_up, check_position_angle

    given = (solution, image_up, position_angle).count(None)
    if given == 3 and rotator is None:
        raise InputError("library", "position_angle", None, "an angle, or a solution")
    if given < 2:
        raise InputError(
            "library", "solution", "given", "one of solution, image_up and position_angle"
        )

    def line(key: str, value: Quantity | str | None) -> float | None:
        return None if value is None else check_position_angle(value_in(key, value, "deg"), key)

    several = solution if isinstance(solution, (list, tuple)) else [solution]
    read = newest_first([_read(config, one) for one in several if one is not None])
    others = [Sighting(one) for one in read[1:]]
    if second is not None:
        where, reading = second
        typed = isinstance(where, Quantity)
        others.insert(
            0,
            Sighting(
                solution=None if typed else _read(config, where),
                position_angle_deg=line("second", where) if typed else None,
                rotator_deg=value_in("second", reading, "deg"),
                pier=second_pier,
            ),
        )
    question = AngleQuestion(
        evening=evening_of(config.site, evening),
        now=Sighting(
            solution=read[0] if read else None,
            image_up_deg=None
            if image_up is None
            else check_image_up(value_in("image_up", image_up, "deg")),
            position_angle_deg=line("position_angle", position_angle),
            rotator_deg=None if rotator is None else value_in("rotator", rotator, "deg"),
            pier=pier,
        ),
        others=tuple(others),
        target_angle_deg=line("target_angle", target_angle),
        target=None if target is None else targets_of(config, [target])[0].name,
        panel=panel,
        train=train,
        same_way_up=same_way_up,
    )
    return AngleAdvice(config, question, answer_angle(config, question))


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


def _angle(degrees: float) -> Angle:
    from astropy.coordinates import Angle

    return Angle(degrees, "deg")


def _optional(degrees: float | None) -> Angle | None:
    return None if degrees is None else _angle(degrees)
