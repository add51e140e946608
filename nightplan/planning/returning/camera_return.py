"""Coming back to a camera angle: tonight's offset, the sense of rotation, the move.

Derivation. Look along the optical axis toward the sky, standing behind the camera. Without
mirrors (lenses turn a picture by 180° and never reverse it) north up has east on the left, and
position angles count from north through east: they grow *anticlockwise*. So turning the camera
anticlockwise as seen from behind raises its sky angle. A star diagonal or a prism between
telescope and camera reverses the picture once, east is then on the right, and the same turn
lowers the angle.

A rotator counts its reading one way or the other; with `sense` +1 where the sky angle grows with
the reading in a train without mirrors, -1 where it falls, and with m = -1 for a mirrored train,
else +1:

    image up = offset + m · sense · reading        (mod 360°, on one side of the pier)

One plate solution with its reading gives the offset of tonight, which holds until the camera is
taken out. It cannot give the sense: with a second solution, whose reading differs by d, the two
senses predict sky angles 2d apart, so d must be at least 10° from 0° and from 180° (from 0° and
90° where only the line of the long side is known, not which way is up).

At the meridian flip the tube goes over to the other side of the pier and the camera hangs the
other way round: the image up turns by 180°, the reading stays, so the offset turns by 180°. The
position angle of a rectangle is the same on both sides; whatever depends on which way is up (the
guider's patch) is not.

A rectangle covers the same sky at 180°. So the shorter way to an angle, on the sky, is at most
90°, and the readings that reach it are reading + m · sense · move + 180° · k. Of those inside the
limits the one nearest to the present reading is taken; the reading is a place on a straight
scale, so the rotator never goes through the gap between its limits. The cable is taken to lie
slack in the middle of the limits and to allow half of `cable_free_deg` either way from there.

The pixel grid may be mirrored for a second reason that has nothing to do with mirrors: a file
whose rows run from the top down. `mirrored` is the parity of the FITS axes; where the header
says ROWORDER = 'TOP-DOWN' (common practice, no source), the optics are mirrored exactly if the
axes are not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Protocol

from nightplan.errors import InputError
from nightplan.sky.angles import axis_turn_deg, wrap_180_deg, wrap_360_deg, wrap_axis_deg

Pier = Literal["east", "west"]
Way = Literal["anticlockwise", "clockwise", "none"]
MoveReason = Literal[
    "sense_unknown", "no_rotator", "no_reading", "no_target_angle", "outside_limits"
]

LEAST_APART_DEG = 10.0
"""Least difference of two readings, and from the half turn, that tells the sense."""
FIT_TOLERANCE_DEG = 3.0
"""Largest misfit of two solutions that a rotator's own scale explains."""
STILL_DEG = 0.05
"""A turn by hand below this is none."""
_EDGE_DEG = 1e-9


class RotatorLimits(Protocol):
    """What is needed of `nightplan.model.equipment.Rotator`."""

    @property
    def minimum_deg(self) -> float: ...
    @property
    def maximum_deg(self) -> float: ...
    @property
    def cable_free_deg(self) -> float: ...


@dataclass(frozen=True)
class SenseFit:
    """Sense from two solutions: sky angle change over reading change, mirrors included.

    `flipped` says that the second was taken on the other side of the pier.
    """

    effective_sense: int
    misfit_deg: float
    flipped: bool


@dataclass(frozen=True)
class RotatorMove:
    """Where the rotator goes; `twin_deg` turns the picture upside down, same field.

    `target_deg` is none with a reason; `move_deg` counts on the rotator's own scale.
    """

    target_deg: float | None
    move_deg: float | None = None
    twin_deg: float | None = None
    reason: MoveReason | None = None


@dataclass(frozen=True)
class HandTurn:
    """How far to turn the camera by hand, and which way as seen from behind it."""

    degrees: float
    way: Way

    @property
    def words(self) -> str:
        """One sentence."""
        if self.way == "none":
            return "leave the camera as it is"
        return f"turn the camera {self.degrees:.1f}° {self.way}, seen from behind it"


