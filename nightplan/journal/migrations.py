"""Bringing a journal's tables up to the version that this program writes, and checking their shape.

Each step is a tuple of SQL statements; step n makes version n out of version n - 1. All missing
steps run in one transaction: after a fault or a pulled plug the file is at its old version, whole.
"""

from __future__ import annotations

import sqlite3
from typing import Any

from nightplan.errors import FileError
from nightplan.journal.schema import APPLICATION_ID, VERSION_1, VERSION_2, VERSION_3
from nightplan.journal.tables import REMEDY, TABLES, check_seals, seal_rows
from nightplan.shown import value_words

Step = tuple[str, ...]

STEPS: tuple[Step, ...] = (VERSION_1, VERSION_2, VERSION_3)


def stored_version(connection: sqlite3.Connection, path: object = "journal") -> int:
    """The version that a journal is at; 0 for an empty database.

    Raises
    ------
    FileError
        The table of versions does not hold 1, 2, 3, ...
    """
    known = connection.execute(
        "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'schema_version'"
    ).fetchone()[0]
    if not known:
        return 0
    rows = [row[0] for row in connection.execute("SELECT version FROM schema_version ORDER BY 1")]
    newest = rows[-1] if rows else 0
    # A newer program may count as it likes; it is named by `check_version`.
    if not isinstance(newest, int) or (newest <= len(STEPS) and rows != [*range(1, newest + 1)]):
        raise _altered(path, f"table schema_version: version = {value_words(newest)}")
    return newest


def check_version(
    connection: sqlite3.Connection, path: object, steps: tuple[Step, ...] = STEPS
) -> int:
    """The stored version, if this program can read it.

    Raises
    ------
    FileError
        The database is not a journal, a newer program wrote it, or its tables are not as this
        program made them.
    """
    version = stored_version(connection, path)
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
    if tables and not version:
        raise _altered(path, "table schema_version is missing or empty")
    if tables:
        _check_shape(connection, path, version, steps)
    return version


def migrate(connection: sqlite3.Connection, path: object, steps: tuple[Step, ...] = STEPS) -> None:
    """Run the steps that are missing, all or none; the connection is in autocommit mode.

    Raises
    ------
    FileError
        As `check_version`; or a row of a journal without checksums is not accepted.
    """
    if check_version(connection, path, steps) == len(steps):
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Another process may have done it while this one waited for the lock.
        version = check_version(connection, path, steps)
        for name in TABLES if version else ():
            check_seals(connection, path, name)
        _run_steps(connection, version, steps)
        for name in TABLES:
            seal_rows(connection, path, name)
        connection.execute("COMMIT")
    except BaseException:
        # A full disk ends the transaction on its own.
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _run_steps(connection: sqlite3.Connection, version: int, steps: tuple[Step, ...]) -> None:
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


def _check_shape(
    connection: sqlite3.Connection, path: object, version: int, steps: tuple[Step, ...]
) -> None:
    """Compare tables, columns, keys and indices with those that the steps make."""
    model = sqlite3.connect(":memory:", isolation_level=None)
    try:
        _run_steps(model, 0, steps[:version])
        wanted = _shape(model)
    finally:
        model.close()
    found = _shape(connection)
    for name, shape in wanted.items():
        if name not in found:
            raise _altered(path, f"{name} is missing")
        if found[name] != shape:
            raise _altered(path, f"{name} is not as nightplan made it")
    for name in found.keys() - wanted.keys():
        if name.startswith(("trigger", "view")):  # they change what is written or read
            raise _altered(path, f"{name} is not nightplan's")


def _shape(connection: sqlite3.Connection) -> dict[str, Any]:
    """Columns of each table and index by `kind name`; of triggers and views the name alone."""
    shape: dict[str, Any] = {}
    for kind, name in connection.execute("SELECT type, name FROM sqlite_master").fetchall():
        pragma = {"table": "table_info", "index": "index_info"}.get(kind)
        quoted = str(name).replace("'", "''")
        shape[f"{kind} {name}"] = (
            [] if pragma is None else connection.execute(f"PRAGMA {pragma}('{quoted}')").fetchall()
        )
    return shape


def _altered(path: object, what: str) -> FileError:
    return FileError(path, f"is damaged or was altered: {what}; it is left as it is; {REMEDY}")
