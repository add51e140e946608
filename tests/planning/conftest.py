"""Invented nights for the schedule's tests: smooth worth, real rules, any size."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from nightplan.planning.schedule import solver
from nightplan.planning.schedule.night_problem import row_curves
from nightplan.planning.schedule.problem import ChangeCosts, Overheads, Pointing, Problem, Task


def _night(
    targets: int = 1,
    filters: int = 3,
    hours: float = 4.0,
    seed: int = 0,
    sub_s: float = 300.0,
    shortest_min: float = 20.0,
    setup_min: float = 5.0,
    goal_h: float = 3.0,
    gathered: bool = False,
    trains: tuple[str, ...] = ("flattener",),
    every_train: bool = False,
    **changes: object,
) -> Problem:
    """A night with `targets` x `filters` tasks, worth as rounded hills, some spans barred.

    Targets take the trains in turn, or each of them `every_train`.
    """
    rng = np.random.default_rng(seed)
    angles = np.random.default_rng([seed, 1]).uniform(0.0, 180.0, (targets, len(trains)))
    window_s = hours * 3600.0
    grid_s = np.arange(0.0, window_s + 301.0, 300.0)
    pointings, tasks = [], []
    for number in range(targets):
        transit_s = float(rng.uniform(-0.3, 1.3) * max(window_s, 3600.0))
        pointings.append(
            Pointing(
                target=f"T{number}",
                panel=1,
                ra_deg=10.0 * number,
                dec_deg=20.0,
                position_angle_deg=0.0,
                image_up_angle_deg=None,
                transit_s=transit_s,
                priority=float(rng.choice([1.0, 2.0])),
                new_angle=bool(rng.integers(0, 2)),
            )
        )
        mine = range(len(trains)) if every_train else [number % len(trains)]
        pointings[-1] = replace(pointings[-1], position_angle_deg=float(angles[number, mine[0]]))
        own = [(len(pointings) - 1, trains[mine[0]])]
        for which in mine[1:]:
            angle = float(angles[number, which])
            pointings.append(replace(pointings[-1], position_angle_deg=angle))
            own.append((len(pointings) - 1, trains[which]))
        first, last = sorted(rng.uniform(-0.5, 1.5, 2) * window_s)
        for which in range(filters):
            hill = np.exp(-0.5 * ((grid_s - transit_s) / (3600.0 * rng.uniform(2.0, 6.0))) ** 2)
            usable = (grid_s >= first) & (grid_s <= max(last, first + 0.4 * window_s))
            task = Task(
                pointing=own[0][0],
                filter="LRGBHOS"[which],
                train=own[0][1],
                gain="low",
                sub_s=sub_s,
                worth=rng.uniform(0.4, 1.0) * hill,
                usable=usable,
                goal_h=goal_h * float(rng.uniform(0.4, 1.5)),
                gathered_h=float(rng.uniform(0.0, 0.5 * goal_h)) if gathered else 0.0,
                focus_offset_known=bool(rng.integers(0, 2)),
            )
            tasks.append(task)
            for pointing, train in own[1:]:
                worth = np.clip(rng.uniform(0.7, 1.4) * task.worth, 0.0, 1.0)
                tasks.append(replace(task, pointing=pointing, train=train, worth=worth))
    values: dict[str, object] = {
        "epoch_utc_mjd": 61000.0,
        "window_s": window_s,
        "setup_s": setup_min * 60.0,
        "latest_end_s": window_s,
        "grid_s": grid_s,
        "pointings": tuple(pointings),
        "tasks": tuple(tasks),
        "curves": row_curves(pointings, tasks),
        "overheads": Overheads(stop_before_meridian_s=300.0),
        "change_costs": ChangeCosts(0.001, 0.003, 0.004, 0.02),
        "shortest_block_s": shortest_min * 60.0,
        "longest_block_s": 14400.0,
    }
    values.update(changes)
    return Problem(**values)  # type: ignore[arg-type]


@pytest.fixture(autouse=True)
def _strict(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bound below a legal schedule is an error in tests."""
    monkeypatch.setattr(solver, "STRICT", True)


@pytest.fixture(scope="session")
def invented_night() -> Callable[..., Problem]:
    """Builds a night with so many targets, filters and hours from a seed."""
    return _night
