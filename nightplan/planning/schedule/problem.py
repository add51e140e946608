"""What a night's schedule has to decide, in plain numbers: no files, no sky, no units objects.

Times are float seconds since the start of the night's one window (`epoch_utc_mjd`). A *task* is
one filter of one pointing through one train; its *worth* is in equivalent seconds per second of
open shutter (see `docs`: 1 at the zenith with the moon down). Its subs bring hours to one goal, or
to several at once: a colour camera's to red, green and blue.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from nightplan.planning.photons.sub_sets import set_name
from nightplan.planning.schedule.blocks import Block, Event, Schedule
from nightplan.planning.schedule.rules import NightRules
from nightplan.planning.value.curve import ValueCurve

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[Any]

HOUR_S = 3600.0


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
class Feed:
    """What the subs of a task bring one goal.

    Parameters
    ----------
    goal : str
        Its name; with target and panel it is a row of progress.
    worth : array (time,)
        Equivalent seconds per second of open shutter at `Problem.grid_s`, linear between.
    goal_h, gathered_h : float
        Equivalent hours wanted, and those that earlier nights brought.
    """

    goal: str
    worth: FloatArray
    goal_h: float
    gathered_h: float = 0.0


@dataclass(frozen=True, eq=False)
class Task:
    """One filter of one pointing, or the short set that goes with it.

    Parameters
    ----------
    pointing : int
        Index into `Problem.pointings`.
    filter, train, gain : str
    sub_s : float
        Length of one sub-exposure.
    worth, goal_h, gathered_h
        Of the first goal that its subs bring hours to; see `Feed`.
    usable : bool array (time,)
        Whether every limit holds; between two samples the task is usable if it is at both.
    focus_offset_known : bool
        Whether the filter's focus offset is stored (see `Overheads.use_filter_offsets`).
    why_never : str
        The limit that bars a task that is usable at no time.
    goal : str
        Name of that first goal where it is not the filter's.
    further : tuple of Feed
        Goals beside the first.
    short : bool
        A set of short subs for a bright core: it has a row of its own, and is shot in one go.
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
    goal: str = ""
    further: tuple[Feed, ...] = ()
    short: bool = False

    @property
    def set_name(self) -> str:
        """``L``, or ``L short``."""
        return set_name(self.filter, self.short)

    @cached_property
    def feeds(self) -> tuple[Feed, ...]:
        """All goals that its subs bring hours to."""
        first = Feed(self.goal or self.set_name, self.worth, self.goal_h, self.gathered_h)
        return (first, *self.further)

    @property
    def mean_worth(self) -> FloatArray:
        """Mean of the worth for each of its goals, array (time,)."""
        return self.worth if not self.further else np.mean([f.worth for f in self.feeds], axis=0)


