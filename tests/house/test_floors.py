"""The house holds: dependencies run one way, heavy libraries load late, nothing reaches out."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "nightplan"

# A floor imports from itself and from floors below it, never from one above.
FLOORS = [
    {"arrays", "dates", "errors", "files", "number_forms", "numeric_guard", "parsing", "shown"},
    {"sky", "light", "plane"},
    {"model"},
    {"journal"},
    {"planning"},
    {"report"},
    {"library"},
    {"cli"},
]
LEVEL = {room: level for level, floor in enumerate(FLOORS) for room in floor}


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imported_rooms(tree: ast.AST) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return {name.split(".")[1] for name in names if name.startswith("nightplan.")}


# The rooms of planning, from the ground up: each imports from those before it only.
PLANNING = [
    "value",
    "tonight",
    "optics",
    "photons",
    "returning",
    "framing",
    "choosing",
    "calibration",
    "season",
    "schedule",
    "ahead",
    "tonights_plan",
    "campaign",
]

# And those of report; page and sheet are HTML, of which the sheet holds plots and charts.
REPORT = ["documents", "looks", "wording", "texts", "plots", "charts", "exports", "page", "sheet"]

FILES = sorted(p for p in PACKAGE.rglob("*.py") if p.parent != PACKAGE or p.stem in LEVEL)


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_file_knows_no_floor_above_it(path: Path) -> None:
    own = LEVEL[room_of(path)]
    rooms = imported_rooms(ast.parse(path.read_text(encoding="utf-8")))
    above = {room for room in rooms if LEVEL.get(room, -1) > own}
    assert not above, f"{path} imports {above}"


@pytest.mark.parametrize(
    ("floor", "path"),
    [
        pytest.param(floor, path, id=f"{floor}-{path.parent.name}-{path.name}")
        for floor in ("planning", "report")
        for path in sorted((PACKAGE / floor).glob("*/**/*.py"))
    ],
)
def test_a_room_knows_none_after_it(floor: str, path: Path) -> None:
    order = {"planning": PLANNING, "report": REPORT}[floor]
    own = path.relative_to(PACKAGE / floor).parts[0]
    after = set(order[order.index(own) + 1 :])
    modules = {
        node.module or "" for node in imports_at_run_time(ast.parse(path.read_text("utf-8")))
    }
    rooms = {name.split(".")[2] for name in modules if name.startswith(f"nightplan.{floor}.")}
    assert not rooms & after, f"{path} imports {rooms & after}"


def imports_at_run_time(node: ast.AST) -> Iterator[ast.ImportFrom]:
    """Every `from ... import`, those inside functions too, but none for type checkers alone."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
            continue
        if isinstance(child, ast.ImportFrom):
            yield child
        yield from imports_at_run_time(child)


def test_no_import_cycle_between_files() -> None:
    graph: dict[str, set[str]] = {}
    for path in PACKAGE.rglob("*.py"):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        module = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        wanted: set[str] = set()
        for node in imports_at_run_time(ast.parse(path.read_text(encoding="utf-8"))):
            if (node.module or "").startswith("nightplan"):
                wanted.add(node.module or "")
                wanted |= {f"{node.module}.{alias.name}" for alias in node.names}
        graph[module] = wanted
    graph = {module: wanted & graph.keys() for module, wanted in graph.items()}
    done: set[str] = set()

    def visit(module: str, trail: tuple[str, ...]) -> None:
        assert module not in trail, " -> ".join((*trail, module))
        if module not in done:
            for other in graph[module] - {module}:
                visit(other, (*trail, module))
            done.add(module)

    for module in graph:
        visit(module, ())


def test_help_loads_no_heavy_library() -> None:
    code = (
        "import sys; from click.testing import CliRunner; from nightplan.cli.main import group;"
        "result = CliRunner().invoke(group, ['--help']); assert result.exit_code == 0;"
        "heavy = {'numpy','astropy','matplotlib','scipy','pydantic','astroplan','highspy'};"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("command", ["night", "pick", "frame", "plan", "exposure", "season"])
def test_help_of_a_command_loads_no_heavy_library(command: str) -> None:
    code = (
        "import sys; from click.testing import CliRunner; from nightplan.cli.main import group;"
        f"result = CliRunner().invoke(group, ['{command}', '--help']);"
        "assert result.exit_code == 0, result.output;"
        "heavy = {'numpy','astropy','matplotlib','scipy','pydantic','astroplan','highspy'};"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
