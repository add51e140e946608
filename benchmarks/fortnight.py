"""A fortnight of simulated nights, planned whole and collected as planned: read it as an imager.

    python benchmarks/fortnight.py [--rig wide] [--moon new] [--nights 14] [--chance 0.6]

Three rigs at the demo site, a fortnight that begins at new and one at full moon, clouds from a
fixed seed. Every clear night is planned without names, from what the nights before it brought;
sometimes clouds end the night early. Printed are the plans, one line a target, and at the end what
was begun, finished and left idle. Rigs and weather are invented.
"""

from __future__ import annotations

import argparse
import datetime
import time

import numpy as np

from nightplan.model.config import Config, parse_config
from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import starter_text
from nightplan.planning.ahead.futures import clear_patterns
from nightplan.planning.returning.earlier_nights import EarlierNights, GatheredHours
from nightplan.planning.schedule.schedule import block_hours, ledger_min
from nightplan.planning.tonight.limits import planned_night
from nightplan.planning.tonights_plan.plan import NightPlan, make_plan

RIGS = {
    "demo": {},
    "wide": {"aperture_mm = 112": "aperture_mm = 71", "focal_length_mm = 784":
             "focal_length_mm = 350"},
    "long": {"aperture_mm = 112": "aperture_mm = 150", "focal_length_mm = 784":
             "focal_length_mm = 1100"},
}  # fmt: skip
MOONS = {"new": datetime.date(2027, 10, 29), "full": datetime.date(2027, 11, 13)}
SKY_SEED = 815
CUT_SHORT = 0.25
"""Share of the clear nights that clouds end at a random moment."""


def rig(name: str) -> Config:
    """The demo rig with another tube."""
    text = starter_text()
    for old, new in RIGS[name].items():
        assert old in text
        text = text.replace(old, new)
    return parse_config(text)


def collected(plan: NightPlan, until: float) -> list[GatheredHours]:
    """Hours of the blocks that end within a share of the window."""
    if plan.posed is None or plan.solution is None:
        return []
    problem = plan.posed.problem
    found = []
    for block in plan.solution.schedule.blocks:
        if block.end_s <= until * problem.window_s:
            task, pointing = problem.tasks[block.task], problem.pointings[block.pointing]
            found += [
                GatheredHours(pointing.target, pointing.panel, feed.goal, task.train, float(hours))
                for feed, hours in zip(task.feeds, block_hours(problem, block), strict=True)
            ]
    return found


def told(plan: NightPlan) -> list[str]:
    """The night in a few lines."""
    if plan.solution is None or plan.posed is None:
        return [f"  nothing: {plan.empty_reason}"]
    by_target: dict[str, dict[str, float]] = {}
    for row in plan.solution.evaluation.progress:
        if row.tonight_clock_h > 0.0:
            own = by_target.setdefault(row.target, {})
            own[row.filter] = own.get(row.filter, 0.0) + row.tonight_clock_h
    lines = [
        f"  {name}{' (filler)' if name in plan.decision.fillers else ''}: "
        + ", ".join(f"{filter_name} {hours:.1f} h" for filter_name, hours in own.items())
        for name, own in by_target.items()
    ]
    ledger = ledger_min(plan.posed.problem, plan.solution.schedule)
    lines.append(f"  idle {ledger['idle']:.0f} min, gap {plan.solution.gap_percent:.2f} %")
    return lines


def fortnight(config: Config, first: datetime.date, nights: int, chance: float) -> None:
    """Plan, collect, go on; then what came of it."""
    catalog = catalog_for(config)
    clear = clear_patterns(nights, chance, 16, SKY_SEED)[:, 3]
    rng = np.random.default_rng(SKY_SEED)
    earlier = EarlierNights()
    last: dict[tuple[str, int, str], tuple[float, float]] = {}
    idle_h = 0.0
    for step in range(nights):
        night = planned_night(config, first + datetime.timedelta(days=step))
        until = float(rng.uniform(0.3, 0.9)) if rng.random() < CUT_SHORT else 1.0
        lit = f"{100.0 * night.moon_illuminated_fraction:.0f} % lit"
        if not clear[step]:
            print(f"{night.evening} {lit}: clouds")
            continue
        began = time.process_time()
        plan = make_plan(config, night, catalog, earlier=earlier)
        spent = time.process_time() - began
        ended = "" if until == 1.0 else f", clouds from {100.0 * until:.0f} % of the window"
        print(f"{night.evening} {lit}, {plan.train.train}, {spent:.1f} s{ended}")
        print("\n".join(told(plan)))
        earlier = EarlierNights((*earlier.gathered, *collected(plan, until)))
        if plan.solution is not None and plan.posed is not None:
            idle_h += ledger_min(plan.posed.problem, plan.solution.schedule)["idle"] / 60.0
            for row in plan.solution.evaluation.progress:
                key = (row.target, row.panel, row.filter)
                last[key] = (row.goal_h, row.gathered_h)
    print(f"idle {idle_h:.1f} h")
    for target in dict.fromkeys(row.target for row in earlier.gathered):
        shares = {}
        for (name, panel, filter_name), (goal_h, _) in last.items():
            if name == target:
                had = sum(
                    row.hours
                    for row in earlier.gathered
                    if (row.target, row.panel, row.filter) == (name, panel, filter_name)
                )
                shares[f"{filter_name}{panel if panel > 1 else ''}"] = had / goal_h
        words = ", ".join(f"{key} {100.0 * share:.0f} %" for key, share in shares.items())
        print(f"  {target}: {words}")


def main() -> None:
    """All rigs and moons, or those asked for."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--rig", choices=[*RIGS], nargs="*", default=[*RIGS])
    asked.add_argument("--moon", choices=[*MOONS], nargs="*", default=[*MOONS])
    asked.add_argument("--nights", type=int, default=14)
    asked.add_argument("--chance", type=float, default=0.6)
    options = asked.parse_args()
    for name in options.rig:
        for moon in options.moon:
            print(f"\n== {name} rig, {moon} moon first")
            fortnight(rig(name), MOONS[moon], options.nights, options.chance)


if __name__ == "__main__":
    main()
