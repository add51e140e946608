"""The solver's machine code: kept where a folder allows it, compiled anew where none does."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from nightplan.cli.screen import _Line
from nightplan.planning.schedule.solving import compiled

ROOT = Path(__file__).resolve().parents[2]
SOLVE = """
from instance_files import FOLDER, load
from nightplan.planning.schedule.solver import solve
from nightplan.planning.schedule.solving import compiled
from nightplan.planning.schedule.solving.search import Effort
effort = Effort(tries=20_000, seeds=2, steps_s=(60.0,), paths=(10,))
solution = solve(load(FOLDER / "01x7_02h_short.json.gz"), effort=effort)
print(compiled.FOLDER is None, repr(solution.objective), repr(solution.bound))
"""


def solved_by_a_process(**environment: str) -> list[str]:
    paths = os.pathsep.join([str(ROOT), str(ROOT / "benchmarks")])
    own = {**os.environ, "PYTHONPATH": paths, **environment}
    run = subprocess.run(
        [sys.executable, "-c", SOLVE], env=own, capture_output=True, text=True, check=True, cwd=ROOT
    )
    return run.stdout.split()


def test_the_first_place_that_can_be_written_is_taken(tmp_path: Path) -> None:
    file = tmp_path / "a file"
    file.touch()
    assert compiled.kept_in([file, file / "below"]) is None
    found = compiled.kept_in([file / "below", tmp_path / "cache"])
    assert found is not None
    assert found.parent == tmp_path / "cache"
    # The same sources, the same folder.
    assert compiled.kept_in([tmp_path / "cache"]) == found


def test_other_sources_have_a_folder_of_their_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """numba alone would go on with code of a function whose callees in other files changed."""
    monkeypatch.setattr(compiled, "HERE", tmp_path)
    (tmp_path / "one.py").write_text("a = 1\n")
    first = compiled.kept_in([tmp_path])
    (tmp_path / "one.py").write_text("a = 2\n")
    assert compiled.kept_in([tmp_path]) != first


@pytest.mark.parametrize("folder", [None, Path("somewhere")])
def test_the_line_says_so_while_it_compiles(
    folder: Path | None, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    line = _Line("solving the night")
    line.draw()
    assert "compiling" not in capsys.readouterr().err
    monkeypatch.setattr(compiled, "FOLDER", folder)
    monkeypatch.setattr(compiled, "compiling", lambda: True)
    line.draw()
    shown = capsys.readouterr().err
    assert "compiling the solver" in shown
    assert ("once" in shown) == (folder is not None)


def test_numba_tells_when_it_compiles() -> None:
    import numba

    seen = []

    @numba.njit
    def one(x: float) -> float:
        return x + 1.0

    class Watch(compiled.event.Listener):
        def on_start(self, event: object) -> None:
            seen.append(compiled.compiling())

        def on_end(self, event: object) -> None:
            pass

    with compiled.event.install_listener("numba:compile", Watch()):
        one(1.0)
    assert seen
    assert all(seen)
    assert not compiled.compiling()


@pytest.mark.slow
def test_without_a_folder_it_works_and_plans_the_same(tmp_path: Path) -> None:
    """An installation that nobody may write to: compiled anew by each process, some 11 s."""
    file = tmp_path / "a file"
    file.touch()
    without = solved_by_a_process(NUMBA_CACHE_DIR=str(file / "below"))
    kept = solved_by_a_process(NUMBA_CACHE_DIR=str(tmp_path / "cache"))
    assert without[0] == "True"
    assert kept[0] == "False"
    assert without[1:] == kept[1:]
    assert list((tmp_path / "cache").rglob("*.nbi"))
