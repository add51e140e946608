"""Whether the journal is as it was written, and getting it back where it is not."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from nightplan.errors import InputError
from nightplan.library.outputs import Answer

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.report.documents.collect import JournalCheckDocument


class JournalCheck(Answer):
    """The journal with all its rows read, and its backups, newest first."""

    def __init__(self, document: JournalCheckDocument) -> None:
        self._document = document

    @property
    def sound(self) -> bool:
        """Whether every row is as it was written, or there is no journal yet."""
        return self._document.journal.state != "faulty"

    @property
    def document(self) -> JournalCheckDocument:
        """The JSON document of `nightplan collect --check`."""
        return self._document

    def __str__(self) -> str:
        from nightplan.report.texts.journal_check_text import journal_check_text

        return journal_check_text(self._document)


def check_journal(config: Config, *, restore: bool = False, reseal: bool = False) -> JournalCheck:
    """Read every row of the journal and of its backups; as `nightplan collect --check`.

    Parameters
    ----------
    config : Config
    restore : bool
        Put the newest good backup in the place of a faulty or missing journal, which is kept
        under another name.
    reseal : bool
        Take the rows as they are, for a journal that was changed by hand on purpose; the journal
        of before is kept under another name.

    Raises
    ------
    nightplan.errors.NightplanError
        `restore` of a journal that is sound, or without a good backup.
    nightplan.errors.FileError
        A file cannot be written, or `reseal` of rows that cannot be read.
    nightplan.errors.InputError
        `restore` and `reseal` together.
    """
    from nightplan.journal import checkup
    from nightplan.journal.schema import FILE_NAME
    from nightplan.report.documents.collect import journal_check_document

    if restore and reseal:
        raise InputError("library", "reseal", reseal, "restore or reseal, not both")
    kept: Path | None = None
    backup: Path | None = None
    if restore:
        kept, backup = checkup.restore_newest_good(config.folder)
    elif reseal:
        kept, _ = checkup.seal_journal(config.folder)
    found = checkup.check_journal(config.folder)
    return JournalCheck(journal_check_document(config.folder / FILE_NAME, found, kept, backup))
