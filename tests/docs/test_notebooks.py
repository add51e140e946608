"""The notebooks are those of their sources and carry no outputs; `.ci/run` executes them."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import nbformat
import pytest

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"
BOOKS = sorted(NOTEBOOKS.glob("*.ipynb"))


def test_notebooks_are_current() -> None:
    spec = importlib.util.spec_from_file_location("books", NOTEBOOKS / "build_notebooks.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    built = module.built()
    assert sorted(built) == BOOKS
    for path, text in built.items():
        assert path.read_text(encoding="utf-8") == text, "run `python notebooks/build_notebooks.py`"


@pytest.mark.parametrize("book", BOOKS, ids=lambda book: book.stem)
def test_notebook_is_valid_and_bare(book: Path) -> None:
    loaded = nbformat.read(book, as_version=4)
    nbformat.validate(loaded)
    code = [cell for cell in loaded.cells if cell.cell_type == "code"]
    assert len(code) >= 4
    assert all(not cell.outputs and cell.execution_count is None for cell in code)


def test_ci_runs_them_all() -> None:
    script = (NOTEBOOKS.parent / ".ci" / "run").read_text(encoding="utf-8")
    assert "for book in notebooks/*.ipynb" in script
    assert "jupyter-execute" in script
