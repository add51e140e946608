"""Builds the notebooks from the Markdown in sources/, runs them, and keeps their outputs.

    python notebooks/build_notebooks.py [NAME ...]   build and run
    python notebooks/build_notebooks.py --check      run all, and compare with what is stored

A fenced python block becomes a code cell, the text between them Markdown cells. Pictures are kept
small. The check compares sources to the letter and outputs in their words: numbers may differ a
little between machines, whose last digits differ.
"""

from __future__ import annotations

import base64
import difflib
import io
import re
import sys
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parent
FENCE = re.compile(r"^```python\n(.*?)^```$", re.M | re.S)
ALIKE = 0.75
"""Share of words that the text of a cell must have in common with the stored one."""
WIDEST_PX, COLOURS = 900, 64


def bare_book(source: str) -> Any:
    """The notebook (nbformat 4.5) of a Markdown source, without outputs."""
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
    return book


def sources() -> dict[Path, str]:
    """Every notebook's path with the text of its source."""
    return {
        FOLDER / f"{source.stem}.ipynb": source.read_text(encoding="utf-8")
        for source in sorted((FOLDER / "sources").glob("*.md"))
    }


def run_book(source: str) -> Any:
    """The notebook with what its cells give; raises where one fails."""
    from nbclient import NotebookClient

    book = bare_book(source)
    NotebookClient(book, timeout=300, kernel_name="python3").execute()
    for cell in book.cells:
        cell.get("metadata", {}).pop("execution", None)
        for output in cell.get("outputs", ()):
            output.get("metadata", {}).clear()
            for kind, data in list(output.get("data", {}).items()):
                if kind == "image/png":
                    output["data"][kind] = small_picture(data)
    return book


def small_picture(data: str) -> str:
    """A PNG in base64 with fewer pixels and colours."""
    from PIL import Image

    picture = Image.open(io.BytesIO(base64.b64decode(data))).convert("RGB")
    if picture.width > WIDEST_PX:
        height = round(picture.height * WIDEST_PX / picture.width)
        picture = picture.resize((WIDEST_PX, height), Image.Resampling.LANCZOS)
    small = picture.quantize(COLOURS, kmeans=2, dither=Image.Dither.NONE)
    out = io.BytesIO()
    small.save(out, "PNG", optimize=True)
    return base64.b64encode(out.getvalue()).decode("ascii")


def words_of(cell: Any) -> list[str]:
    """The words that a cell printed or gave, numbers as one sign."""
    texts = []
    for output in cell.get("outputs", ()):
        texts.append(output.get("text", ""))
        texts.append(output.get("data", {}).get("text/plain", ""))
    return re.sub(r"\d+(?:\.\d+)?", "#", " ".join(texts)).split()


def differences(stored: Any, fresh: Any) -> list[str]:
    """Cells whose source or words are otherwise than stored."""
    if [cell["source"] for cell in stored.cells] != [cell["source"] for cell in fresh.cells]:
        return ["its source was changed"]
    found = []
    for old, new in zip(stored.cells, fresh.cells, strict=True):
        alike = difflib.SequenceMatcher(None, words_of(old), words_of(new), autojunk=False).ratio()
        if alike < ALIKE:
            found.append(f"{old['id']}: {100 * alike:.0f} % alike")
    return found


def main() -> int:
    import nbformat

    check = "--check" in sys.argv
    wanted = [word for word in sys.argv[1:] if not word.startswith("-")]
    stale = 0
    for path, source in sources().items():
        if wanted and path.stem not in wanted:
            continue
        fresh = run_book(source)
        if not check:
            path.write_text(nbformat.writes(fresh) + "\n", encoding="utf-8")
            print(f"written: {path.name} ({path.stat().st_size // 1000} kB)")
            continue
        stored = nbformat.read(path, as_version=4) if path.exists() else bare_book("")
        found = differences(stored, fresh)
        stale += bool(found)
        print(f"{'stale' if found else 'current'}: {path.name} {'; '.join(found)}".rstrip())
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main())
