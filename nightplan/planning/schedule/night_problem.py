"""From framings, geometry and photons to the abstract problem that the solver takes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.dates import DAY_S
from nightplan.model.wishes import goal_for
from nightplan.planning.calibration.frames import SMALL_READOUT_S
from nightplan.planning.framing.shared_angle import axis_apart_deg
from nightplan.planning.photons.goals import TargetGoal, WantedFilter, target_goals
from nightplan.planning.photons.photon_budget import PhotonBudget, photon_budget
from nightplan.planning.photons.short_set import DONE_SHARE, ShortSet, short_set
from nightplan.planning.schedule.problem import (
    ChangeCosts,
    Feed,
    Overheads,
    Pointing,
    Problem,
    Task,
)
from nightplan.planning.schedule.refocus import refocus_rule
from nightplan.planning.schedule.rules import SAME_ANGLE_DEG
from nightplan.planning.tonight.field_turn import most_turn
from nightplan.planning.tonight.limits import never_usable_reasons, usable_margin_deg
from nightplan.planning.tonight.night_end import latest_end
from nightplan.planning.tonight.setup_timeline import FOCUS_STEPS
from nightplan.planning.tonight.visibility import (
    SkyTracks,
    meridian_transit_utc_mjd,
    sky_tracks,
    time_grid,
)
from nightplan.planning.value.curve import ValueCurve
from nightplan.planning.value.progress_value import BEYOND, FALL, row_curve
from nightplan.sky.angles import separation_deg

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.framing.framing import Framing
    from nightplan.planning.returning.earlier_nights import EarlierNights
    from nightplan.planning.tonight.night import Night
    from nightplan.planning.tonight.setup_timeline import SetupTimeline

GRID_MIN = 1.0
MOST_A_NIGHT_H = 24.0
SHORT_FIRST = 3.0
"""An hour of a short set over one of the filter's normal subs: short subs lose half of their time
to downloads and dithers, and the picture is not whole without them."""


@dataclass(frozen=True, eq=False)
class NightProblem:
    """The problem; each target's recipe and goal, and its short set, by name."""

    problem: Problem
    goals: dict[str, TargetGoal]
    short_sets: dict[str, ShortSet]


@dataclass(frozen=True)
class _Field:
    """One panel to point at, of a target in its train."""

    target: Target
    framing: Framing
    number: int

    @property
    def place(self) -> Target:
        """The target as if it lay where the panel does."""
        panel = self.framing.panels[self.number - 1]
        return replace(self.target, ra_deg=panel.ra_deg, dec_deg=panel.dec_deg)


