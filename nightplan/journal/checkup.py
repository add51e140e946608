"""Checking a whole journal and its backups, and putting a backup in the place of a damaged one."""

from __future__ import annotations

import datetime
import os
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from nightplan.errors import FileError, NightplanError
from nightplan.files import read_bytes, reason_of, write_whole
from nightplan.journal.backups import backups_of, name_to_keep, set_aside, taken
from nightplan.journal.database import MOST_BYTES, open_readonly, open_writable, transaction
from nightplan.journal.schema import FILE_NAME
from nightplan.journal.tables import TABLES, read_rows, seal_rows


@dataclass(frozen=True)
class Checked:
    """A journal, or a backup of one: how many rows it holds, and its first fault if it has one."""

    path: Path
    rows: int
    subs: int
    fault: str | None
    taken_utc: datetime.datetime | None = None
    """When a backup was made."""


@dataclass(frozen=True)
class Checkup:
    """A journal (none where there is no file) and its backups, newest first."""

    journal: Checked | None
    backups: tuple[Checked, ...]

    @property
    def newest_good(self) -> Checked | None:
        """The newest backup without a fault."""
        return next((one for one in self.backups if one.fault is None), None)


def check_journal(folder: str | os.PathLike[str]) -> Checkup:
    """Read every row of the journal of a configuration's folder and of its backups.

    Nothing is changed; a fault is part of the answer.
    """
    path = Path(os.path.realpath(Path(folder) / FILE_NAME))
    return Checkup(
        _checked(path) if path.exists() else None,
        tuple(_checked(one, taken(one)) for one in backups_of(path)),
    )


def restore_newest_good(folder: str | os.PathLike[str]) -> tuple[Path | None, Path]:
    """Put the newest good backup in the journal's place.

    Returns
    -------
    Where the journal that was there is kept (none where there was none), and the backup.

    Raises
    ------
    NightplanError
        There is no good backup, or the journal is sound; nothing is changed.
    FileError
        A file cannot be moved or written.
    """
    found = check_journal(folder)
    path = Path(os.path.realpath(Path(folder) / FILE_NAME))
    good = found.newest_good
    if found.journal is not None and found.journal.fault is None:
        raise NightplanError(f"{path}: is sound; nothing is put in its place")
    if good is None:
        raise NightplanError(f"{path}: there is no good backup; nothing is changed")
    data = read_bytes(good.path, MOST_BYTES)
    try:
        kept = None if found.journal is None else set_aside(path)
    except OSError as error:
        raise FileError(path, f"cannot be set aside: {reason_of(error)}") from error
    write_whole(path, data, replace=False)
    return kept, good.path


def seal_journal(folder: str | os.PathLike[str]) -> tuple[Path, int]:
    """Take all rows as they are now, where they are readable: their checksums are made anew.

    For a journal that was changed by hand on purpose. What was there is kept under another name.

    Returns
    -------
    Where the journal of before is kept, and the number of rows.

    Raises
    ------
    FileError
        A row holds what is not accepted, or the journal cannot be written.
    """
    path = Path(os.path.realpath(Path(folder) / FILE_NAME))
    with closing(open_readonly(path)) as connection:
        kept = name_to_keep(path)
        write_whole(kept, connection.serialize(), replace=False)
    with closing(open_writable(path, sealed=False)) as connection:
        with transaction(connection, path):
            for name in TABLES:
                seal_rows(connection, path, name)
        return kept, sum(len(read_rows(connection, path, name)) for name in TABLES)


def _checked(path: Path, taken_utc: datetime.datetime | None = None) -> Checked:
    rows = dict.fromkeys(TABLES, 0)
    fault = None
    try:
        with closing(open_readonly(path)) as connection:
            for name in TABLES:
                rows[name] = len(read_rows(connection, path, name))
    except FileError as error:
        fault = error.problem
    return Checked(path, sum(rows.values()), rows["sub"], fault, taken_utc)
