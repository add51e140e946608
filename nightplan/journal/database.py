"""Opening the journal's database: writing safely, reading without leaving a trace.

Writers use SQLite's write-ahead log with `synchronous = FULL`: what a call has confirmed is on
the disk, whatever happens to the process or the power after it. Two processes take turns, each
waiting for the other.

Readers never write. A read-only connection to a write-ahead database would leave its two side
files behind, so a reader without a writer beside it reads a snapshot of the file into memory;
where a log is present it opens read-only and shares the log with the living writer; where the log
is a dead one's, it reads a copy.
"""

from __future__ import annotations

import sqlite3
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from nightplan.errors import FileError
from nightplan.files import read_bytes, reason_of
from nightplan.journal.backups import is_due, write_backup
from nightplan.journal.schema import STEPS, check_version, migrate
from nightplan.journal.tables import REMEDY, TABLES, read_rows

MOST_BYTES = 2**30
"""Largest journal that is read; a million subs take a third of it."""
BUSY_TIMEOUT_S = 15.0
_MAGIC = b"SQLite format 3\x00"
_WAL_BYTES = slice(18, 20)
_SNAPSHOT_TRIES = 50
_SNAPSHOT_PAUSE_S = 0.02


def open_writable(path: Path, *, sealed: bool = True) -> sqlite3.Connection:
    """Open for writing, in autocommit mode; makes the file or migrates it as needed.

    Nothing is written before all is checked: that the file is whole, that it is a journal, the
    shape of its tables. On the first opening of a night, and before a migration, every row is
    checked too and the journal is backed up (see `backups.py`); with `sealed` false neither, for a
    journal whose checksums are about to be made anew. Raises FileError (the file is damaged, is no
    journal, is from a newer program, or cannot be written; it is left as it is).
    """
    if path.exists():
        _check_and_back_up(path, sealed)
    try:
        connection = _connect(path)
        try:
            _patiently(connection, "PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            migrate(connection, path)
        except BaseException:
            connection.close()
            raise
    except sqlite3.Error as error:
        raise explained(path, error) from error
    return connection


def open_readonly(path: Path) -> sqlite3.Connection:
    """Open for reading; nothing in the folder changes.

    A journal of an older version is brought up to date in memory only. Raises FileError (the file
    cannot be read, is damaged, is no journal, or is from a newer program).
    """
    with _reading(path) as (connection, version):
        current = connection
        if 0 < version < len(STEPS):
            current = _to_memory(connection)
            connection.close()
            migrate(current, path)
        current.execute("PRAGMA query_only = ON")
        return current


def _check_and_back_up(path: Path, sealed: bool) -> None:
    with _reading(path) as (connection, version):
        try:
            if sealed and version and is_due(path, migrates=version < len(STEPS)):
                copy = _to_memory(connection)
                try:
                    backup = copy.serialize()
                    migrate(copy, path)
                    rows = sum(len(read_rows(copy, path, name)) for name in TABLES)
                finally:
                    copy.close()
                if rows:
                    write_backup(path, backup)
        finally:
            connection.close()


@contextmanager
def _reading(path: Path) -> Iterator[tuple[sqlite3.Connection, int]]:
    """A connection whose file is whole and of a known shape, and its version.

    It is left open, unless the block raises; errors of SQLite come out explained.
    """
    try:
        connection = _reader(path)
        try:
            fault = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
            if fault != "ok":
                raise sqlite3.DatabaseError(str(fault))
            yield connection, check_version(connection, path)
        except BaseException:
            connection.close()
            raise
    except sqlite3.Error as error:
        raise explained(path, error) from error
    except UnicodeDecodeError as error:
        # SQLite passes the text of a damaged schema on as it stands.
        damage = sqlite3.DatabaseError("text that is not UTF-8")
        raise explained(path, damage) from error
    except OSError as error:
        raise FileError(path, f"cannot be read: {reason_of(error)}") from error


@contextmanager
def transaction(connection: sqlite3.Connection, path: Path) -> Iterator[None]:
    """All of the block's writes or none; confirmed on the disk when the block ends.

    Raises FileError (the database is locked by another process for too long, the disk is full, or
    similar).
    """
    try:
        connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
    except sqlite3.Error as error:
        raise explained(path, error) from error


def _patiently(connection: sqlite3.Connection, statement: str) -> None:
    """Run a statement that SQLite refuses at once when another process holds the file."""
    deadline = time.monotonic() + BUSY_TIMEOUT_S
    while True:
        try:
            connection.execute(statement).fetchone()
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            time.sleep(_SNAPSHOT_PAUSE_S)


def _reader(path: Path) -> sqlite3.Connection:
    for _ in range(_SNAPSHOT_TRIES):
        if _size(_side(path, "-wal")) > 0:
            if _side(path, "-shm").exists():
                try:
                    return _shared(path)
                except sqlite3.OperationalError:
                    pass  # the log went away, or the folder cannot be written: look again
            if _size(_side(path, "-wal")) > 0:
                return _copied(path)
        data = _snapshot(path)
        if data is not None:
            return _in_memory(data)
        time.sleep(_SNAPSHOT_PAUSE_S)
    return _copied(path)


def _side(path: Path, ending: str) -> Path:
    return path.with_name(path.name + ending)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _shared(path: Path) -> sqlite3.Connection:
    connection = _connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


def _snapshot(path: Path) -> bytes | None:
    """The file's bytes, or none if a writer was at work while they were read."""
    before = path.stat()
    data = read_bytes(path, MOST_BYTES)
    after = path.stat()
    still = (before.st_mtime_ns, before.st_size) == (after.st_mtime_ns, after.st_size)
    return data if still and _size(_side(path, "-wal")) == 0 else None


def _in_memory(data: bytes) -> sqlite3.Connection:
    if data and not data.startswith(_MAGIC):
        raise sqlite3.DatabaseError("file is not a database")
    connection = _connect(":memory:")
    if data:
        # A database in memory has no log; say so in its header (SQLite file format, 1.3.3).
        plain = bytearray(data)
        plain[_WAL_BYTES] = b"\x01\x01"
        connection.deserialize(bytes(plain))
    return connection


def _copied(path: Path) -> sqlite3.Connection:
    """A copy with its log replayed, in memory; the log's writer is gone."""
    with tempfile.TemporaryDirectory(prefix="nightplan-") as folder:
        twin = Path(folder) / path.name
        twin.write_bytes(read_bytes(path, MOST_BYTES))
        if _side(path, "-wal").exists():
            _side(twin, "-wal").write_bytes(read_bytes(_side(path, "-wal"), MOST_BYTES))
        with closing(_connect(twin)) as connection:
            return _to_memory(connection)


def _to_memory(connection: sqlite3.Connection) -> sqlite3.Connection:
    memory = _connect(":memory:")
    connection.backup(memory)
    return memory


def _connect(where: Path | str, *, uri: bool = False) -> sqlite3.Connection:
    connection = sqlite3.connect(where, timeout=BUSY_TIMEOUT_S, isolation_level=None, uri=uri)
    # Text that is no UTF-8 is for the row's check to name, not for the driver to stumble over.
    connection.text_factory = lambda stored: stored.decode("utf-8", "surrogateescape")
    return connection


_NO_ROOM = {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR}
_NO_ENTRY = {sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM}
_BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}


def explained(path: Path, error: sqlite3.Error) -> FileError:
    """What an error of SQLite means for the imager."""
    # The low byte is the primary code (SQLite, "Result and Error Codes", section 2).
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF
    if code in _BUSY:
        return FileError(
            path, f"another process kept the journal for {BUSY_TIMEOUT_S:g} s; try again"
        )
    if code in _NO_ENTRY:
        reason = "folder is missing" if not path.parent.exists() else "no permission"
        return FileError(path, f"cannot be opened as a journal: {reason}")
    if code in _NO_ROOM:
        return FileError(path, f"cannot be read or written: {error}")
    return FileError(
        path, f"is damaged or no journal of nightplan ({error}); it is left as it is; {REMEDY}"
    )
