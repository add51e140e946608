"""Re-plan in the night: keep what was shot, and solve the rest from now on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from nightplan.errors import InputError
from nightplan.planning.schedule.blocks import Block, Event, Schedule
from nightplan.planning.schedule.problem import Problem
from nightplan.planning.schedule.solving.resume import resume
from nightplan.sky.times import mjd_from_iso, utc_iso

if TYPE_CHECKING:
    from nightplan.model.config import Config

DAY_S = 86400.0
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
    done : mapping of filter to count
        Subs really shot before `from`; filters that are not named were shot as planned.
    """

    from_utc_mjd: float
    plan: Mapping[str, Any] | None = None
    done: Mapping[str, int] | None = None


def parse_done(config: Config, items: Sequence[str]) -> dict[str, int]:
    """Read `FILTER=COUNT` items. Raises InputError for an unknown filter or a bad count."""
    counts: dict[str, int] = {}
    for item in items:
        name, _, number = item.partition("=")
        if name not in config.filter or not number.isdigit():
            accepted = f"FILTER=COUNT with a filter of {', '.join(config.filter)}"
            raise InputError("command line", "--done", item, accepted)
        counts[name] = counts.get(name, 0) + int(number)
    return counts


def with_past(problem: Problem, again: Replan) -> Problem:
    """The problem from `from` on, with what was shot before as kept blocks.

    Raises
    ------
    InputError
        `from` or the plan in force belongs to another night, or more subs are said to be done
        than that plan held before `from`.
    """
    _check_night(problem, again)
    now_s = (again.from_utc_mjd - problem.epoch_utc_mjd) * DAY_S
    now_s = min(max(now_s, 0.0), problem.window_s)
    done = dict(again.done or {})
    previous = None if again.plan is None else plan_schedule(problem, again.plan)
    if previous is None:
        return replace(_with_gathered(problem, now_s, done), now_s=now_s)
    rest = resume(problem, previous, now_s, done, ROUNDING_S, finish_sub=False)
    for name, count in done.items():
        held = sum(b.count for b in rest.kept if problem.tasks[b.task].filter == name)
        if held < count:
            accepted = f"at most {held}, as planned before"
            raise InputError("command line", "--done", f"{name}={count}", accepted)
    return rest


def _check_night(problem: Problem, again: Replan) -> None:
    """Raise InputError where `from` or the plan in force is half a day off the window's middle."""
    middle = problem.epoch_utc_mjd + 0.5 * problem.window_s / DAY_S
    start, end = (utc_iso(middle + half) for half in (-0.5, 0.5))
    if abs(again.from_utc_mjd - middle) > 0.5:
        accepted = f"a time of the night planned, from {start} to {end}"
        raise InputError("command line", "--from", utc_iso(again.from_utc_mjd), accepted)
    began = None if again.plan is None else again.plan["window_start_utc"]
    if began is not None and abs(mjd_from_iso(began) - middle) > 0.5:
        accepted = f"a plan whose window lies in the night from {start} to {end}"
        raise InputError("command line", "--keep", f"window_start_utc {began}", accepted)


def plan_schedule(problem: Problem, plan: Mapping[str, Any]) -> Schedule:
    """A plan document as a schedule of this problem; blocks that fit no task are left out."""
    tasks = {
        (problem.pointings[task.pointing].target, problem.pointings[task.pointing].panel,
         task.filter, task.train): number
        for number, task in enumerate(problem.tasks)
    }  # fmt: skip
    pointing_of: dict[str, int] = {}
    for i, pointing in enumerate(problem.pointings):
        pointing_of.setdefault(pointing.target, i)
    blocks: list[Block] = []
    for row in plan["blocks"]:
        train = row.get("train", plan["train"])
        number = tasks.get((row["target"], row["panel"], row["filter"], train))
        if number is None:
            continue
        start = _seconds(problem, row["start_utc"])
        near = blocks[-1] if blocks and not blocks[-1].after_meridian else None
        stays = near is not None and near.pointing == problem.tasks[number].pointing
        flipped = near is not None and any(
            row["kind"] == "flip" and near.start_s < _seconds(problem, row["start_utc"]) < start
            for row in plan["events"]
        )
        # A mount that tracks past the meridian goes on there until it flips.
        after = start >= _transit(problem, problem.tasks[number]) and not (stays and not flipped)
        blocks.append(_block(problem, number, start, int(row["count"]), after))
    events = [
        Event(
            row["kind"],
            pointing_of.get(row.get("target") or ""),
            _seconds(problem, row["start_utc"]),
            _seconds(problem, row["end_utc"]),
        )
        for row in plan["events"]
    ]
    return Schedule(tuple(blocks), tuple(events))


def _transit(problem: Problem, task: Any) -> float:
    return problem.pointings[task.pointing].transit_s


def _seconds(problem: Problem, utc: str) -> float:
    return (mjd_from_iso(utc) - problem.epoch_utc_mjd) * DAY_S


def _block(problem: Problem, task: int, start_s: float, count: int, after: bool) -> Block:
    rules = problem.overheads
    return Block(
        task=task,
        pointing=problem.tasks[task].pointing,
        start_s=start_s,
        end_s=start_s + problem.run_s(task, count),
        count=count,
        sub_s=problem.tasks[task].sub_s,
        dithers=max(0, (count - 1) // rules.dither_every),
        after_meridian=after,
    )


def _with_gathered(problem: Problem, now_s: float, done: dict[str, int]) -> Problem:
    """Without a plan in force: subs already shot count for the first target that wants them."""
    tasks = list(problem.tasks)
    for name, count in done.items():
        number = next((i for i, task in enumerate(tasks) if task.filter == name), None)
        if number is None:
            wanted = ", ".join(dict.fromkeys(task.filter for task in tasks))
            raise InputError("command line", "--done", f"{name}={count}", f"a filter of {wanted}")
        task = tasks[number]
        most = int(now_s // task.sub_s)
        if count > most:
            raise InputError(
                "command line",
                "--done",
                f"{name}={count}",
                f"at most {most} subs of {task.sub_s:g} s between the window's start and --from",
            )
        edges = problem.worth_until(number, [0.0, now_s])
        mean = float(edges[1] - edges[0]) / now_s if now_s > 0.0 else 0.0
        tasks[number] = replace(
            task, gathered_h=task.gathered_h + count * task.sub_s * mean / 3600.0
        )
    return replace(problem, tasks=tuple(tasks))
