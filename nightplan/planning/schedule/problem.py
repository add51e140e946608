"""What a night's schedule has to decide, in plain numbers: no files, no sky, no units objects.

Times are float seconds since the start of the night's one window (`epoch_utc_mjd`). A *task* is
one filter of one pointing through one train; its *worth* is in equivalent seconds per second of
open shutter (see `docs`: 1 at the zenith with the moon down).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from nightplan.planning.schedule.blocks import Block, Event, EventKind, Schedule
from nightplan.planning.value.curve import ValueCurve

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[Any]

HOUR_S = 3600.0
TIME_TOLERANCE_S = 1e-6
SAME_ANGLE_DEG = 1.0
"""Nobody turns the camera by less (common practice, no source)."""
MOST_TURN_DEG = 180.0


@dataclass(frozen=True)
class Pointing:
    """One field to point at through one train; a mosaic has one per panel.

    A target that may be shot through two trains has pointings for each. `transit_s` is the upper
    transit nearest to the window, in seconds since its start; it may be negative, or infinite
    where the target never crosses. `new_angle` says that flats are owed for this camera angle.
    `image_up_angle_deg` is that before the meridian.
    """

    target: str
    panel: int
    ra_deg: float
    dec_deg: float
    position_angle_deg: float
    image_up_angle_deg: float | None
    transit_s: float
    priority: float = 1.0
    new_angle: bool = False


@dataclass(frozen=True, eq=False)
class Task:
    """One filter of one pointing.

    Parameters
    ----------
    pointing : int
        Index into `Problem.pointings`.
    filter, train, gain : str
    sub_s : float
        Length of one sub-exposure.
    worth : array (time,)
        Equivalent seconds per second of open shutter at `Problem.grid_s`, linear between.
    usable : bool array (time,)
        Whether every limit holds; between two samples the task is usable if it is at both.
    goal_h, gathered_h : float
        Equivalent hours wanted, and those that earlier nights brought.
    focus_offset_known : bool
        Whether the filter's focus offset is stored (see `Overheads.use_filter_offsets`).
    why_never : str
        The limit that bars a task that is usable at no time.
    """

    pointing: int
    filter: str
    train: str
    gain: str
    sub_s: float
    worth: FloatArray
    usable: BoolArray
    goal_h: float
    gathered_h: float = 0.0
    focus_offset_known: bool = False
    why_never: str = "its limits hold at no time of the window"


@dataclass(frozen=True)
class Overheads:
    """Seconds that are not exposure, and the mount's meridian rules.

    A dither follows each `dither_every` subs of a block, not its last one. A focus run is due at
    the start of a block after a filter change (unless both offsets are stored and used), after a
    flip, and whenever a sub would end more than `focus_every_s` after the last run: the shorter
    of the user's interval and what the falling temperature allows.

    A target at another camera angle has the camera turned before the field is centred:
    `turn_s` whatever the angle, and `turn_s_per_deg` of it. A change of train takes
    `train_change_s` (None: there is none); the angle is lost with it, so the longest turn, the
    centring and a focus run follow.
    """

    download_s: float = 2.0
    dither_every: int = 3
    dither_s: float = 25.0
    focus_s: float = 240.0
    focus_every_s: float = 5400.0
    filter_change_s: float = 8.0
    use_filter_offsets: bool = False
    offset_move_s: float = 10.0
    slew_centre_s: float = 180.0
    settle_s: float = 20.0
    flip_s: float = 180.0
    focus_after_flip: bool = True
    turn_s: float = 0.0
    turn_s_per_deg: float = 0.0
    train_change_s: float | None = None
    stop_before_meridian_s: float = 0.0
    track_past_meridian_s: float = 0.0

    def turning_s(self, turn_deg: float) -> float:
        """Seconds to turn the camera; a turn within `SAME_ANGLE_DEG` is left be."""
        return 0.0 if turn_deg <= SAME_ANGLE_DEG else self.turn_s + turn_deg * self.turn_s_per_deg


@dataclass(frozen=True)
class ChangeCosts:
    """Value that a change costs beyond its minutes, in equivalent hours of priority 1.

    `new_angle` is charged once a night for each target whose camera angle is new.
    """

    filter_change: float = 0.0
    target_change: float = 0.0
    new_angle: float = 0.0
    train_change: float = 0.0


@dataclass(frozen=True)
class RigState:
    """What the rig is doing when the schedule takes over (a re-plan in the night).

    `task` is the task it stands on, or None: then the first block needs slew, centring and
    focus. `last_focus_s` is the end of the last focus run. `bolted` is the task whose train and
    camera angle the rig still has though it stands on none; None where that is not known.
    """

    task: int | None
    after_meridian: bool = False
    last_focus_s: float = -math.inf
    bolted: int | None = None


@dataclass(frozen=True, eq=False)
class Problem:
    """A night to schedule.

    Parameters
    ----------
    epoch_utc_mjd : float
        Start of the window, UTC as MJD; every `*_s` counts from it.
    window_s : float
        Length of the window, 0 if there is none.
    setup_s : float
        Setting up runs this far into the window.
    latest_end_s : float
        Last moment for a block to end: tear-down time or battery.
    grid_s : array (time,)
        Sampling of `Task.worth` and `Task.usable`, strictly rising.
    pointings, tasks : tuples
        Every filter that a target wants has a task, usable tonight or not.
    curves : tuple of ValueCurve
        What equivalent hours of each row are worth, in the order of `row_keys`.
    shortest_block_s, longest_block_s : float
        Bounds on a run: blocks of one task that only focus runs part.
    now_s : float
        Nothing is scheduled before it.
    kept, kept_events : tuples of Block and Event
        What was already done tonight, before `now_s`.
    state : RigState or None
        The rig at `now_s`; None means that setting up ends on the first target, in focus.
    previous : Schedule or None
        The schedule in force; the solver leaves it only for a gain above `stability_gain`.
    altitude_deg, moon_altitude_deg : arrays (pointing, time) and (time,), or None
        Context for the reasons only.
    limits : dict of str to str
        Sentences on what shortened the window, for the reasons only (``latest_end``: ...).
    """

    epoch_utc_mjd: float
    window_s: float
    setup_s: float
    latest_end_s: float
    grid_s: FloatArray
    pointings: tuple[Pointing, ...]
    tasks: tuple[Task, ...]
    curves: tuple[ValueCurve, ...]
    overheads: Overheads = field(default_factory=Overheads)
    change_costs: ChangeCosts = field(default_factory=ChangeCosts)
    shortest_block_s: float = 0.0
    longest_block_s: float = math.inf
    now_s: float = 0.0
    kept: tuple[Block, ...] = ()
    kept_events: tuple[Event, ...] = ()
    state: RigState | None = None
    previous: Schedule | None = None
    stability_gain: float = 0.002
    altitude_deg: FloatArray | None = None
    moon_altitude_deg: FloatArray | None = None
    limits: dict[str, str] = field(default_factory=dict)

    @property
    def start_s(self) -> float:
        """First moment at which a block, or what leads to it, may begin."""
        kept = max((block.end_s for block in self.kept), default=0.0)
        return max(self.setup_s, self.now_s, kept)

    @property
    def dither_due_s(self) -> float:
        """The dither that falls on the border of what is kept; it counts for its run's length."""
        every = self.overheads.dither_every
        due = bool(self.kept) and self.kept[-1].count % every == 0
        return self.overheads.dither_s if due else 0.0

    @property
    def end_s(self) -> float:
        """Last moment at which a block may end."""
        return max(0.0, min(self.window_s, self.latest_end_s))

    @cached_property
    def row_keys(self) -> tuple[tuple[str, int, str], ...]:
        """(target, panel, filter) of each row of progress, in order of the tasks."""
        return tuple(dict.fromkeys(self._row_key(task) for task in self.tasks))

    @cached_property
    def row_of_task(self) -> tuple[int, ...]:
        """Row of progress that each task feeds."""
        index = {key: number for number, key in enumerate(self.row_keys)}
        return tuple(index[self._row_key(task)] for task in self.tasks)

    @cached_property
    def targets(self) -> tuple[str, ...]:
        """Names of the targets, in order of the tasks."""
        return tuple(dict.fromkeys(key[0] for key in self.row_keys))

    @cached_property
    def cumulative_s(self) -> FloatArray:
        """Integral of worth from the grid's start, array (task, time), equivalent seconds."""
        if not self.tasks or self.grid_s.size == 0:
            return np.zeros((len(self.tasks), self.grid_s.size))
        worth = np.stack([task.worth for task in self.tasks])
        pieces = 0.5 * (worth[:, 1:] + worth[:, :-1]) * np.diff(self.grid_s)
        return np.concatenate([np.zeros((len(self.tasks), 1)), np.cumsum(pieces, axis=1)], axis=1)

    @cached_property
    def turns_s(self) -> FloatArray:
        """Seconds to turn the camera from pointing to pointing, array (from, to).

        By the shorter way to the same edge up; where no edge is said to be up, to the same line.
        The panels of a target share one angle.
        """
        size = len(self.pointings)
        turns = np.zeros((size, size))
        for number, old in enumerate(self.pointings):
            for other, new in enumerate(self.pointings):
                if old.target != new.target:
                    turns[number, other] = self.overheads.turning_s(_turn_deg(old, new))
        return turns

    def worth_until(self, task: int, times_s: Any) -> FloatArray:
        """Integral of a task's worth from the grid's start to `times_s`, equivalent seconds."""
        grid, worth = self.grid_s, self.tasks[task].worth
        times = np.clip(np.asarray(times_s, dtype=float), grid[0], grid[-1])
        at = np.clip(np.searchsorted(grid, times, side="right") - 1, 0, max(grid.size - 2, 0))
        if grid.size < 2:
            return np.zeros_like(times)
        step = times - grid[at]
        slope = (worth[at + 1] - worth[at]) / (grid[at + 1] - grid[at])
        result: FloatArray = self.cumulative_s[task][at] + (worth[at] + 0.5 * slope * step) * step
        return result

    def usable_intervals(self, task: int) -> list[tuple[float, float]]:
        """Spans, seconds, in which a task's limits hold; the meridian is not among them."""
        usable = self.tasks[task].usable
        both = usable[1:] & usable[:-1]
        edges = np.flatnonzero(np.diff(np.concatenate(([False], both, [False])).astype(int)))
        return [
            (float(self.grid_s[first]), float(self.grid_s[last]))
            for first, last in zip(edges[::2], edges[1::2], strict=True)
        ]

    def lane_intervals(self, task: int, after_meridian: bool) -> list[tuple[float, float]]:
        """Spans in which subs of a task may lie on one side of the pier.

        Before the meridian a block ends by `transit - stop_before` or, where the mount tracks
        past, by `transit + track_past`; on the other side none starts before the transit. A
        pointing that is reached anew after its transit is on the other side.
        """
        transit = self.pointings[self.tasks[task].pointing].transit_s
        rules = self.overheads
        low, high = self.start_s, self.end_s
        if after_meridian:
            low = max(low, transit)
        else:
            high = min(high, transit - rules.stop_before_meridian_s + rules.track_past_meridian_s)
        spans = [(max(low, a), min(high, b)) for a, b in self.usable_intervals(task)]
        return [(a, b) for a, b in spans if b > a]

    def lead_s(
        self, before: int | None, task: int, flip: bool = False
    ) -> list[tuple[EventKind, float]]:
        """What lies between the end of task `before` and the first sub of `task`.

        `before` None: the rig is parked somewhere, out of focus. `flip`: same pointing, other
        side of the pier. Taking a task up again after a pause centres and focuses anew. Returns
        (kind, seconds) in order; a focus run that only the clock asks for is not among them.
        """
        rules = self.overheads
        anew = before is None or (before == task and not flip)
        if before is None and self.state is not None:
            before = self.state.bolted
        new = self.tasks[task]
        old = new if before is None else self.tasks[before]
        swap = old.train != new.train
        turn_s = rules.turning_s(MOST_TURN_DEG) if swap else self._turn_s(old, new)
        centring = rules.slew_centre_s + turn_s + rules.settle_s
        steps: list[tuple[EventKind, float]] = []
        full_focus = anew or swap
        if swap:
            steps.append(("setup", rules.train_change_s or 0.0))
        if anew or swap or old.pointing != new.pointing:
            steps.append(("slew_centre", centring))
        elif flip:
            steps += [("flip", rules.flip_s), ("slew_centre", centring)]
            full_focus = full_focus or rules.focus_after_flip
        if old.filter != new.filter and not anew:
            known = old.focus_offset_known and new.focus_offset_known
            by_offset = rules.use_filter_offsets and known
            steps.append(
                ("filter_change", rules.filter_change_s + (rules.offset_move_s if by_offset else 0))
            )
            full_focus = full_focus or not by_offset
        if full_focus:
            steps.append(("focus", rules.focus_s))
        return [(kind, seconds) for kind, seconds in steps if seconds > 0.0]

    def run_s(self, task: int, count: int) -> float:
        """Length of a block of `count` subs with its downloads and dithers, seconds."""
        rules = self.overheads
        dithers = max(0, (count - 1) // rules.dither_every)
        return count * (self.tasks[task].sub_s + rules.download_s) + dithers * rules.dither_s

    def sub_starts_s(self, task: int, start_s: float, count: int) -> FloatArray:
        """Start of each sub of a block, array (count,)."""
        rules = self.overheads
        index = np.arange(count)
        starts: FloatArray = (
            start_s
            + index * (self.tasks[task].sub_s + rules.download_s)
            + (index // rules.dither_every) * rules.dither_s
        )
        return starts

    def _turn_s(self, old: Task, new: Task) -> float:
        return float(self.turns_s[old.pointing, new.pointing])

    def _row_key(self, task: Task) -> tuple[str, int, str]:
        pointing = self.pointings[task.pointing]
        return (pointing.target, pointing.panel, task.filter)


def _turn_deg(old: Pointing, new: Pointing) -> float:
    if old.image_up_angle_deg is None or new.image_up_angle_deg is None:
        apart, whole = abs(old.position_angle_deg - new.position_angle_deg), 180.0
    else:
        # Both are as before the meridian, so the flip's half turn is in neither.
        apart, whole = abs(old.image_up_angle_deg - new.image_up_angle_deg), 360.0
    apart %= whole
    return min(apart, whole - apart)
