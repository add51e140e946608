"""The notebooks are those of their sources and carry what they gave; `.ci/run` runs them anew."""

from __future__ import annotations

import copy
import importlib.util
from pathlib import Path
from types import ModuleType

import nbformat
import pytest

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"
BOOKS = sorted(NOTEBOOKS.glob("*.ipynb"))


@pytest.fixture(scope="module")
def builder() -> ModuleType:
    spec = importlib.util.spec_from_file_location("books", NOTEBOOKS / "build_notebooks.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_source_has_its_notebook(builder: ModuleType) -> None:
    assert sorted(builder.sources()) == BOOKS
    assert len(BOOKS) == 4


@pytest.mark.parametrize("book", BOOKS, ids=lambda book: book.stem)
def test_cells_are_the_sources_and_outputs_are_kept(builder: ModuleType, book: Path) -> None:
    stored = nbformat.read(book, as_version=4)
    nbformat.validate(stored)
    bare = builder.bare_book(builder.sources()[book])
    assert [cell.source for cell in stored.cells] == [cell.source for cell in bare.cells], (
        "run `python notebooks/build_notebooks.py`"
    )
    code = [cell for cell in stored.cells if cell.cell_type == "code"]
    assert len(code) >= 4
    outputs = [output for cell in code for output in cell.outputs]
    assert len(outputs) >= 3
    assert all(output.output_type != "error" for output in outputs)
    assert any("image/png" in output.get("data", {}) for output in outputs)
    assert book.stat().st_size < 600_000


def test_the_check_sees_other_words_but_not_other_digits(builder: ModuleType) -> None:
    stored = nbformat.read(BOOKS[0], as_version=4)
    assert builder.differences(stored, stored) == []
    changed = copy.deepcopy(stored)
    cell = next(cell for cell in changed.cells if len(builder.words_of(cell)) > 10)
    text = next(output for output in cell.outputs if output.get("text"))
    text["text"] = text["text"].replace("1", "2")
    assert builder.differences(stored, changed) == []
    text["text"] = "something else altogether"
    assert builder.differences(stored, changed)


def test_ci_runs_them_all() -> None:
    script = (NOTEBOOKS.parent / ".ci" / "run").read_text(encoding="utf-8")
    assert "notebooks/build_notebooks.py --check" in script
