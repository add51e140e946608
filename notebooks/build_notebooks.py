"""Builds the notebooks, without outputs, from the Markdown in sources/.

    python notebooks/build_notebooks.py          write what has changed
    python notebooks/build_notebooks.py --check  only say whether all are current

A fenced python block becomes a code cell, the text between them Markdown cells. The same sources
give the same bytes.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
FENCE = re.compile(r"^```python\n(.*?)^```$", re.M | re.S)


def notebook_text(source: str) -> str:
    """The notebook (nbformat 4.5) of a Markdown source, as its file's text."""
    import nbformat
    from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

    cells = []
    for number, part in enumerate(FENCE.split(source)):
        text = part.strip("\n")
        if text.strip():
            cells.append(new_code_cell(text) if number % 2 else new_markdown_cell(text))
    for number, cell in enumerate(cells, start=1):
        cell["id"] = f"cell-{number:02d}"
    book = new_notebook(
        cells=cells,
        metadata={
            "kernelspec": {
                "display_name": "Python 3",
                "language": "python",
                "name": "python3",
            },
            "language_info": {"name": "python"},
        },
    )
    nbformat.validate(book)
    return nbformat.writes(book) + "\n"


def built() -> dict[Path, str]:
    """Every notebook with its text."""
    return {
        FOLDER / f"{source.stem}.ipynb": notebook_text(source.read_text(encoding="utf-8"))
        for source in sorted((FOLDER / "sources").glob("*.md"))
    }


def main() -> int:
    stale = [
        path
        for path, text in built().items()
        if not path.exists() or path.read_text(encoding="utf-8") != text
    ]
    for path in stale:
        if "--check" not in sys.argv:
            path.write_text(built()[path], encoding="utf-8")
        print("stale:" if "--check" in sys.argv else "written:", path.name)
    return 1 if stale and "--check" in sys.argv else 0


if __name__ == "__main__":
    sys.exit(main())
