"""The same night gives the same plan, whatever else the machine does and however it is set."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOLVE = """
import sys
from instance_files import FOLDER, load
from nightplan.planning.schedule.solver import solve
from nightplan.planning.schedule.solving.resume import resume
problem = load(FOLDER / f"{sys.argv[1]}.json.gz")
solution = solve(problem, float(sys.argv[2]))
again = solve(resume(problem, solution.schedule, 0.4 * problem.window_s), 0.5)
for one in (solution, again):
    print(repr(one.objective), repr(one.bound), one.method)
    for block in one.schedule.blocks:
        print(block.task, block.count, repr(block.start_s), block.after_meridian)
"""
BUSY = "while True: sum(range(10_000))"


def solved(night: str, seconds: float, **environment: str) -> str:
    paths = os.pathsep.join([str(ROOT), str(ROOT / "benchmarks")])
    run = subprocess.run(
        [sys.executable, "-c", SOLVE, night, str(seconds)],
        env={**os.environ, "PYTHONPATH": paths, **environment},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return run.stdout


def alike(night: str, seconds: float) -> None:
    """Alone with one thread, and beside other work with several and another order of hashes."""
    alone = solved(night, seconds, OMP_NUM_THREADS="1", NUMBA_NUM_THREADS="1", PYTHONHASHSEED="1")
    others = [subprocess.Popen([sys.executable, "-c", BUSY]) for _ in range(3)]
    try:
        beside = solved(
            night, seconds, OMP_NUM_THREADS="4", NUMBA_NUM_THREADS="2", PYTHONHASHSEED="2"
        )
    finally:
        for other in others:
            other.kill()
            other.wait()
    assert alone.count("\n") > 4
    assert alone == beside


def test_a_loaded_machine_plans_the_same() -> None:
    alike("01x7_10h_moonrise", 0.5)


@pytest.mark.slow
def test_a_loaded_machine_plans_the_same_with_all_effort() -> None:
    alike("03x7_08h_dark", 5.0)
