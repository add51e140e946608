"""Fixed schedule problems as JSON files, so that results can be compared from change to change."""

from __future__ import annotations

import gzip
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from nightplan.planning.schedule.problem import ChangeCosts, Overheads, Pointing, Problem, Task
from nightplan.planning.value.curve import ValueCurve

FOLDER = Path(__file__).parent / "instances"


def save(problem: Problem, path: Path) -> None:
    """Write a problem; worth is rounded to 0.0001 first, so the file is the instance."""
    document = {
        "epoch_utc_mjd": problem.epoch_utc_mjd,
        "window_s": problem.window_s,
        "setup_s": problem.setup_s,
        "latest_end_s": problem.latest_end_s,
        "grid_step_s": float(problem.grid_s[1] - problem.grid_s[0]),
        "grid_length": int(problem.grid_s.size),
        "focused_s": problem.focused_s,
        "curves": [[list(curve.hours_h), list(curve.value)] for curve in problem.curves],
        "shortest_block_s": problem.shortest_block_s,
        "longest_block_s": problem.longest_block_s,
        "overheads": asdict(problem.overheads),
        "change_costs": asdict(problem.change_costs),
        "pointings": [asdict(pointing) for pointing in problem.pointings],
        "tasks": [
            {
                "pointing": task.pointing,
                "filter": task.filter,
                "train": task.train,
                "gain": task.gain,
                "sub_s": task.sub_s,
                "goal_h": round(task.goal_h, 3),
                "gathered_h": round(task.gathered_h, 3),
                "focus_offset_known": task.focus_offset_known,
                "short": task.short,
                "worth_1e4": [round(1e4 * float(value)) for value in task.worth],
                "usable": "".join("1" if good else "0" for good in task.usable),
            }
            for task in problem.tasks
        ],
    }
    text = json.dumps(document, indent=None, separators=(",", ":")).encode()
    # A fixed time stamp keeps the bytes of the file the same from run to run.
    path.write_bytes(gzip.compress(text, mtime=0))


def _tasks(document: dict[str, Any]) -> tuple[Task, ...]:
    return tuple(
        Task(
            pointing=item["pointing"],
            filter=item["filter"],
            train=item["train"],
            gain=item["gain"],
            sub_s=item["sub_s"],
            worth=np.array(item["worth_1e4"], dtype=float) / 1e4,
            usable=np.array([flag == "1" for flag in item["usable"]]),
            goal_h=item["goal_h"],
            gathered_h=item["gathered_h"],
            focus_offset_known=item.get("focus_offset_known", False),
            short=item.get("short", False),
        )
        for item in document["tasks"]
    )


def load(path: Path) -> Problem:
    """Read a problem that `save` wrote."""
    document = json.loads(gzip.decompress(path.read_bytes()))
    grid_s = np.arange(document["grid_length"]) * document["grid_step_s"]
    pointings = tuple(Pointing(**item) for item in document["pointings"])
    tasks = _tasks(document)
    curves = tuple(ValueCurve(tuple(h), tuple(v)) for h, v in document["curves"])
    return Problem(
        epoch_utc_mjd=document["epoch_utc_mjd"],
        window_s=document["window_s"],
        setup_s=document["setup_s"],
        latest_end_s=document["latest_end_s"],
        grid_s=grid_s,
        pointings=pointings,
        tasks=tasks,
        curves=curves,
        focused_s=document.get("focused_s"),
        overheads=Overheads(**document["overheads"]),
        change_costs=ChangeCosts(**document["change_costs"]),
        shortest_block_s=document["shortest_block_s"],
        longest_block_s=document["longest_block_s"],
    )