def night_problem(
    config: Config,
    night: Night,
    targets: Sequence[Target],
    framings: Sequence[Framing],
    setup: SetupTimeline,
    earlier: EarlierNights,
    curves: Mapping[tuple[str, int, str], ValueCurve] | None = None,
    fillers: frozenset[str] = frozenset(),
) -> NightProblem:
    """Build the problem of one night.

    Parameters
    ----------
    targets, framings
        Tonight's targets and how each is framed, in the same order; a framing's train is the one
        that its target is shot with.
    curves : mapping of (target, panel, filter) to ValueCurve, optional
        What equivalent hours are worth; by the goal and priority alone where there is none.
    fillers : frozenset of str
        Targets that are only used while no other of tonight's targets can be.

    Raises
    ------
    ValueError
        The night has no window.
    """
    window = night.window_utc_mjd
    if window is None:
        raise ValueError("a night without a window has nothing to schedule")
    fields = [
        _Field(target, framing, number)
        for target, framing in zip(targets, framings, strict=True)
        for number in range(1, len(framing.panels) + 1)
    ]
    utc_mjd = time_grid(night, GRID_MIN)
    ra = np.array([field.place.ra_deg for field in fields])
    dec = np.array([field.place.dec_deg for field in fields])
    tracks = sky_tracks(night, ra, dec, utc_mjd)
    transit = meridian_transit_utc_mjd(night, ra, dec)
    if not config.mount.flips:
        transit = np.full(transit.shape, np.inf)
    margins = {
        name: usable_margin_deg(config, night, tracks, item.role, name)
        for name, item in config.filter.items()
    }
    pointings = []
    for index, field in enumerate(fields):
        framing, goal = field.framing, goal_for(config, field.target)
        panel = framing.panels[field.number - 1]
        # The panels of a mosaic are shot at one angle of the camera, and share their flats.
        angle_is_new = not any(
            axis_apart_deg(framing.position_angle_deg, angle) <= SAME_ANGLE_DEG
            for angle in earlier.flats_angles.get(framing.train, ())
        )
        pointings.append(
            Pointing(
                target=field.target.name,
                panel=field.number,
                ra_deg=panel.ra_deg,
                dec_deg=panel.dec_deg,
                position_angle_deg=panel.position_angle_deg,
                image_up_angle_deg=panel.image_up_angle_deg,
                transit_s=(float(transit[index]) - window[0]) * DAY_S,
                priority=goal.priority if goal is not None else 1.0,
                new_angle=angle_is_new,
            )
        )
    never = {
        name: never_usable_reasons(config, night, tracks, item.role, name)
        for name, item in config.filter.items()
    }
    goals: dict[str, TargetGoal] = {}
    short_sets: dict[str, ShortSet] = {}
    tasks: dict[int, list[Task]] = {}
    trains = tuple(dict.fromkeys(framing.train for framing in framings))
    for train in trains:
        mine = [index for index, field in enumerate(fields) if field.framing.train == train]
        own = [target for target, framing in zip(targets, framings, strict=True)
               if framing.train == train]  # fmt: skip
        own_tracks = sky_tracks(night, ra[mine], dec[mine], utc_mjd) if trains[1:] else tracks
        free = np.any([margin[mine] >= 0.0 for margin in margins.values()], axis=0)
        places = [fields[index].place for index in mine]
        budgets = _budgets(config, night, train, places, own_tracks, free)
        goals |= zip([one.name for one in own], target_goals(config, own, train), strict=True)
        for (budget, row), index in zip(budgets, mine, strict=True):
            target, number = fields[index].target, fields[index].number
            if number == 1:
                found = short_set(config, target, train, budget.filters)
                if found is not None:
                    short_sets[target.name] = found
            had_h = partial(earlier.gathered_h, target.name, number, train=train)
            wanted = goals[target.name].wanted
            tasks[index] = [
                Task(
                    pointing=index,
                    filter=name,
                    train=train,
                    gain=budget.gain[column],
                    sub_s=float(budget.sub_s[column]),
                    worth=first.worth,
                    usable=margins[name][index] >= 0.0,
                    goal_h=first.goal_h,
                    gathered_h=first.gathered_h,
                    focus_offset_known=config.filter[name].focus_offset_steps is not None,
                    why_never=never[name][index],
                    goal=first.goal,
                    further=tuple(further),
                )
                for name, (first, *further) in _feeds(config, wanted, budget, row, had_h).items()
                for column in [budget.filter_names.index(first.goal)]
            ]
            short = short_sets.get(target.name)
            if short is not None and number == _core_panel(fields[index]):
                tasks[index] += _short_tasks(short, tasks[index], earlier, target.name, number)
    preferences = config.preferences
    end = latest_end(config, night, setup.power_on_utc_mjd or window[0])
    assert end is not None
    limits = {}
    if end.utc_mjd < window[1] - 1e-6:
        limits["latest_end"] = end.reason
    costs = preferences.change_cost
    ordered = _fillers_wait(
        pointings, [task for index in range(len(fields)) for task in tasks[index]], fillers
    )
    problem = Problem(
        epoch_utc_mjd=window[0],
        window_s=(window[1] - window[0]) * DAY_S,
        setup_s=setup.into_window_s,
        focused_s=_focused_s(setup, window[0]),
        latest_end_s=max(0.0, (end.utc_mjd - window[0]) * DAY_S),
        grid_s=(utc_mjd - window[0]) * DAY_S,
        pointings=tuple(pointings),
        tasks=ordered,
        curves=row_curves(pointings, ordered, curves),
        overheads=replace(
            overheads(config, night, *trains), flats_at_end=end.limit in ("tear_down", "battery")
        ),
        change_costs=ChangeCosts(
            filter_change=costs.filter_change,
            target_change=costs.target_change,
            new_angle=costs.new_angle,
            train_change=costs.train_change,
        ),
        shortest_block_s=preferences.shortest_block_min * 60.0,
        longest_block_s=preferences.longest_block_min * 60.0,
        altitude_deg=tracks.altitude_deg,
        moon_altitude_deg=tracks.moon_altitude_deg,
        limits=limits,
    )
    return NightProblem(problem, goals, short_sets)


