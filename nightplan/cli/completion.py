"""What the shells complete: names of targets, trains, filters and kinds.

A shell asks with the line as far as it is typed, so everything here is quick and never fails: a
configuration that cannot be read completes nothing.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import click
from click.shell_completion import CompletionItem

from nightplan.errors import NightplanError

MOST = 60

Completer = Callable[[click.Context, str], list[CompletionItem]]


def complete_names(command: click.Command) -> None:
    """Let a command's options and arguments complete the names that they take."""
    for param in command.params:
        completer = COMPLETERS.get(str(param.name))
        if completer is not None:
            param.shell_complete = completer  # type: ignore[method-assign, assignment]


def _target(ctx: click.Context, begun: str) -> list[CompletionItem]:
    """Designations that begin as typed, without the blanks that shells would split."""
    from nightplan.model.catalog_reading import load_catalog

    own = [str(name) for name in _tables(ctx).get("target", {})]
    try:
        names = own + load_catalog().name.tolist()
    except NightplanError:
        names = own
    return _items((str(name).replace(" ", "") for name in names), begun)[:MOST]


def _named(key: str, ending: str = "") -> Completer:
    """Names of the configuration's tables under `key`, such as ``filter``."""

    def complete(ctx: click.Context, begun: str) -> list[CompletionItem]:
        return _items((f"{name}{ending}" for name in _tables(ctx).get(key, {})), begun)

    return complete


def _kind(ctx: click.Context, begun: str) -> list[CompletionItem]:
    from nightplan.model.target import KINDS

    return _items(KINDS, begun)


def _style(ctx: click.Context, begun: str) -> list[CompletionItem]:
    from nightplan.report.looks.style import STYLES

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
