"""Commands that the program prints, so that they run as printed."""

from __future__ import annotations

import os
import re
import shlex
from collections.abc import Mapping, Sequence
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_@%+=:,./-]+")
_SAFE_IN_DOUBLE_QUOTES = re.compile(r"[^\"\\$`!%\x00-\x1f]+")


def quoted(word: str) -> str:
    """A word as a shell takes it whole: bare, or in double quotes, which all shells know."""
    if _BARE.fullmatch(word):
        return word
    return f'"{word}"' if _SAFE_IN_DOUBLE_QUOTES.fullmatch(word) else shlex.quote(word)


def command(name: str, config: str | os.PathLike[str], *words: str) -> str:
    """``nightplan NAME --config FILE WORDS``, each word quoted where it must be."""
    return " ".join(["nightplan", name, "--config", quoted(os.fspath(config)), *map(quoted, words)])


def replan_command(
    plan: Mapping[str, Any],
    config: str | os.PathLike[str],
    keep: str | os.PathLike[str] | None,
    done: Sequence[tuple[str, str, int]] = (),
    start: str = "now",
) -> str:
    """The re-plan of a plan document from `start` on, keeping what was shot.

    Parameters
    ----------
    keep : path or None
        Where the plan in force lies; it is rewritten. Without one its targets are named.
    done : sequence of (target, filter, count)
    """
    words = ["--date", str(plan["date"]), "--from", start]
    if keep is None:
        words += [str(row["target"]) for row in plan["targets"]]
    else:
        words += ["--keep", os.fspath(keep), "--save", os.fspath(keep)]
    for target, filter_name, count in done:
        words += ["--done", f"{target}:{filter_name}={count}"]
    return command("plan", config, *words)