def _core_panel(field: _Field) -> int:
    """The panel of a target's framing whose middle is nearest to the target's own."""
    panels = field.framing.panels
    apart = separation_deg(
        field.target.ra_deg,
        field.target.dec_deg,
        np.array([panel.ra_deg for panel in panels]),
        np.array([panel.dec_deg for panel in panels]),
    )
    return int(np.argmin(apart)) + 1


def _budgets(
    config: Config,
    night: Night,
    train: str,
    places: Sequence[Target],
    tracks: SkyTracks,
    free: NDArray[np.bool_],
) -> list[tuple[PhotonBudget, int]]:
    """A budget that holds each place, and its row there; `free` is (place, time).

    Where the field turns, each place has subs as long as its own path allows.
    """
    if not config.mount.field_turns:
        whole = photon_budget(config, train, places, tracks)
        return [(whole, row) for row in range(len(places))]
    found = []
    for place, turn in zip(places, most_turn(tracks, free), strict=True):
        own = sky_tracks(night, [place.ra_deg], [place.dec_deg], tracks.utc_mjd)
        found.append((photon_budget(config, train, [place], own, turn=float(turn)), 0))
    return found


def _feeds(
    config: Config,
    wanted: Sequence[WantedFilter],
    budget: PhotonBudget,
    row: int,
    had_h: Callable[[str], float],
) -> dict[str, list[Feed]]:
    """What the subs through each filter bring: a goal for each channel that is wanted."""
    feeds: dict[str, list[Feed]] = {}
    for item in wanted:
        column = budget.filter_names.index(item.filter)
        # Rounded, so that no machine's last digit decides between two plans.
        worth = np.round(np.nan_to_num(budget.worth[row, column]), 6)
        feed = Feed(item.filter, worth, item.goal_h, had_h(item.filter))
        feeds.setdefault(config.channel[item.filter].filter, []).append(feed)
    return feeds


def _short_tasks(
    short: ShortSet, tasks: Sequence[Task], earlier: EarlierNights, target: str, panel: int
) -> list[Task]:
    """The short sets beside some tasks of one field, but for those that were shot already.

    A core outshines any sky, so that its subs are worth the same whenever the filter may be used.
    """
    found = []
    for task in tasks:
        had_h = earlier.gathered_h(target, panel, task.filter, task.train, short=True)
        goal_h = short.open_s / 3600.0
        if task.filter in short.filters and had_h < DONE_SHARE * goal_h:
            found.append(
                replace(
                    task,
                    gain=short.gain,
                    sub_s=short.sub_s,
                    worth=np.ones_like(task.worth),
                    goal_h=goal_h,
                    gathered_h=had_h,
                    goal="",
                    further=(),
                    short=True,
                )
            )
    return found


def _focused_s(setup: SetupTimeline, window_start_utc_mjd: float) -> float | None:
    """End of the last focus run of setting up, seconds since the window's start."""
    ends = [step.end_utc_mjd for step in setup.steps if step.name in FOCUS_STEPS]
    if not ends:
        return None
    return min(setup.into_window_s, (max(ends) - window_start_utc_mjd) * DAY_S)


def flats_s(config: Config) -> float:
    """Seconds of a light panel for one filter's flats, of the middle of the allowed exposures."""
    wish = config.calibration
    middle_s = (wish.flat_shortest_s * wish.flat_longest_s) ** 0.5
    return wish.flats * (middle_s + max(config.camera.download_s, SMALL_READOUT_S))


