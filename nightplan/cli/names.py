"""Targets as they are typed on the command line: words joined to names, nicknames said."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from nightplan.shown import piece

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target


def typed_names(config: Config, words: Sequence[str]) -> list[str]:
    """Names of the targets that words mean, as the catalogue spells them.

    Words that a shell has parted are joined: ``M 33`` need not be quoted. Where a name might
    mean another target as well, that is said on standard error.

    Raises
    ------
    nightplan.errors.TargetError
        A name is unknown or fits several targets.
    """
    from nightplan.model.name_index import join_words
    from nightplan.model.own_targets import catalog_for

    if not words:
        return []
    catalog = catalog_for(config)
    return [str(catalog.name[_row(catalog, text)]) for text in join_words(words, catalog.names)]


def typed_target(catalog: Catalog, words: Sequence[str]) -> Target:
    """The one target that words mean together; as `typed_names`."""
    return catalog.target(_row(catalog, " ".join(words)))


def _row(catalog: Catalog, text: str) -> int:
    row, others = catalog.names.meaning(text)
    if others:
        listed = ", ".join(catalog.names.label(other) for other in others)
        meant = catalog.names.label(row)
        click.echo(piece(f"{text} is taken as {meant}, not as {listed}.", 600), err=True)
    return row
