"""Re-plan in the night: keep what was shot, and solve the rest from now on."""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import dataclass, replace
from typing import Any

from nightplan.dates import DAY_S
from nightplan.errors import InputError
from nightplan.planning.schedule.blocks import Schedule
from nightplan.planning.schedule.done import Done, DoneKey, done_key, done_words
from nightplan.planning.schedule.in_force import take_over
from nightplan.planning.schedule.problem import Problem, RigState
from nightplan.planning.schedule.solving.resume import resume
from nightplan.sky.times import mjd_from_iso, utc_iso

# Times in a plan document are whole seconds; a sub that ends in the second of `from` counts.
ROUNDING_S = 1.0


@dataclass(frozen=True)
class Replan:
    """From when to plan anew, the plan in force, and what was really shot before.

    Attributes
    ----------
    from_utc_mjd : float
    plan : mapping or None
        The plan document in force (`--keep`).
    done : mapping of filter, or of target and filter, to count
        Subs really shot before `from`; what is not named was shot as planned.
    source : str
        What messages call the plan in force: its file.
    """

    from_utc_mjd: float
    plan: Mapping[str, Any] | None = None
    done: Done | None = None
    source: str = "the plan in force"


def with_past(problem: Problem, again: Replan) -> tuple[Problem, list[str]]:
    """The problem from `from` on, with what was shot before as kept blocks.

    Returns
    -------
    problem : Problem
    notices : list of str
        What of the plan in force does not fit tonight's problem, and what was assumed of subs
        that were told to differ from it.

    Raises
    ------
    InputError
        `from` or the plan in force belongs to another night, nothing of that plan fits, or more
        subs are said to be done than the time that has passed can hold.
    """
    _check_night(problem, again)
    now_s = (again.from_utc_mjd - problem.epoch_utc_mjd) * DAY_S
    now_s = min(max(now_s, 0.0), problem.window_s)
    done = dict(again.done or {})
    notices: list[str] = []
    if again.plan is None:
        rest = resume(problem, Schedule(), now_s, done, ROUNDING_S)
        # Where the rig stands is not known: the start pays what a start pays.
        state = RigState(None) if now_s > problem.setup_s else None
        rest = replace(rest, state=state, previous=None)
        planned = replace(rest, kept=())
    else:
        problem, in_force, notices = take_over(problem, again.plan, now_s, again.source)
        rest = resume(problem, in_force, now_s, done, ROUNDING_S)
        planned = resume(problem, in_force, now_s, {}, ROUNDING_S)
    if rest.now_s > now_s + ROUNDING_S:
        later_s = rest.now_s - now_s
        later = f"{later_s:.0f} s" if later_s < 90.0 else f"{later_s / 60.0:.0f} min"
        notices.append(
            f"what is under way at --from is finished first: the rest begins {later} later"
        )
    return rest, [*notices, *_assumed(rest, planned, done)]


def _assumed(rest: Problem, planned: Problem, done: Done) -> list[str]:
    """What the counts told were taken to mean, where the plan in force does not say it."""
    told = []
    where = "between what else was shot" if rest.previous else "as if shot just before --from"
    for key, count in done.items():
        name = done_words(key)
        had, has = _by_target(planned, key, done), _by_target(rest, key, done)
        more = next((target for target in has if has[target] > had.get(target, 0)), None)
        if more is not None:
            beyond = f" where {had[more]} were planned" if more in had else ""
            told.append(
                f"{name}={count} is counted for {more}{beyond}; when its subs were taken is not "
                f"known, and they are laid {where}"
            )
        elif count < sum(had.values()) and len(had) > 1:
            shares = ", ".join(f"{target} {has.get(target, 0)} of {had[target]}" for target in had)
            told.append(f"{name}={count} is counted for the first subs planned: {shares}")
    names = dict.fromkeys(planned.tasks[block.task].set_name for block in planned.kept)
    for name in names:
        had, has = _by_target(planned, name, ()), _by_target(rest, name, ())
        for target in had:
            if name in done or (target, name) in done or has.get(target, 0) >= had[target]:
                continue
            told.append(
                f"beside what --done names there was no time for all that was planned: of "
                f"{target} {name} {has.get(target, 0)} of {had[target]} subs are counted; name it "
                "too if that is not so"
            )
    return told


def _by_target(problem: Problem, key: DoneKey, done: Container[DoneKey]) -> dict[str, int]:
    """Kept subs that `key` counts, by target; with `done` empty `key` is a filter of any."""
    counts: dict[str, int] = {}
    for block in problem.kept:
        counted = done_key(problem, block.task, done or (key,))
        if counted == key:
            target = problem.pointings[block.pointing].target
            counts[target] = counts.get(target, 0) + block.count
    return counts


def _check_night(problem: Problem, again: Replan) -> None:
    """Raise InputError where `from` or the plan in force is half a day off the window's middle."""
    middle = problem.epoch_utc_mjd + 0.5 * problem.window_s / DAY_S
    start, end = (utc_iso(middle + half) for half in (-0.5, 0.5))
    if abs(again.from_utc_mjd - middle) > 0.5:
        accepted = f"a time of the night planned, from {start} to {end}"
        raise InputError("library", "start", utc_iso(again.from_utc_mjd), accepted)
    began = None if again.plan is None else again.plan["window_start_utc"]
    if began is not None and abs(mjd_from_iso(began) - middle) > 0.5:
        accepted = f"a plan whose window lies in the night from {start} to {end}"
        raise InputError("library", "keep", f"window_start_utc {began}", accepted)
