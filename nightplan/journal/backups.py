"""Backups of the journal: once a night and before a migration, the newest three are kept.

They lie beside the journal, each a journal of its own, copied by SQLite's backup call and written
whole. Only a journal whose rows all pass their checks is backed up, so that a damaged one never
pushes a good backup out.
"""

from __future__ import annotations

import datetime
import os
import re
from contextlib import suppress
from pathlib import Path

from nightplan.files import write_whole

KEPT = 3
_NAME = re.compile(r"\.backup-(\d{8}T\d{6}Z)\.db")
_STAMP = "%Y%m%dT%H%M%SZ"
# The first opening of a night lies further than this behind that of the night before it.
_ONE_NIGHT = datetime.timedelta(hours=12)


def backups_of(path: Path) -> list[Path]:
    """Backups of a journal, newest first."""
    found = [
        other
        for other in path.parent.glob(f"{path.stem}.backup-*.db")
        if _NAME.fullmatch(other.name.removeprefix(path.stem))
    ]
    return sorted(found, reverse=True)


def is_due(path: Path, *, migrates: bool) -> bool:
    """Whether to back up before the writing that is about to begin."""
    known = backups_of(path)
    if migrates or not known:
        return True
    age = _now() - taken(known[0])
    return not datetime.timedelta() <= age < _ONE_NIGHT


def write_backup(path: Path, data: bytes) -> None:
    """Store a copy of a journal, then remove all but the newest ones.

    Raises FileError (the backup cannot be written; the older ones are all still there).
    """
    write_whole(path.with_name(f"{path.stem}.backup-{_now():{_STAMP}}.db"), data)
    for old in backups_of(path)[KEPT:]:
        with suppress(OSError):
            os.unlink(old)


def taken(backup: Path) -> datetime.datetime:
    """When a backup was made, UTC."""
    stamp = backup.name.rpartition(".backup-")[2].removesuffix(".db")
    return datetime.datetime.strptime(stamp, _STAMP).replace(tzinfo=datetime.UTC)


def name_to_keep(path: Path) -> Path:
    """A free name beside a journal, for what is kept of it before something takes its place."""
    stamp = f"{_now():{_STAMP}}"
    tries = (
        f"{path.stem}.kept-{stamp}{more}.db" for more in ("", *map("-{}".format, range(2, 99)))
    )
    return next(path.with_name(name) for name in tries if not path.with_name(name).exists())


def set_aside(path: Path) -> Path:
    """Move a journal and its log to a name that is free; returns where the journal is now."""
    kept = name_to_keep(path)
    # The log first: beside another journal SQLite would take it for that one's.
    for ending in ("-wal", "-shm", ""):
        with suppress(FileNotFoundError):
            os.rename(path.with_name(path.name + ending), kept.with_name(kept.name + ending))
    return kept


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
