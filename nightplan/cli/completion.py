"""What the shells complete: names of targets, trains, filters and kinds.

A shell asks with the line as far as it is typed, so everything here is quick and never fails: a
configuration that cannot be read completes nothing.
"""

from __future__ import annotations

import csv
import re
import tomllib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import click
from click.shell_completion import CompletionItem

from nightplan.errors import NightplanError

MOST = 60
_SPLIT = re.compile(r"[^\w.+-]")

Completer = Callable[[click.Context, str], list[CompletionItem]]


def complete_names(command: click.Command) -> None:
    """Let a command's options and arguments complete the names that they take."""
    for param in command.params:
        completer = COMPLETERS.get(str(param.name))
        if completer is not None:
            param.shell_complete = completer  # type: ignore[method-assign, assignment]


def _target(ctx: click.Context, begun: str) -> list[CompletionItem]:
    """Designations and common names that begin as typed, without what shells would split."""
    own = [str(name) for name in _tables(ctx).get("target", {})]
    names = dict.fromkeys(_SPLIT.sub("", name) for name in (*own, *_bundled_names()))
    return _items(names, begun)[:MOST]


def _bundled_names() -> list[str]:
    """Names of the catalogue, common names last; read here, for `load_catalog` takes longer."""
    from nightplan.model.catalog_files import catalog_folder

    names: list[str] = []
    common: list[str] = []
    for file in ("supplement.csv", "openngc.csv"):
        try:
            with open(catalog_folder() / file, encoding="utf-8", newline="") as stream:
                for row in csv.DictReader(stream):
                    names.append(row["name"])
                    common += filter(None, row["common_names"].split(";"))
        except (OSError, ValueError, NightplanError):
            continue
    return names + common


def _named(key: str, ending: str = "") -> Completer:
    """Names of the configuration's tables under `key`, such as ``filter``."""

    def complete(ctx: click.Context, begun: str) -> list[CompletionItem]:
        return _items((f"{name}{ending}" for name in _tables(ctx).get(key, {})), begun)

    return complete


def _kind(ctx: click.Context, begun: str) -> list[CompletionItem]:
    from nightplan.model.target import KINDS

    return _items(KINDS, begun)


def _style(ctx: click.Context, begun: str) -> list[CompletionItem]:
    from nightplan.report.looks.palettes import STYLES

    return _items(STYLES, begun)


COMPLETERS: dict[str, Completer] = {
    "target": _target,
    "targets": _target,
    "words": _target,
    "names": _target,
    "train": _named("train"),
    "filter_name": _named("filter"),
    "done": _named("filter", "="),
    "goals": _named("filter", "="),
    "kinds": _kind,
    "style": _style,
}
"""By the name of the parameter, which is the same in all commands."""


def _items(names: Iterable[str], begun: str) -> list[CompletionItem]:
    typed = begun.replace(" ", "").lower()
    return [
        CompletionItem(name) for name in names if name.replace(" ", "").lower().startswith(typed)
    ]


def _tables(ctx: click.Context) -> dict[str, dict[str, Any]]:
    path = ctx.params.get("config_path") or Path("nightplan.toml")
    try:
        tables = tomllib.loads(Path(path).read_text(encoding="utf-8-sig"))
    except (OSError, ValueError):
        return {}
    return {key: value for key, value in tables.items() if isinstance(value, dict)}
