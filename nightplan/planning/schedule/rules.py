"""The rules of the night, stated once: what lies between two blocks, and what a block holds.

Search, bound, re-plan and ledger all read them from here; `check` alone judges a schedule with
rules of its own. All lengths are seconds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from nightplan.planning.schedule.blocks import EventKind

if TYPE_CHECKING:
    from nightplan.planning.schedule.problem import Overheads, Pointing, Task

FloatArray = NDArray[np.float64]
Step = tuple[EventKind, float]

SAME_ANGLE_DEG = 1.0
"""Nobody turns the camera by less (common practice, no source)."""
MOST_TURN_DEG = 90.0
"""Images that differ by half a turn are one framing, so no turn is longer."""
PAUSE_S = 300.0
"""A shorter pause does not part two runs of one task."""
TIME_TOLERANCE_S = 1e-6
MOVING: tuple[EventKind, ...] = ("flip", "slew_centre")
"""Steps that may not begin before the transit where they lead to the far side of the pier."""


@dataclass(frozen=True)
class RigNow:
    """How the rig stands before a block.

    `task` is the one whose train, camera angle and filter it has, None where that is not known;
    `after_meridian` the side of the pier; `on_field` whether the mount still guides on that
    task's field (else it is centred anew).
    """

    task: int | None
    after_meridian: bool = False
    on_field: bool = True


def turn_deg(old: Pointing, new: Pointing) -> float:
    """By how much the camera is turned between two pointings, the shorter way, 0 to 90.

    The panels of a target share one angle.
    """
    if old.target == new.target:
        return 0.0
    apart = abs(old.position_angle_deg - new.position_angle_deg) % 180.0
    apart = min(apart, 180.0 - apart)
    return 0.0 if apart <= SAME_ANGLE_DEG else apart


@dataclass(frozen=True, eq=False)
class NightRules:
    """The rules for some tasks under a rig's overheads."""

    overheads: Overheads
    pointings: Sequence[Pointing]
    tasks: Sequence[Task]

    def lead(
        self, standing: RigNow | None, task: int, after_meridian: bool, flats: int = 1
    ) -> list[Step]:
        """What lies between how the rig stands and the first sub of `task`, in order of time.

        A focus run that only the clock asks for is not among them (see `focus_due`).

        Parameters
        ----------
        standing : RigNow or None
            None: setting up has just ended on this very field, in focus.
        after_meridian : bool
            Side of the pier on which the subs are taken.
        flats : int
            Filters whose flats are owed at the angle that is left, if it is left.
        """
        if standing is None:
            return []
        rules, new = self.overheads, self.tasks[task]
        if standing.task is None:
            steps: list[Step] = [("slew_centre", rules.slew_centre_s + rules.settle_s)]
            steps += [("filter_change", rules.filter_change_s), ("focus", rules.focus_s)]
            return [step for step in steps if step[1] > 0.0]
        old = self.tasks[standing.task]
        swap = old.train != new.train
        turn = MOST_TURN_DEG if swap else self._turn(old, new)
        flip = rules.flips and standing.after_meridian != after_meridian
        steps = []
        focus = swap
        if (swap or (turn and rules.turned_by_hand)) and self.owes_flats(standing.task):
            steps.append(("flats", flats * rules.flats_s))
        if swap:
            steps.append(("setup", rules.train_change_s or 0.0))
        if turn:
            steps.append(("turn", rules.turning_s(turn)))
        if flip:
            steps.append(("flip", rules.flip_s))
            focus = focus or rules.focus_after_flip
        if flip or swap or old.pointing != new.pointing or not standing.on_field:
            steps.append(("slew_centre", rules.slew_centre_s + rules.settle_s))
        if old.filter != new.filter:
            known = old.focus_offset_known and new.focus_offset_known
            by_offset = rules.use_filter_offsets and known
            move_s = rules.offset_move_s if by_offset else 0.0
            steps.append(("filter_change", rules.filter_change_s + move_s))
            focus = focus or not by_offset
        if focus:
            steps.append(("focus", rules.focus_s))
        return [step for step in steps if step[1] > 0.0]

    def focuses(self, standing: RigNow | None, task: int, after_meridian: bool) -> bool:
        """Whether that lead ends in focus, be it in no time at all."""
        if standing is None:
            return False
        if standing.task is None:
            return True
        rules, old, new = self.overheads, self.tasks[standing.task], self.tasks[task]
        flip = rules.flips and standing.after_meridian != after_meridian
        if old.train != new.train or (flip and rules.focus_after_flip):
            return True
        known = old.focus_offset_known and new.focus_offset_known
        return old.filter != new.filter and not (rules.use_filter_offsets and known)

    def reached_anew(self, standing: RigNow | None, task: int) -> bool:
        """Whether the mount comes to the field, so that the hour angle alone sets its side."""
        if standing is None or standing.task is None or not standing.on_field:
            return True
        old, new = self.tasks[standing.task], self.tasks[task]
        return old.pointing != new.pointing or old.train != new.train

    def owes_flats(self, task: int) -> bool:
        """Whether subs of a task owe flats at its camera angle."""
        pointing = self.pointings[self.tasks[task].pointing]
        return pointing.new_angle and self.overheads.flats_s > 0.0

    def near_end_s(self, pointing: int) -> float:
        """When a block on the near side has to be over; it goes on beyond the transit only where
        the mount tracks past."""
        rules = self.overheads
        if not rules.flips:
            return math.inf
        stop_s = rules.track_past_meridian_s - rules.stop_before_meridian_s
        return self.pointings[pointing].transit_s + stop_s

    def focus_due(self, task: int, start_s: float, last_focus_s: float) -> bool:
        """Whether a sub that starts then would end after the focus holds. A sub that is longer
        than any focus holds may still follow a focus run."""
        end_s = start_s + self.tasks[task].sub_s - TIME_TOLERANCE_S
        late = end_s > last_focus_s + self.overheads.focus_every_s
        return late and last_focus_s < start_s - TIME_TOLERANCE_S

    def dithers(self, count: int) -> int:
        """Dithers in a block: one after each so many subs, none after its last."""
        return max(0, (count - 1) // self.overheads.dither_every)

    def run_s(self, task: int, count: int) -> float:
        """Length of a block of `count` subs with its downloads and dithers."""
        cycle_s = self.tasks[task].sub_s + self.overheads.download_s
        return count * cycle_s + self.dithers(count) * self.overheads.dither_s

    def sub_offsets_s(self, task: int, count: int) -> FloatArray:
        """Start of each sub after the block's start, array (count,)."""
        index = np.arange(count)
        cycle_s = self.tasks[task].sub_s + self.overheads.download_s
        dithers = index // self.overheads.dither_every
        offsets: FloatArray = index * cycle_s + dithers * self.overheads.dither_s
        return offsets

    def _turn(self, old: Task, new: Task) -> float:
        return turn_deg(self.pointings[old.pointing], self.pointings[new.pointing])


def crossing_s(steps: Sequence[Step]) -> float:
    """How long before its end the first move of a lead begins; -1 without a move."""
    kinds = [kind for kind, _ in steps]
    first = next((number for number, kind in enumerate(kinds) if kind in MOVING), None)
    return -1.0 if first is None else float(sum(seconds for _, seconds in steps[first:]))


def standing_of(state: Any) -> RigNow | None:
    """How the rig stands when a schedule takes over; see `RigState`."""
    if state is None:
        return None
    on_field = state.task is not None
    return RigNow(state.task if on_field else state.bolted, state.after_meridian, on_field)
