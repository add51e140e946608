"""The attacks of tests/attacks for hours instead of seconds, with seeds of their own.

    python tests/soak/soak.py --minutes 60 --seed 7

The minutes are the processor's, so that figures from a busy machine mean the same. Draws damaged
journals, hand-made changes, mutated FITS headers and configurations at the ends of their ranges
until the time is up, and prints how many cases held and which did not. A case that fails is
printed with what is needed to repeat it; the exit status is then 1. Ctrl-C or SIGTERM ends it
after the case in hand.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import random
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import tomlkit

from nightplan.cli.main import run
from nightplan.errors import NightplanError
from nightplan.journal.plate_solution import read_solution
from nightplan.journal.schema import FILE_NAME
from tests.attacks import test_damaged_journal as journals
from tests.attacks import test_extremes as extremes
from tests.attacks import test_hostile_files as headers

WORDS = [
    *extremes.COMMANDS,
    *extremes.SLOW,
    ["plan", "M 33"],
    ["campaign", "M 33", "NGC 7000", "--nights", "2", "--plot", "nights.png"],
    ["sheet", "M 33", "--output", "sheet.html"],
    ["frame", "NGC 7000", "--chart", "chart.png", "--header", "field.fits"],
]


def damaged_journal(folder: Path, chance: random.Random, whole: tuple[bytes, list[object]]) -> None:
    """One damaged file: refused, or read as it was written, and never changed."""
    data = journals.damage(whole[0], chance)
    if data:
        (folder / FILE_NAME).write_bytes(data)
        journals.assert_told_or_the_same(folder, whole[1])


def mutated_header(folder: Path, chance: random.Random, data: bytes) -> None:
    """One broken header: solved, or told."""
    path = folder / "light.fits"
    path.write_bytes(headers.mutated(data, chance))
    with contextlib.suppress(NightplanError):
        read_solution(path, (100, 80))


def extreme_configuration(folder: Path, chance: random.Random) -> None:
    """One command with a few keys at their ends: worked, or refused in one line."""
    os.chdir(folder)
    text = tomlkit.dumps(extremes.extreme(chance, chance.choice([1, 2, 4, 8, 16])))
    Path("nightplan.toml").write_text(text, encoding="utf-8")
    words = [*chance.choice(WORDS), "--json", "--date", f"2027-{chance.randint(1, 12):02d}-15"]
    out, err = io.StringIO(), io.StringIO()
    with (
        warnings.catch_warnings(),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        warnings.simplefilter("error", RuntimeWarning)
        status = run(words)
    told = err.getvalue()
    if status not in (0, 2) or "numbers leave" in told:
        raise AssertionError(f"{words}: status {status}: {told}\n{text}")


def main() -> int:
    """Run until the time is up; returns the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    asked = parser.parse_args()
    chance = random.Random(asked.seed)
    with tempfile.TemporaryDirectory() as place:
        journal, shot, rig = (Path(place) / name for name in ("journal", "shot", "rig"))
        for folder in (journal, shot, rig):
            folder.mkdir()
        journals.fill(journal)
        whole = (journal / FILE_NAME).read_bytes(), journals.content(journal)
        headers.light(shot / "light.fits", 10)
        data = (shot / "light.fits").read_bytes()
        kinds: dict[str, Callable[[], None]] = {
            "damaged journal": lambda: damaged_journal(journal, chance, whole),
            "mutated header": lambda: mutated_header(shot, chance, data),
            "extreme configuration": lambda: extreme_configuration(rig, chance),
        }
        held, failed = Counter[str](), Counter[str]()
        stopped: list[int] = []
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda number, frame: stopped.append(number))
        while time.process_time() < 60.0 * asked.minutes and not stopped:
            kind = chance.choice(list(kinds))
            try:
                kinds[kind]()
                held[kind] += 1
            except Exception:
                failed[kind] += 1
                traceback.print_exc()
        os.chdir("/")
    for kind in kinds:
        print(f"{kind}: {held[kind]} held, {failed[kind]} did not (seed {asked.seed})")
    print(f"{time.process_time() / 60.0:.1f} minutes of one processor")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
