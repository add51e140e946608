"""One camera angle for several targets of a night, wherever their tolerances overlap.

Each turn of the camera takes minutes and owes a set of flats. An angle that the imager asked for,
or that an earlier night used, stays; the others move inside their tolerance.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from nightplan.planning.framing.framing import Framing
from nightplan.sky.angles import axis_turn_deg

FREE = ("round", "middle", "roomiest", "widest", "flats")
"""Choices of an angle (`Framing.angle_choice`) that nothing binds."""
SAME_DEG = 0.5

Reframe = Callable[[int, float], Framing]


def with_shared_angle(framings: Sequence[Framing], reframe: Reframe) -> tuple[Framing, ...]:
    """Framings of which as many as possible have one position angle.

    Parameters
    ----------
    framings : sequence of Framing
        Of one train.
    reframe : callable
        A target's framing by its index and a position angle, deg.
    """
    if len(framings) < 2:
        return tuple(framings)
    bound = [one for one in framings if one.angle_choice not in FREE]
    candidates = [one.position_angle_deg for one in (*bound, *framings)]

    def serves(framing: Framing, angle_deg: float) -> bool:
        apart = axis_apart_deg(framing.position_angle_deg, angle_deg)
        free = framing.angle_choice in FREE
        return apart <= (framing.position_angle_tolerance_deg if free else SAME_DEG)

    best = max(candidates, key=lambda angle: sum(serves(one, angle) for one in framings))
    moved = []
    for index, framing in enumerate(framings):
        apart = axis_apart_deg(framing.position_angle_deg, best)
        if apart <= SAME_DEG or not serves(framing, best):
            moved.append(framing)
            continue
        other = reframe(index, best)
        # The tolerance is that of one field; a mosaic turned may lose what it held.
        worse = len(other.panels) > len(framing.panels) or other.coverage < framing.coverage - 0.02
        moved.append(framing if worse else other)
    return tuple(moved)


def axis_apart_deg(one_deg: float, other_deg: float) -> float:
    """Angle between two lines, 0 to 90."""
    return abs(float(axis_turn_deg(one_deg, other_deg)))
