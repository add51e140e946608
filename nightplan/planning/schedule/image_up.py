"""Which way is up in the image of each block, as turns and flips leave the camera."""

from __future__ import annotations

from nightplan.planning.schedule.blocks import Block, Event, Schedule
from nightplan.planning.schedule.problem import Problem

HALF_TURN_DEG = 180.0


def image_ups_deg(problem: Problem, blocks: tuple[Block, ...]) -> list[float | None]:
    """Direction of increasing FITS axis 2 of each block, 0 to 360; None where it is not known.

    Images that differ by half a turn are one framing: from target to target the camera is turned
    the shorter way to either, from where it stands. A flip turns the tube, and the camera with
    it: top and bottom change places.
    """
    ups: list[float | None] = []
    stands: float | None = None
    train: str | None = None
    for block in blocks:
        up = problem.pointings[block.pointing].image_up_angle_deg
        if up is not None and stands is not None and train == problem.tasks[block.task].train:
            apart = abs((up - stands + HALF_TURN_DEG) % 360.0 - HALF_TURN_DEG)
            if apart > 90.0:
                up = (up + HALF_TURN_DEG) % 360.0
        stands, train = up, problem.tasks[block.task].train
        ups.append(None if up is None else (up + HALF_TURN_DEG * block.after_meridian) % 360.0)
    return ups


def turn_of(
    problem: Problem, schedule: Schedule, ups: list[float | None], event: Event
) -> tuple[float | None, float | None]:
    """Image up before and after a turn, both on the side of the pier on which it is made."""
    behind = [k for k, block in enumerate(schedule.blocks) if block.end_s <= event.start_s + 1.0]
    ahead = [k for k, block in enumerate(schedule.blocks) if block.start_s >= event.end_s - 1.0]
    if not behind or not ahead:
        return None, None
    old, new = schedule.blocks[behind[-1]], schedule.blocks[ahead[0]]
    before, after = ups[behind[-1]], ups[ahead[0]]
    if before is None or after is None:
        return None, None
    if old.after_meridian != new.after_meridian:
        after = (after + HALF_TURN_DEG) % 360.0
    return before, after
