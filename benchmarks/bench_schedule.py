"""The schedule solver against other ways to fill the same nights; prints Markdown tables.

    python benchmarks/bench_schedule.py [--seconds 5] [--only 04x7] [--bound-only] [--seed 9201]

The nights `cat_...` are of real targets (`make_catalogue_nights.py`). `best known` is the better of
the plan and of what an annealer with rules and an evaluation of its own finds from nothing in
`--own-seconds` of one core (`tests/planning/own_annealer.py`).

With `--seed`, on nights invented from that seed on instead of the fixed ones: the solver's counts
were chosen with an eye on the fixed nights.

Rivals are wrapped to the same blocks and rules and scored by the same objective. Gains are over
an idle night. `gap` is 100 (bound - objective) / bound. The re-plan is 40 % into the night. Seconds
are of one core's work (`time.process_time`), so that other work on the machine does not count.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import ParamSpec, TypeVar

import numpy as np
from instance_files import FOLDER, load
from make_instances import build
from rival_schedules import astroplan_schedule, equal_split, greedy

from nightplan.planning.schedule.blocks import Schedule
from nightplan.planning.schedule.check import violations
from nightplan.planning.schedule.problem import Problem
from nightplan.planning.schedule.schedule import Objective, empty_schedule, evaluate
from nightplan.planning.schedule.solver import solve
from nightplan.planning.schedule.solving.resume import resume

Result = TypeVar("Result")
Wanted = ParamSpec("Wanted")
RIVALS: dict[str, Callable[[Problem], Schedule]] = {
    "astroplan sequential": lambda problem: astroplan_schedule(problem, "sequential"),
    "astroplan priority": lambda problem: astroplan_schedule(problem, "priority"),
    "greedy best next": greedy,
    "equal split": equal_split,
}


FRESH = [
    *((1, 8, "rises"), (1, 10, "sets"), (2, 8, "none"), (2, 10, "sets")),
    *((3, 8, "up"), (3, 10, "none"), (4, 8, "sets"), (4, 10, "rises")),
    *((6, 10, "none"), (8, 10, "sets"), (12, 12, "rises"), (12, 12, "up")),
]


def worst_filter(objective: Objective) -> float:
    """Least share of the goal among the filters that got time."""
    return min((row.share for row in objective.progress if row.tonight_h > 0.0), default=0.0)


def changes(objective: Objective) -> int:
    """Changes of filter or target."""
    return objective.changes["filter_change"] + objective.changes["target_change"]


def nights(seed: int | None) -> Iterator[tuple[str, Problem]]:
    """The fixed nights, or fresh ones from a seed on, by name."""
    if seed is None:
        for path in sorted(FOLDER.glob("*.json.gz")):
            yield path.name.removesuffix(".json.gz"), load(path)
    else:
        for number, (targets, hours, moon) in enumerate(FRESH, start=seed):
            name = f"{targets:02d}x7_{hours:02d}h_{moon}_{number}"
            yield name, build(targets, float(hours), number, moon)


def timed(
    work: Callable[Wanted, Result], *args: Wanted.args, **more: Wanted.kwargs
) -> tuple[Result, float]:
    """What some work gives, and the seconds of one core that it took."""
    begun = time.process_time()
    result = work(*args, **more)
    return result, time.process_time() - begun


def best_by_own(problem: Problem, seconds: float) -> float:
    """The best legal value that the independent annealer finds in about so many seconds."""
    if seconds <= 0.0:
        return -np.inf
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    from tests.planning.own_annealer import OwnAnnealer

    own = OwnAnnealer(problem)
    own.best(1, 1000)
    _, took_s = timed(own.best, 1, 20_000)
    value, schedule = own.best(2, int(20_000 * seconds / max(took_s, 1e-3)))
    assert violations(problem, schedule) == []
    assert own.inside_limits(schedule)
    return value


def main() -> None:
    """Run every instance and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=5.0, help="time limit of the solver")
    parser.add_argument("--many-seconds", type=float, default=10.0, help="with six targets or more")
    parser.add_argument("--only", default="", help="instances whose name begins so, by commas")
    parser.add_argument("--own-seconds", type=float, default=60.0, help="of the own annealer")
    parser.add_argument("--bound-only", action="store_true", help="leave the rivals out")
    parser.add_argument("--seed", type=int, help="nights invented from this seed on")
    wishes = parser.parse_args()
    starts = tuple(wishes.only.split(","))
    rows, ties = [], []
    print(
        "| instance | rows | objective | best known | short of it % | bound | gap % "
        "| solve s | re-plan s | its gap % |"
    )
    print("|---|---|---|---|---|---|---|---|---|---|")
    for name, problem in nights(wishes.seed):
        if not name.startswith(starts):
            continue
        many = len(problem.pointings) >= 6
        limit_s = wishes.many_seconds if many else wishes.seconds
        solution, took_s = timed(solve, problem, limit_s)
        assert violations(problem, solution.schedule) == []
        idle = evaluate(problem, empty_schedule(problem)).value
        rest = resume(problem, solution.schedule, 0.4 * problem.window_s)
        again, again_s = timed(solve, rest, 1.5)
        known = max(solution.objective, best_by_own(problem, wishes.own_seconds))
        assert known <= solution.bound + 1e-6 * abs(solution.bound), f"{name}: the bound is false"
        print(
            f"| {name} | {len(problem.row_keys)} | {solution.objective:.4f} | {known:.4f} | "
            f"{100.0 * (1.0 - solution.objective / known):.2f} | {solution.bound:.4f} | "
            f"{solution.gap_percent:.2f} | {took_s:.1f} | {again_s:.1f} | "
            f"{again.gap_percent:.2f} |",
            flush=True,
        )
        if wishes.bound_only:
            continue
        own = solution.evaluation
        best_rival = -np.inf
        for rival in ("nightplan", *RIVALS):
            schedule, took = solution.schedule, took_s
            if rival in RIVALS:
                schedule, took = timed(RIVALS[rival], problem)
            assert violations(problem, schedule) == []
            objective = evaluate(problem, schedule)
            rows.append(
                f"| {name} | {rival} | {objective.value - idle:.4f} | "
                f"{(objective.value - idle) / max(own.value - idle, 1e-12):.3f} | "
                f"{worst_filter(objective):.2f} | {changes(objective)} | {took:.1f} |"
            )
            if rival != "nightplan":
                best_rival = max(best_rival, objective.value)
        assert own.value >= best_rival - 1e-9, f"{name}: a rival is ahead"
        if own.value <= best_rival + 1e-6:
            ties.append(name)
    if rows:
        print()
        print("| instance | method | gained | of ours | least filter begun | changes | s |")
        print("|---|---|---|---|---|---|---|")
        print("\n".join(rows))
        print()
        print("Ties: " + (", ".join(ties) or "none"))


if __name__ == "__main__":
    main()