def position_angle_deg(image_up_angle_deg: float, width_px: int, height_px: int) -> float:
    """Line of the sensor's long side (square: of FITS axis 1), 0 to below 180.

    Either parity: axis 1 stands at a right angle to axis 2, and a line has no head.
    """
    quarter = 0.0 if height_px > width_px else 90.0
    return float(wrap_axis_deg(image_up_angle_deg + quarter))


def image_up_angles_deg(
    position_angle_deg: float, width_px: int, height_px: int
) -> tuple[float, float]:
    """Both directions that image up can have for a line of the long side, the lower first."""
    quarter = 0.0 if height_px > width_px else 90.0
    low = float(wrap_axis_deg(position_angle_deg + quarter))
    return low, low + 180.0


def shorter_move_deg(now_deg: float, target_deg: float) -> float:
    """Turn on the sky that lays one line on the other, -90 to below 90, north to east."""
    return float(axis_turn_deg(now_deg, target_deg))


def effective_sense(sense: int, optics_mirrored: bool) -> int:
    """Sky angle change over reading change: the configured sense, reversed by a mirror."""
    return -sense if optics_mirrored else sense


def after_flip_deg(image_up_angle_deg: float) -> float:
    """Image up on the other side of the pier, camera and rotator untouched."""
    return float(wrap_360_deg(image_up_angle_deg + 180.0))


def offset_deg(sky_deg: float, reading_deg: float, sense: int, period_deg: float = 360.0) -> float:
    """Tonight's offset: sky - effective sense × reading, 0 to below `period_deg`.

    With 180 for `period_deg`, `sky_deg` is a position angle.
    """
    offset = sky_deg - sense * reading_deg
    return float(wrap_axis_deg(offset) if period_deg == 180.0 else wrap_360_deg(offset))


def sky_deg(offset: float, reading_deg: float, sense: int, period_deg: float = 360.0) -> float:
    """Sky angle at a reading, from tonight's offset; the inverse of `offset_deg`."""
    sky = offset + sense * reading_deg
    return float(wrap_axis_deg(sky) if period_deg == 180.0 else wrap_360_deg(sky))


def fit_sense(
    first_reading_deg: float,
    first_sky_deg: float,
    second_reading_deg: float,
    second_sky_deg: float,
    *,
    line_only: bool = False,
) -> SenseFit:
    """Tell the sense of rotation from two solutions of one evening.

    Parameters
    ----------
    first_sky_deg, second_sky_deg : float
        Image up angles; position angles if `line_only`.
    line_only : bool
        Angles are known up to a half turn.

    Raises
    ------
    InputError
        The readings are too near to each other, or to a half turn (a quarter turn if
        `line_only`), or neither sense fits within 3°.
    """
    turned = second_reading_deg - first_reading_deg
    changed = second_sky_deg - first_sky_deg
    period = 180.0 if line_only else 360.0
    _tell_apart(turned, period)
    for span in (period,) if line_only else (360.0, 180.0):
        if span != period and _apart(turned, span) < 2.0 * LEAST_APART_DEG:
            continue
        misfits = {sense: abs(_wrap(changed - sense * turned, span)) for sense in (1, -1)}
        sense = min(misfits, key=lambda one: misfits[one])
        if misfits[sense] <= FIT_TOLERANCE_DEG:
            return SenseFit(sense, misfits[sense], flipped=span != period)
    raise InputError(
        "two solutions",
        "sky angle change",
        round(float(_wrap(changed, period)), 2),
        f"{turned:+.2f} or {-turned:+.2f} degrees as the rotator turned, within "
        f"{FIT_TOLERANCE_DEG:g}; was the camera moved by hand?",
    )


