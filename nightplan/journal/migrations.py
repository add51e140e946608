"""Bringing a journal's tables up to the version that this program writes.

Each step is a tuple of SQL statements; step n makes version n out of version n - 1. All missing
steps run in one transaction: after a fault or a pulled plug the file is at its old version, whole.
"""

from __future__ import annotations

import sqlite3

from nightplan.errors import FileError
from nightplan.journal.schema import APPLICATION_ID, VERSION_1

Step = tuple[str, ...]

STEPS: tuple[Step, ...] = (VERSION_1,)


def stored_version(connection: sqlite3.Connection) -> int:
    """The version that a journal is at; 0 for an empty database."""
    known = connection.execute(
        "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'schema_version'"
    ).fetchone()[0]
    if not known:
        return 0
    row = connection.execute("SELECT max(version) FROM schema_version").fetchone()
    return int(row[0] or 0)


def check_version(
    connection: sqlite3.Connection, path: str, steps: tuple[Step, ...] = STEPS
) -> int:
    """The stored version, if this program can read it.

    Raises
    ------
    FileError
        The database is not a journal, or a newer program wrote it.
    """
    version = stored_version(connection)
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    mark = connection.execute("PRAGMA application_id").fetchone()[0]
    if tables and mark != APPLICATION_ID:
        raise FileError(path, "is a database, but no journal of nightplan; it is left as it is")
    if version > len(steps):
        raise FileError(
            path,
            f"was written by a newer nightplan (journal version {version}; this program knows "
            f"{len(steps)}); it is left as it is",
        )
    return version


def migrate(connection: sqlite3.Connection, path: str, steps: tuple[Step, ...] = STEPS) -> None:
    """Run the steps that are missing, all or none; the connection is in autocommit mode.

    Raises
    ------
    FileError
        As `check_version`.
    """
    if check_version(connection, path, steps) == len(steps):
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Another process may have done it while this one waited for the lock.
        version = check_version(connection, path, steps)
        if version == 0:
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(
                "CREATE TABLE schema_version (version INTEGER PRIMARY KEY, applied_utc TEXT)"
            )
        for number in range(version + 1, len(steps) + 1):
            for statement in steps[number - 1]:
                connection.execute(statement)
            connection.execute(
                "INSERT INTO schema_version VALUES (?, strftime('%Y-%m-%dT%H:%M:%SZ', 'now'))",
                (number,),
            )
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
