"""The journal of one command, opened at most once, and made only when there is something to store.

Readers and writers of a command then see one state of the file, and its checks are made once.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from nightplan.journal.journal import Journal
from nightplan.journal.schema import FILE_NAME

if TYPE_CHECKING:
    from nightplan.model.config import Config


class JournalSession:
    """A context manager around the journal beside a configuration. Raises as `Journal.open`."""

    def __init__(self, config: Config) -> None:
        self._config = config
        self._journal: Journal | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *error: object) -> None:
        if self._journal is not None:
            self._journal.close()

    @property
    def stored(self) -> Journal | None:
        """The journal that is there; None where none is yet."""
        there = self._journal is not None or (self._config.folder / FILE_NAME).exists()
        return self.writing() if there else None

    def writing(self) -> Journal:
        """The journal, made if it is missing."""
        if self._journal is None:
            self._journal = Journal.of(self._config, writable=True)
        return self._journal