def _tell_apart(turned_deg: float, period_deg: float) -> None:
    if _apart(turned_deg, period_deg) < 2.0 * LEAST_APART_DEG:
        half = period_deg / 2.0
        raise InputError(
            "two solutions",
            "rotator readings apart",
            round(turned_deg, 2),
            f"a difference at least {LEAST_APART_DEG:g} degrees from 0 and from every "
            f"{half:g}: nearer, both senses fit",
        )


def _apart(turned_deg: float, period_deg: float) -> float:
    """How far apart the two senses' predictions lie, deg."""
    return abs(_wrap(2.0 * turned_deg, period_deg))


def _wrap(angle_deg: float, period_deg: float) -> float:
    return math.remainder(angle_deg, period_deg)


def usable_range_deg(rotator: RotatorLimits) -> tuple[float, float]:
    """Readings that both the limits and the cable allow."""
    middle = (rotator.minimum_deg + rotator.maximum_deg) / 2.0
    slack = rotator.cable_free_deg / 2.0
    return max(rotator.minimum_deg, middle - slack), min(rotator.maximum_deg, middle + slack)


def reading_in_limits(rotator: RotatorLimits, reading_deg: float) -> float:
    """The reading on the scale of the limits, whole turns added where that brings it inside.

    Raises
    ------
    InputError
        No whole number of turns does.
    """
    low, high = rotator.minimum_deg, rotator.maximum_deg
    if math.isfinite(reading_deg):
        if low <= reading_deg <= high:
            return reading_deg
        raised = reading_deg + 360.0 * math.ceil((low - reading_deg) / 360.0 - 1e-12)
        if low <= raised <= high:
            return raised
    raise InputError(
        "library", "rotator", reading_deg, f"a reading from {low:g} to {high:g} degrees"
    )


def rotator_move(
    rotator: RotatorLimits,
    reading_deg: float,
    sky_move_deg: float,
    sense: int | None,
    *,
    same_way_up: bool = False,
) -> RotatorMove:
    """The reading that turns the field by `sky_move_deg`, inside limits and cable.

    Parameters
    ----------
    reading_deg : float
        Present reading, on the scale of the limits.
    sense : int or None
        Effective sense, mirrors included; none while unknown.
    same_way_up : bool
        `sky_move_deg` is of the image up, and the 180° twin is not as good.
    """
    if sense is None:
        return RotatorMove(None, reason="sense_unknown")
    low, high = usable_range_deg(rotator)
    period = 360.0 if same_way_up else 180.0
    straight = reading_deg + sense * sky_move_deg
    best = _nearest(straight, reading_deg, period, low, high)
    if best is None:
        return RotatorMove(None, reason="outside_limits")
    twin = _nearest(best + 180.0, reading_deg, 360.0, low, high)
    return RotatorMove(best, best - reading_deg, twin)


def _nearest(place: float, now: float, period: float, low: float, high: float) -> float | None:
    """Of place + k × period inside low..high, the one nearest to `now`."""
    first = math.ceil((low - _EDGE_DEG - place) / period)
    last = math.floor((high + _EDGE_DEG - place) / period)
    inside = [min(max(place + k * period, low), high) for k in range(first, last + 1)]
    return min(inside, key=lambda one: (round(abs(one - now), 9), one), default=None)


def hand_turn(sky_move_deg: float, optics_mirrored: bool) -> HandTurn:
    """Turn by hand that raises the sky angle by `sky_move_deg`, seen from behind the camera."""
    if abs(sky_move_deg) < STILL_DEG:
        return HandTurn(abs(sky_move_deg), "none")
    anticlockwise = (sky_move_deg > 0.0) != optics_mirrored
    return HandTurn(abs(sky_move_deg), "anticlockwise" if anticlockwise else "clockwise")


def same_way_up_move_deg(now_up_deg: float, target_up_deg: float) -> float:
    """Turn on the sky that brings image up to a direction, -180 to below 180."""
    return float(wrap_180_deg(target_up_deg - now_up_deg))
