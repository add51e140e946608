"""Commands that the program prints, so that they run as printed."""

from __future__ import annotations

import os
import re
import shlex
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from nightplan.model.rigs_and_sites import MAIN

if TYPE_CHECKING:
    from nightplan.model.config import Config

_BARE = re.compile(r"[A-Za-z0-9_@%+=:,./-]+")
_IN_BACKTICKS = re.compile(r"`nightplan [a-z]+(?=[ `])(?![^`]* --config )")
_SAFE_IN_DOUBLE_QUOTES = re.compile(r"[^\"\\$`!%\x00-\x1f]+")


def quoted(word: str) -> str:
    """A word as a shell takes it whole: bare, or in double quotes, which all shells know."""
    if _BARE.fullmatch(word):
        return word
    return f'"{word}"' if _SAFE_IN_DOUBLE_QUOTES.fullmatch(word) else shlex.quote(word)


def command(name: str, config: Config, *words: str) -> str:
    """``nightplan NAME --config FILE WORDS``, each word quoted where it must be; with the rig and
    the site where the file has several."""
    asked = ["--config", os.fspath(config.path)]
    if config.other_rig:
        asked += ["--rig", config.named_rig or MAIN]
    if config.other_site:
        asked += ["--site", config.site.name]
    return " ".join(["nightplan", name, *map(quoted, [*asked, *words])])


def with_config(text: str, path: str | os.PathLike[str] | None) -> str:
    """The text, with the configuration that was given in each command that stands in backticks."""
    if path is None:
        return text
    words = f" --config {quoted(os.fspath(path))}"
    return _IN_BACKTICKS.sub(lambda found: found.group() + words, text)


def replan_command(
    plan: Mapping[str, Any],
    config: Config,
    keep: str | os.PathLike[str] | None,
    done: Sequence[tuple[str, str, int]] = (),
    start: str = "now",
) -> str:
    """The re-plan of a plan document from `start` on, keeping what was shot.

    `keep` is where the plan in force lies, to be rewritten; without one its targets are named.
    `done` counts subs as (target, filter, count).
    """
    words = ["--date", str(plan["date"]), "--from", start]
    if keep is None:
        words += [str(row["target"]) for row in plan["targets"]]
    else:
        words += ["--keep", os.fspath(keep), "--save", os.fspath(keep)]
    for target, filter_name, count in done:
        words += ["--done", f"{target}:{filter_name}={count}"]
    return command("plan", config, *words)
