"""Tonight's way back to a stored camera angle: everything the `angle` command says, as values."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from nightplan.errors import InputError
from nightplan.journal.plate_solution import PlateSolution
from nightplan.journal.records import Framing, RotatorSolution
from nightplan.planning.optics.train_optics import TrainOptics, all_train_optics, train_optics
from nightplan.planning.returning import camera_return as law
from nightplan.planning.returning.camera_now import CameraNow, Wanted
from nightplan.planning.returning.framing_match import (
    Field,
    angle_tolerance_deg,
    crop_after_nights,
    largest_common_rectangle,
    shared_area,
    shared_area_of_errors,
)
from nightplan.sky.angles import separation_deg

if TYPE_CHECKING:
    from nightplan.model.config import Config

SenseSource = Literal["configuration", "fitted"]

FIELD_TOLERANCE = 0.05
"""Share by which a solution's field may differ from a train's."""
NIGHTS_AHEAD = (2, 5, 10)


@dataclass(frozen=True)
class Sense:
    """The effective sense of rotation, mirrors included, and where it comes from."""

    effective: int
    source: SenseSource


@dataclass(frozen=True)
class NightOffset:
    """The offset between rotator and sky that one stored solution gives; as `Advice.offset_deg`."""

    evening: datetime.date
    pier: str | None
    offset_deg: float


@dataclass(frozen=True)
class Advice:
    """What to do; see `nightplan.report.documents.angle` for each value."""

    train: str
    now: CameraNow
    image_up_candidates_deg: tuple[float, float]
    wanted: Wanted | None
    move_deg: float | None
    sense: Sense | None
    reading_deg: float | None
    pier: law.Pier | None
    offset_deg: float | None
    offset_log: tuple[NightOffset, ...]
    rotator: law.RotatorMove
    hand: law.HandTurn | None
    shared_area: float | None
    centre_error_arcmin: float | None
    tolerance_deg: float
    common_rectangle_share: float | None
    crop_share_after: tuple[tuple[int, float], ...]
    notices: tuple[str, ...]


def choose_train(
    config: Config, name: str | None, framing: Framing | None, solution: PlateSolution | None
) -> tuple[TrainOptics, list[str]]:
    """The train: as told, as the solution's field shows, as the framing has it, or the first.

    Returns the train's optics and notices where these disagree.

    Raises
    ------
    InputError
        There is no train of that name.
    """
    seen = None if solution is None else _train_of_field(config, solution)
    if name is not None:
        optics = train_optics(config, name)
    elif seen is not None:
        optics = seen
    elif framing is not None and framing.train in config.train:
        optics = train_optics(config, framing.train)
    else:
        optics = train_optics(config, next(iter(config.train)))
    notices = []
    if solution is not None and (seen is None or seen.name != optics.name):
        width = math.degrees(2.0 * math.atan(solution.width_plane / 2.0))
        notices.append(
            f"The solution's field is {width:.3f}° wide; that of train {optics.name} "
            f"is {optics.field_width_deg:.3f}°."
        )
    return optics, notices


def _train_of_field(config: Config, solution: PlateSolution) -> TrainOptics | None:
    def misfit(optics: TrainOptics) -> float:
        wide = solution.width_plane / (2.0 * optics.half_width_plane) - 1.0
        high = solution.height_plane / (2.0 * optics.half_height_plane) - 1.0
        return max(abs(wide), abs(high))

    best = min(all_train_optics(config), key=misfit)
    return best if misfit(best) <= FIELD_TOLERANCE else None


def find_sense(
    configured: int | None,
    now: CameraNow,
    reading_deg: float | None,
    pier: law.Pier | None,
    others: Sequence[RotatorSolution],
    told: Sequence[RotatorSolution],
) -> tuple[Sense | None, list[str]]:
    """The effective sense: as configured, else fitted from a second solution of this evening.

    Parameters
    ----------
    configured : int or None
        The rotator's `sense`; reversed by a mirrored train.
    others : sequence of RotatorSolution
        Earlier solutions of the evening; the first that tells the sense is used.
    told : sequence of RotatorSolution
        More solutions that the user gave, looked at before the others; one of them must tell the
        sense where it is not configured.

    Raises
    ------
    InputError
        Of `told` each is too near, or fits neither sense, or is of the other parity.
    """
    notices: list[str] = []
    fitted: Sense | None = None
    from_told = False
    fault: InputError | None = None
    for number, other in enumerate((*told, *others)):
        if reading_deg is None or fitted is not None:
            break
        try:
            fit = _fit(now, reading_deg, pier, other)
        except InputError as error:
            fault = error if number < len(told) else fault
            continue
        from_told = number < len(told)
        fitted = Sense(fit.effective_sense, "fitted")
        if fit.flipped:
            notices.append(
                "The two solutions lie a half turn apart beyond the rotator's own: one was taken "
                "on the other side of the pier."
            )
    if configured is None:
        if fitted is None and fault is not None:
            raise fault
        if fitted is not None:
            plain = law.effective_sense(fitted.effective, now.optics_mirrored)
            notices.append(f"Put sense = {plain} under [rotator] in the configuration.")
        return fitted, notices
    sense = Sense(law.effective_sense(configured, now.optics_mirrored), "configuration")
    if from_told and fitted is not None and fitted.effective != sense.effective:
        notices.append(
            "The two solutions say the opposite of the configured sense; the solutions are used."
        )
        return fitted, notices
    return sense, notices


def _fit(
    now: CameraNow, reading_deg: float, pier: law.Pier | None, other: RotatorSolution
) -> law.SenseFit:
    if other.mirrored != now.mirrored:
        raise InputError(
            "two solutions", "mirrored", f"{now.mirrored}, {other.mirrored}", "the same parity"
        )
    if now.image_up_angle_deg is None or other.image_up_angle_deg is None:
        return law.fit_sense(
            other.reading_deg,
            other.position_angle_deg,
            reading_deg,
            now.position_angle_deg,
            line_only=True,
        )
    up = now.image_up_angle_deg
    if pier is not None and other.pier is not None and pier != other.pier:
        up = law.after_flip_deg(up)
    return law.fit_sense(other.reading_deg, other.image_up_angle_deg, reading_deg, up)


def advise(
    config: Config,
    optics: TrainOptics,
    now: CameraNow,
    wanted: Wanted | None,
    *,
    reading_deg: float | None,
    sense: Sense | None,
    pier: law.Pier | None = None,
    log: Sequence[RotatorSolution] = (),
    same_way_up: bool = False,
    notices: Sequence[str] = (),
) -> Advice:
    """Work out the move, the rotator's target, the turn by hand, and how good tonight's field is.

    `same_way_up` asks for the stored image up, not its 180° twin; `log` holds the train's stored
    solutions, newest first.

    Raises
    ------
    InputError
        `same_way_up` without both directions of up, or a reading outside the limits.
    """
    told = list(notices)
    if config.train[optics.name].mirrored != now.optics_mirrored:
        told.append(
            f"The sky is {'' if now.optics_mirrored else 'not '}mirrored in the solution, but "
            f"train.{optics.name}.mirrored says otherwise; the solution is used."
        )
    if config.rotator is not None and reading_deg is not None:
        reading_deg = law.reading_in_limits(config.rotator, reading_deg)
    if wanted is None:
        move, whole_move = None, None
    else:
        move = law.shorter_move_deg(now.position_angle_deg, wanted.position_angle_deg)
        whole_move = _whole_move(now, wanted) if same_way_up else move
    rotator = _rotator_move(config, reading_deg, whole_move, sense, same_way_up)
    hand = None if whole_move is None else law.hand_turn(whole_move, now.optics_mirrored)
    share, centre, common = _match(optics, now, wanted, move)
    long_side, short_side = 2.0 * optics.half_long_plane, 2.0 * optics.half_short_plane
    step = 0.0 if centre is None else math.radians(centre / 60.0) / math.sqrt(2.0)
    return Advice(
        train=optics.name,
        now=now,
        image_up_candidates_deg=law.image_up_angles_deg(
            now.position_angle_deg, optics.width_px, optics.height_px
        ),
        wanted=wanted,
        move_deg=move,
        sense=sense,
        reading_deg=reading_deg,
        pier=pier,
        offset_deg=_offset(now, reading_deg, sense),
        offset_log=() if sense is None else _night_offsets(log, sense),
        rotator=rotator,
        hand=hand,
        shared_area=share,
        centre_error_arcmin=centre,
        tolerance_deg=angle_tolerance_deg(long_side, short_side),
        common_rectangle_share=common,
        crop_share_after=()
        if move is None
        else tuple(
            (nights, crop_after_nights(long_side, short_side, nights, abs(move), step).share)
            for nights in NIGHTS_AHEAD
        ),
        notices=tuple(told),
    )


def _whole_move(now: CameraNow, wanted: Wanted) -> float:
    if now.image_up_angle_deg is None or wanted.image_up_angle_deg is None:
        raise InputError(
            "library",
            "same_way_up",
            True,
            "a plate solution now and a stored framing to come back to: both say which way is up",
        )
    return law.same_way_up_move_deg(now.image_up_angle_deg, wanted.image_up_angle_deg)


def _rotator_move(
    config: Config,
    reading_deg: float | None,
    move_deg: float | None,
    sense: Sense | None,
    same_way_up: bool,
) -> law.RotatorMove:
    if config.rotator is None:
        return law.RotatorMove(None, reason="no_rotator")
    if reading_deg is None:
        return law.RotatorMove(None, reason="no_reading")
    if move_deg is None:
        return law.RotatorMove(None, reason="no_target_angle")
    return law.rotator_move(
        config.rotator,
        reading_deg,
        move_deg,
        None if sense is None else sense.effective,
        same_way_up=same_way_up,
    )


def _offset(now: CameraNow, reading_deg: float | None, sense: Sense | None) -> float | None:
    if reading_deg is None or sense is None:
        return None
    if now.image_up_angle_deg is None:
        return law.offset_deg(now.position_angle_deg, reading_deg, sense.effective, 180.0)
    return law.offset_deg(now.image_up_angle_deg, reading_deg, sense.effective)


def _night_offsets(log: Sequence[RotatorSolution], sense: Sense) -> tuple[NightOffset, ...]:
    """The newest offset of each evening in the log."""
    newest: dict[datetime.date, NightOffset] = {}
    for one in log:
        if one.image_up_angle_deg is None:
            sky, period = one.position_angle_deg, 180.0
        else:
            sky, period = one.image_up_angle_deg, 360.0
        offset = law.offset_deg(sky, one.reading_deg, sense.effective, period)
        newest.setdefault(one.evening, NightOffset(one.evening, one.pier, offset))
    return tuple(newest.values())


def _match(
    optics: TrainOptics, now: CameraNow, wanted: Wanted | None, move_deg: float | None
) -> tuple[float | None, float | None, float | None]:
    """Shared area, distance of the centres in arcmin, share of the largest common rectangle."""
    if wanted is None or move_deg is None:
        return None, None, None
    sides = (2.0 * optics.half_long_plane, 2.0 * optics.half_short_plane)
    if now.ra_deg is None or now.dec_deg is None or wanted.ra_deg is None or wanted.dec_deg is None:
        share = shared_area_of_errors(*sides, move_deg)
        here = Field(0.0, 0.0, 0.0, *sides)
        crop = largest_common_rectangle(here, [Field(0.0, 0.0, abs(move_deg), *sides)])
        return share, None, crop.share
    apart = float(separation_deg(now.ra_deg, now.dec_deg, wanted.ra_deg, wanted.dec_deg))
    if apart > 45.0:
        return 0.0, 60.0 * apart, 0.0
    reference = Field(wanted.ra_deg, wanted.dec_deg, wanted.position_angle_deg, *sides)
    tonight = Field(now.ra_deg, now.dec_deg, now.position_angle_deg, *sides)
    common = largest_common_rectangle(reference, [tonight])
    return shared_area(reference, tonight), 60.0 * apart, common.share
