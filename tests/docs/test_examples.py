"""Every example of the documentation runs, as a reader would paste it.

Blocks marked ``sh example`` or ``python example`` run in the order of their page, each in a
process of its own, all of a page in one empty folder with an empty home. A block marked
``text output`` right behind one holds exactly what it printed.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
FENCE = re.compile(r"^```(sh example|python example|text output)\n(.*?)^```$", re.M | re.S)


@dataclass(frozen=True)
class Example:
    """One block: its kind, its text, and what it must print (None: anything)."""

    kind: str
    text: str
    output: str | None


def examples_of(page: Path) -> list[Example]:
    """The examples of a page, in order."""
    found: list[Example] = []
    for match in FENCE.finditer(page.read_text(encoding="utf-8")):
        kind, text = match[1], match[2]
        if kind == "text output":
            assert found, f"{page.name}: an output without its example"
            assert found[-1].output is None
            found[-1] = Example(found[-1].kind, found[-1].text, text)
        else:
            found.append(Example(kind, text, None))
    return found


WITH_EXAMPLES = [page for page in PAGES if examples_of(page)]


@pytest.mark.parametrize("page", WITH_EXAMPLES, ids=lambda page: page.stem)
def test_examples_run(page: Path, tmp_path: Path) -> None:
    tools, home, folder = tmp_path / "bin", tmp_path / "home", tmp_path / "folder"
    for each in (tools, home, folder):
        each.mkdir()
    # The installed script, whether or not this environment has it on its path.
    script = tools / "nightplan"
    script.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m nightplan "$@"\n', encoding="utf-8")
    script.chmod(0o755)
    env = {
        "PATH": f"{tools}:/usr/bin:/bin",
        "HOME": str(home),
        "PYTHONPATH": str(ROOT),
        "MPLBACKEND": "Agg",
        "LANG": "C.UTF-8",
    }
    if "MPLCONFIGDIR" in os.environ:
        env["MPLCONFIGDIR"] = os.environ["MPLCONFIGDIR"]
    for example in examples_of(page):
        if example.kind == "sh example":
            words = ["/bin/sh", "-e", "-c", example.text]
        else:
            words = [sys.executable, "-c", example.text]
        done = subprocess.run(
            words, cwd=folder, env=env, capture_output=True, text=True, check=False, timeout=120
        )
        assert done.returncode == 0, f"{page.name}:\n{example.text}\n{done.stderr}"
        assert not done.stderr, f"{page.name}:\n{example.text}\n{done.stderr}"
        if example.output is not None:
            assert done.stdout == example.output, f"{page.name}:\n{example.text}"


def test_there_are_examples() -> None:
    kinds = [example.kind for page in WITH_EXAMPLES for example in examples_of(page)]
    assert kinds.count("sh example") >= 10
    assert kinds.count("python example") >= 4


def test_no_block_with_the_command_goes_unrun() -> None:
    # Blocks without the mark may only show what needs the reader's own files.
    allowed = {
        "docs/how-to/collect-and-continue.md": 2,
        "docs/how-to/field-sheet.md": 1,
        "docs/how-to/first-night.md": 1,
    }
    for page in PAGES:
        plain = re.findall(r"^```sh\n(.*?)^```$", page.read_text(encoding="utf-8"), re.M | re.S)
        unrun = [text for text in plain if "pip install" not in text]
        key = str(page.relative_to(ROOT))
        assert len(unrun) <= allowed.get(key, 0), f"{key}: {unrun}"