def _fillers_wait(
    pointings: Sequence[Pointing], tasks: Sequence[Task], fillers: frozenset[str]
) -> tuple[Task, ...]:
    """Tasks with fillers barred while any other target can be shot."""
    other = [task.usable for task in tasks if pointings[task.pointing].target not in fillers]
    if not fillers or not other:
        return tuple(tasks)
    busy = np.any(other, axis=0)
    return tuple(
        replace(task, usable=task.usable & ~busy, why_never="the night's own targets can be shot")
        if pointings[task.pointing].target in fillers
        else task
        for task in tasks
    )


def row_curves(
    pointings: Sequence[Pointing],
    tasks: Sequence[Task],
    known: Mapping[tuple[str, int, str], ValueCurve] | None = None,
) -> tuple[ValueCurve, ...]:
    """One curve for each row of progress, from goal and priority alone where none is known."""
    curves: dict[tuple[str, int, str], ValueCurve] = {}
    normal: dict[tuple[int, str], list[ValueCurve]] = {}
    for task in tasks:
        pointing = pointings[task.pointing]
        for feed in task.feeds:
            key = (pointing.target, pointing.panel, feed.goal)
            if known is not None and key in known:
                curves[key] = known[key]
            elif task.short:
                own = normal[task.pointing, task.filter]
                curves[key] = _short_curve(task, own, pointing.priority)
            elif key not in curves:
                curves[key] = row_curve(
                    feed.goal_h,
                    feed.gathered_h,
                    pointing.priority / len(task.feeds),
                    np.zeros(1),
                    MOST_A_NIGHT_H,
                    FALL["diminishing"],
                )
            if not task.short:
                normal.setdefault((task.pointing, task.filter), []).append(curves[key])
    return tuple(curves.values())


def _short_curve(task: Task, normal: Sequence[ValueCurve], priority: float) -> ValueCurve:
    """Up to the whole short set each hour is worth more than one of its filter's normal subs, so
    that it is shot beside them, when they are; beyond nothing."""
    slope = float(sum(curve.slopes[0] for curve in normal))
    if normal[0].gathered_h > 0.0 and slope < priority * BEYOND:
        # The normal subs are all there; what is missing is the core.
        slope = priority
    return ValueCurve.from_slopes(
        task.gathered_h, [task.goal_h - task.gathered_h], [SHORT_FIRST * slope]
    )


def overheads(config: Config, night: Night, *trains: str) -> Overheads:
    """What is not exposure, from mount, focuser, wheel, rotator, dither and guider.

    Of several trains the one whose focus holds for the shortest time sets the interval.
    """
    preferences, mount, focuser = config.preferences, config.mount, config.focuser
    settle_s = config.guider.settle_s if config.guider is not None else 0.0
    return Overheads(
        download_s=config.camera.download_s,
        dither_every=preferences.dither.every_subs,
        dither_s=preferences.dither.move_s + settle_s,
        focus_s=focuser.run_min * 60.0,
        focus_every_s=min(refocus_rule(config, night, train).every_s for train in trains),
        filter_change_s=config.wheel.change_s,
        use_filter_offsets=focuser.use_filter_offsets,
        offset_move_s=focuser.offset_move_s,
        slew_centre_s=mount.slew_centre_min * 60.0,
        settle_s=settle_s,
        flip_s=mount.flip_min * 60.0,
        focus_after_flip=True,
        turn_s=preferences.turn_by_hand_min * 60.0 if config.rotator is None else 0.0,
        turn_s_per_deg=0.0 if config.rotator is None else 1.0 / config.rotator.deg_per_s,
        turned_by_hand=config.rotator is None,
        flats_s=flats_s(config),
        train_change_s=preferences.train_change_min * 60.0
        if preferences.allow_train_change
        else None,
        stop_before_meridian_s=mount.stop_before_meridian_min * 60.0,
        track_past_meridian_s=mount.track_past_meridian_min * 60.0,
    )
