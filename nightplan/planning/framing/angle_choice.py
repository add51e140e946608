"""The camera angle of one field: the best that gives the margin, else the one that holds most."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from nightplan.arrays import Bools, Floats
from nightplan.planning.framing.field_search import (
    HAIR_RAD,
    SAME_COVERAGE,
    AngleScan,
    Field,
    coverage_of_turns,
    first_failure,
    place_at,
    scan_angles,
)
from nightplan.planning.framing.outlines import Shape
from nightplan.sky.angles import wrap_axis_deg

_SAME_MARGIN_RAD = np.radians(0.01 / 60.0)


_STEP_DEG = 1.0


@dataclass(frozen=True)
class AngleChoice:
    """The angle taken, and why: one of those of `framing.Framing.angle_choice`."""

    angle_deg: float
    why: str


def fitting_angle(
    shape: Shape,
    field: Field,
    wanted_margin_rad: float,
    used_angles: Sequence[float] = (),
    flats_angles: Sequence[float] = (),
) -> AngleChoice | None:
    """The best angle of those at which one field gives the wanted margin; None if none does.

    All such angles count as equal. Of those: one used already for this target, then one whose
    flats are still good, then 0° or 90° (the one with more margin; 90°, north up on a landscape
    sensor, of equals), then the middle of the widest band, where the camera may be off most.
    """
    whole_degrees = np.arange(0.0, 180.0, _STEP_DEG)
    margins = scan_angles(shape, field, whole_degrees).margin_rad
    named = scan_angles(shape, field, _candidates(used_angles, flats_angles))
    good = named.margin_rad >= wanted_margin_rad - HAIR_RAD
    choice = _preferred(good, used_angles, flats_angles, named)
    if choice is not None:
        return choice
    if margins.max() >= wanted_margin_rad:
        return AngleChoice(_middle_of_band(shape, field, wanted_margin_rad, margins), "middle")
    peak = _roomiest(shape, field, float(whole_degrees[int(np.argmax(margins))]))
    if scan_angles(shape, field, [peak]).margin_rad[0] >= wanted_margin_rad:
        # A band narrower than the scan's step: its peak is all there is to choose.
        return AngleChoice(float(wrap_axis_deg(peak)), "middle")
    return None


def widest_angle(
    shape: Shape,
    field: Field,
    used_angles: Sequence[float] = (),
    flats_angles: Sequence[float] = (),
    *,
    try_offsets: bool = True,
) -> AngleChoice:
    """The angle of most coverage, then of most margin; equals in the order of `fitting_angle`.

    `try_offsets` lets the field leave the outline's middle where that covers more, which costs
    time and matters only for an outline without symmetry.
    """
    scan = scan_angles(shape, field, np.arange(0.0, 180.0, _STEP_DEG))
    named = scan_angles(shape, field, _candidates(used_angles, flats_angles))
    if scan.margin_rad.max() >= 0.0:
        # Wholly inside at some angle: all such cover everything, so the margin decides.
        peak = _roomiest(shape, field, float(scan.angle_deg[int(np.argmax(scan.margin_rad))]))
        best = scan_angles(shape, field, [peak]).margin_rad[0]
        equal = named.margin_rad >= best - _SAME_MARGIN_RAD
    else:
        peak = _widest(shape, field, scan, try_offsets)
        best_placed = place_at(shape, field, peak, try_offsets=try_offsets)
        equal = np.zeros(len(named.angle_deg), bool)
        for index, angle in enumerate(named.angle_deg):
            placed = place_at(shape, field, float(angle), try_offsets=try_offsets)
            equal[index] = (
                placed.coverage >= best_placed.coverage - SAME_COVERAGE
                and placed.margin_rad >= best_placed.margin_rad - _SAME_MARGIN_RAD
            )
    choice = _preferred(equal, used_angles, flats_angles, named)
    return choice or AngleChoice(float(wrap_axis_deg(np.round(peak, 1))), "widest")


def _widest(shape: Shape, field: Field, scan: AngleScan, try_offsets: bool) -> float:
    """Angle of most coverage, of equals the one with most margin."""
    angles = scan.angle_deg
    coverage = coverage_of_turns(shape, field, scan.ra_deg, scan.dec_deg, angles)
    if try_offsets and not shape.centred:
        coverage = _with_offsets(shape, field, scan, coverage)
    near = coverage >= coverage.max() - SAME_COVERAGE
    top = int(np.argmax(np.where(near, scan.margin_rad, -np.inf)))
    if not shape.centred:
        return float(angles[top])
    return _peak(
        lambda turns: coverage_of_turns(shape, field, shape.ra_deg, shape.dec_deg, turns),
        float(angles[top]),
    )


def _roomiest(shape: Shape, field: Field, near_deg: float) -> float:
    return _peak(lambda angles: scan_angles(shape, field, angles).margin_rad, near_deg)


def _candidates(used: Sequence[float], flats: Sequence[float]) -> Floats:
    return np.array([*used, *flats, 90.0, 0.0], float)


def _preferred(
    good: Bools, used: Sequence[float], flats: Sequence[float], named: AngleScan
) -> AngleChoice | None:
    """First of the named angles that is good, by the order of preference."""
    for index in range(len(used) + len(flats)):
        if good[index]:
            why = "used" if index < len(used) else "flats"
            return AngleChoice(float(wrap_axis_deg(named.angle_deg[index])), why)
    north, across = bool(good[-2]), bool(good[-1])
    if not (north or across):
        return None
    more = named.margin_rad[-1] > named.margin_rad[-2] + _SAME_MARGIN_RAD
    return AngleChoice(0.0 if across and (more or not north) else 90.0, "round")


def _peak(function: Callable[[Floats], Floats], near_deg: float) -> float:
    """Where a function of angle is largest within a step of a place."""
    reach = _STEP_DEG
    for _ in range(4):
        angles = near_deg + reach * np.linspace(-1.0, 1.0, 21)
        near_deg = float(angles[int(np.argmax(function(angles)))])
        reach /= 10.0
    return near_deg


def _middle_of_band(shape: Shape, field: Field, wanted_rad: float, margins: Floats) -> float:
    """Middle of the widest run of angles that give the margin, to a whole degree if that does."""

    def good(angles: Floats) -> Bools:
        return scan_angles(shape, field, angles).margin_rad >= wanted_rad

    count = len(margins)
    keeps = margins >= wanted_rad
    start = int(np.argmin(keeps))  # one that does not give it: runs do not wrap from here
    order = (start + np.arange(count)) % count
    runs: list[list[int]] = []
    for position, index in enumerate(order):
        if keeps[index]:
            if runs and runs[-1][1] == position - 1:
                runs[-1][1] = position
            else:
                runs.append([position, position])
    first, last = max(runs, key=lambda run: run[1] - run[0])
    low = (start + first) * _STEP_DEG
    high = (start + last) * _STEP_DEG
    low -= float(first_failure(lambda turn: good(low - turn), _STEP_DEG, _STEP_DEG / 8.0))
    high += float(first_failure(lambda turn: good(high + turn), _STEP_DEG, _STEP_DEG / 8.0))
    middle = 0.5 * (low + high)
    rounded = float(np.round(middle))
    if good(np.array([rounded]))[0] and low <= rounded <= high:
        middle = rounded
    return float(wrap_axis_deg(middle))


def _with_offsets(shape: Shape, field: Field, scan: AngleScan, coverage: Floats) -> Floats:
    """Coverage of the most promising angles with the field moved to where it covers most."""
    better = coverage.copy()
    for index in range(0, len(coverage), 10):
        angle = float(scan.angle_deg[index])
        better[index] = max(better[index], place_at(shape, field, angle).coverage)
    top = int(np.argmax(better))
    for index in range(top - 6, top + 7, 2):
        where = index % len(coverage)
        better[where] = max(
            better[where], place_at(shape, field, float(scan.angle_deg[where])).coverage
        )
    return better