@dataclass(frozen=True)
class Overheads:
    """Seconds that are not exposure, and the mount's meridian rules; `NightRules` says when each
    is due.

    `focus_every_s` is the shorter of the user's interval and what the falling temperature
    allows. A turn of the camera takes `turn_s` whatever the angle, and `turn_s_per_deg` of it;
    `turned_by_hand` it cannot come back to an angle, so flats of each filter (`flats_s`, light
    panel; 0 where they can wait for dawn) come first. `flats_at_end`: the rig comes down before
    dawn, so that flats follow the last sub. `train_change_s` None: no train is changed. `flips`
    False: the mount has no side of a pier.
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
    turned_by_hand: bool = False
    flats_s: float = 0.0
    flats_at_end: bool = False
    flips: bool = True
    train_change_s: float | None = None
    stop_before_meridian_s: float = 0.0
    track_past_meridian_s: float = 0.0

    def turning_s(self, turn_deg: float) -> float:
        """Seconds to turn the camera by so many degrees."""
        return self.turn_s + turn_deg * self.turn_s_per_deg


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

    `task` is the task it stands on, or None: then the first field is centred anew.
    `last_focus_s` is the end of the last focus run. `bolted` is the task whose train, camera
    angle and filter the rig still has though it stands on none; None where that is not known.
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
        What equivalent hours of each row of progress are worth, in the order of `row_keys`.
    shortest_block_s, longest_block_s : float
        Bounds on a run: blocks of one task that only focus runs part.
    now_s : float
        Nothing is scheduled before it.
    kept, kept_events : tuples of Block and Event
        What was already done tonight, before `now_s`.
    focused_s : float or None
        End of the focus run of setting up, which may lie before the window; None: `setup_s`.
    state : RigState or None
        The rig at `now_s`; None means that setting up ends on the first target.
    previous : Schedule or None
        The schedule in force; the solver leaves it only for a gain above `stability_share` of
        its objective.
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
    focused_s: float | None = None
    state: RigState | None = None
    previous: Schedule | None = None
    stability_share: float = 0.003
    altitude_deg: FloatArray | None = None
    moon_altitude_deg: FloatArray | None = None
    limits: dict[str, str] = field(default_factory=dict)

    @property
    def start_s(self) -> float:
        """First moment at which a block, or what leads to it, may begin."""
        kept = max((block.end_s for block in self.kept), default=0.0)
        return max(self.setup_s, self.now_s, kept)

    @property
    def last_focus_s(self) -> float:
        """End of the last focus run before `start_s`."""
        if self.state is not None:
            return self.state.last_focus_s
        return self.setup_s if self.focused_s is None else self.focused_s

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
        """(target, panel, goal) of each row of progress, in order of the tasks."""
        return tuple(dict.fromkeys(key for task in self.tasks for key in self._row_keys(task)))

    @cached_property
    def rows_of_task(self) -> tuple[tuple[int, ...], ...]:
        """Rows of progress that each task feeds, in the order of its `feeds`."""
        index = {key: number for number, key in enumerate(self.row_keys)}
        return tuple(tuple(index[key] for key in self._row_keys(task)) for task in self.tasks)

    @cached_property
    def shortest_s(self) -> tuple[float, ...]:
        """Shortest run of each task: a shortest block, or what is left of a short set."""
        return tuple(
            min(self.shortest_block_s, self.run_s(number, self.left_of_set(number)))
            if task.short
            else self.shortest_block_s
            for number, task in enumerate(self.tasks)
        )

    def left_of_set(self, task: int) -> int:
        """Subs that a short set still wants, at least 1; `kept` ones count."""
        own = self.tasks[task]
        kept_s = sum(
            block.count * block.sub_s
            for block in self.kept
            if self.rows_of_task[block.task] == self.rows_of_task[task]
        )
        wanted_s = (own.goal_h - own.gathered_h) * HOUR_S - kept_s
        return max(1, math.ceil(wanted_s / own.sub_s - 1e-6))

    @cached_property
    def targets(self) -> tuple[str, ...]:
        """Names of the targets, in order of the tasks."""
        return tuple(dict.fromkeys(key[0] for key in self.row_keys))

    @cached_property
    def cumulative_s(self) -> tuple[FloatArray, ...]:
        """Integral of worth from the grid's start, equivalent seconds: of each task an array
        (feed, time)."""
        found = []
        for task in self.tasks:
            worth = np.stack([feed.worth for feed in task.feeds])
            pieces = 0.5 * (worth[:, 1:] + worth[:, :-1]) * np.diff(self.grid_s)
            found.append(np.cumsum(np.pad(pieces, ((0, 0), (1, 0))), axis=1))
        return tuple(found)

    @cached_property
    def rules(self) -> NightRules:
        """The rules of the night for these tasks."""
        return NightRules(self.overheads, self.pointings, self.tasks)

    def worth_until(self, task: int, times_s: Any) -> FloatArray:
        """Integral of a task's worth from the grid's start to `times_s`, equivalent seconds, for
        each of its goals: array (feed, *times)."""
        grid = self.grid_s
        worth = np.stack([feed.worth for feed in self.tasks[task].feeds])
        times = np.clip(np.asarray(times_s, dtype=float), grid[0], grid[-1])
        at = np.clip(np.searchsorted(grid, times, side="right") - 1, 0, max(grid.size - 2, 0))
        if grid.size < 2:
            return np.zeros((worth.shape[0], *times.shape))
        step = times - grid[at]
        slope = (worth[:, at + 1] - worth[:, at]) / (grid[at + 1] - grid[at])
        had, now = self.cumulative_s[task][:, at], worth[:, at]
        result: FloatArray = had + (now + 0.5 * slope * step) * step
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
        low, high = self.start_s, self.end_s
        if after_meridian:
            if not self.overheads.flips:
                return []
            low = max(low, transit)
        else:
            high = min(high, self.rules.near_end_s(self.tasks[task].pointing))
        spans = [(max(low, a), min(high, b)) for a, b in self.usable_intervals(task)]
        return [(a, b) for a, b in spans if b > a]

    def run_s(self, task: int, count: int) -> float:
        """Length of a block of `count` subs with its downloads and dithers, seconds."""
        return self.rules.run_s(task, count)

    def sub_starts_s(self, task: int, start_s: float, count: int) -> FloatArray:
        """Start of each sub of a block, array (count,)."""
        starts: FloatArray = start_s + self.rules.sub_offsets_s(task, count)
        return starts

    def _row_keys(self, task: Task) -> list[tuple[str, int, str]]:
        pointing = self.pointings[task.pointing]
        return [(pointing.target, pointing.panel, feed.goal) for feed in task.feeds]
