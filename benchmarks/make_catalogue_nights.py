"""Write nights of real targets as instances: catalogue, framing, photons and curves by the program.

Mosaics, targets near the pole, early meridian stops, star colours beside three lines (36 rows),
narrow limits, short windows. Only the rig and the site are invented. The files are fixed, so that
results can be compared though the model of the sky goes on; this makes them anew.
"""

from __future__ import annotations

import argparse
import datetime
from dataclasses import replace
from typing import Any

import numpy as np
from instance_files import FOLDER, save

from nightplan.model.config import Config
from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import demo_config
from nightplan.model.target import Target
from nightplan.planning.framing.framing import Framing
from nightplan.planning.returning.earlier_nights import EarlierNights
from nightplan.planning.schedule.night_problem import night_problem
from nightplan.planning.schedule.problem import Problem
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonight.setup_timeline import setup_timeline
from nightplan.planning.tonights_plan.plan import make_plan
from nightplan.planning.value.curve import ValueCurve

TRAIN, GRID_STEP = "flattener", 5
"""One in so many samples is kept; the program's own lie a minute apart."""
STOP: dict[str, Any] = {"mount": {"stop_before_meridian_min": 60.0}}
PAST: dict[str, Any] = {"mount": {"track_past_meridian_min": 30.0}}
NO_COLOURS: dict[str, Any] = {"preferences": {"star_colour_min": 0.0}}
NARROW: dict[str, Any] = {"preferences": {"minimum_altitude_deg": 50.0}}
NORTH: dict[str, Any] = {"site": {"latitude_deg": 60.0}}
OFFSETS: dict[str, Any] = {"focuser": {"use_filter_offsets": True}}

NIGHTS: dict[str, tuple[str, tuple[str, ...], dict[str, Any]]] = {
    "cat_mosaic_m31": ("2027-10-06", ("M 31",), {}),
    "cat_mosaic_ngc7000": ("2027-09-03", ("NGC 7000",), {}),
    "cat_mosaic_m31_m33": ("2027-10-29", ("M 31", "M 33"), {}),
    "cat_mosaic_ic1396_ngc281": ("2027-10-02", ("IC 1396", "NGC 281"), NO_COLOURS),
    "cat_polar_ngc188": ("2027-12-05", ("NGC 188",), {}),
    "cat_polar_m81_m82": ("2027-03-08", ("M 81", "NGC 2403"), {}),
    "cat_polar_ngc7023": ("2027-08-05", ("NGC 7023", "M 52"), NORTH),
    "cat_stop_m33": ("2027-10-02", ("M 33",), STOP),
    "cat_stop_m42_ic434": ("2027-12-30", ("M 42", "IC 434"), STOP),
    "cat_past_m51_m101": ("2027-04-08", ("M 51", "M 101"), PAST),
    "cat_colours_two": ("2027-10-16", ("IC 1848", "NGC 281"), {}),
    "cat_colours_four": ("2027-11-02", ("NGC 281", "NGC 7635", "IC 405", "NGC 1491"), {}),
    "cat_colours_six": (
        "2027-11-12",
        ("NGC 281", "NGC 7635", "IC 405", "NGC 1491", "IC 410", "NGC 2174"),
        {},
    ),
    "cat_narrow_m33_m45": ("2027-10-29", ("M 33", "M 45"), NARROW),
    "cat_narrow_ngc891": ("2027-10-20", ("NGC 891", "M 33"), NARROW),
    "cat_short_m57": ("2027-08-12", ("M 57",), NORTH),
    "cat_short_m13_m27": ("2027-04-25", ("M 13", "M 27"), NORTH),
    "cat_spring_three": ("2027-04-03", ("M 51", "M 101", "M 106"), {}),
    "cat_autumn_five": (
        "2027-10-29",
        ("M 33", "M 45", "IC 1848", "NGC 281", "NGC 891"),
        NO_COLOURS,
    ),
    "cat_offsets_three": ("2027-10-25", ("M 33", "NGC 891", "NGC 7331"), OFFSETS),
}


def changed(config: Config, changes: dict[str, dict[str, Any]]) -> Config:
    """The configuration with some keys of its sections set."""
    sections = {
        name: getattr(config, name).model_copy(update=keys) for name, keys in changes.items()
    }
    return config.model_copy(update=sections)


def problem_of(name: str) -> Problem:
    """One of the nights, on a coarser grid: all of its targets, each with the curves that it would
    have alone, for the program itself would put off most of them to other nights."""
    date, names, changes = NIGHTS[name]
    config = changed(demo_config(), changes)
    config = config.model_copy(update={"train": {TRAIN: config.train[TRAIN]}})
    night = compute_night(config.site, datetime.date.fromisoformat(date))
    catalog = catalog_for(config)
    targets: list[Target] = []
    framings: list[Framing] = []
    curves: dict[tuple[str, int, str], ValueCurve] = {}
    for one in names:
        plan = make_plan(config, night, catalog, (one,), solve_s=0.01)
        targets += plan.targets
        framings += plan.framings
        curves |= plan.decision.curves
    posed = night_problem(
        config, night, targets, framings, setup_timeline(config, night), EarlierNights(), curves
    )
    problem = posed.problem
    keep = np.arange(0, problem.grid_s.size, GRID_STEP)
    tasks = tuple(
        replace(task, worth=task.worth[keep], usable=task.usable[keep]) for task in problem.tasks
    )
    # Evenly spaced: what is left of the last whole step is dropped.
    step_s = round(float(problem.grid_s[keep[1]] - problem.grid_s[keep[0]]), 6)
    grid_s = np.arange(keep.size, dtype=float) * step_s
    return replace(problem, tasks=tasks, grid_s=grid_s, altitude_deg=None, moon_altitude_deg=None)


def main() -> None:
    """Write every night beside the invented ones."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="nights whose name begins so, by commas")
    wishes = parser.parse_args()
    for name in NIGHTS:
        if name.startswith(tuple(wishes.only.split(","))):
            problem = problem_of(name)
            save(problem, FOLDER / f"{name}.json.gz")
            rows, fields = len(problem.row_keys), len(problem.pointings)
            print(f"{name}: {fields} fields, {rows} rows, {problem.window_s / 3600:.1f} h")


if __name__ == "__main__":
    main()
