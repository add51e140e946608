"""The tables of the journal, version by version, and the steps from one to the next."""

from __future__ import annotations

import sqlite3
from typing import Any

from nightplan.errors import FileError
from nightplan.journal.tables import REMEDY, TABLES, check_seals, seal_rows
from nightplan.shown import value_words

APPLICATION_ID = 0x4E504A31
"""Stored in the SQLite header (PRAGMA application_id), so that a stranger's file is told apart."""

FILE_NAME = "nightplan-journal.db"

VERSION_1: tuple[str, ...] = (
    """
    CREATE TABLE target (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (length(name) > 0),
        ra_deg REAL CHECK (ra_deg >= 0.0 AND ra_deg < 360.0),
        dec_deg REAL CHECK (dec_deg BETWEEN -90.0 AND 90.0)
    )
    """,
    """
    CREATE TABLE night (
        id INTEGER PRIMARY KEY,
        evening TEXT NOT NULL UNIQUE,
        note TEXT NOT NULL DEFAULT ''
    )
    """,
    """
    CREATE TABLE framing (
        id INTEGER PRIMARY KEY,
        target_id INTEGER NOT NULL REFERENCES target (id),
        panel INTEGER NOT NULL CHECK (panel >= 1),
        train TEXT NOT NULL,
        ra_deg REAL NOT NULL CHECK (ra_deg >= 0.0 AND ra_deg < 360.0),
        dec_deg REAL NOT NULL CHECK (dec_deg BETWEEN -90.0 AND 90.0),
        position_angle_deg REAL NOT NULL
            CHECK (position_angle_deg >= 0.0 AND position_angle_deg < 180.0),
        image_up_angle_deg REAL NOT NULL
            CHECK (image_up_angle_deg >= 0.0 AND image_up_angle_deg < 360.0),
        mirrored INTEGER NOT NULL CHECK (mirrored IN (0, 1)),
        recorded_utc TEXT NOT NULL
    )
    """,
    "CREATE INDEX framing_of ON framing (target_id, train, panel)",
    """
    CREATE TABLE goal (
        target_id INTEGER NOT NULL REFERENCES target (id),
        filter TEXT NOT NULL,
        hours REAL NOT NULL CHECK (hours > 0.0),
        PRIMARY KEY (target_id, filter)
    )
    """,
    """
    CREATE TABLE sub (
        id INTEGER PRIMARY KEY,
        identity TEXT NOT NULL UNIQUE,
        target_id INTEGER NOT NULL REFERENCES target (id),
        night_id INTEGER NOT NULL REFERENCES night (id),
        panel INTEGER NOT NULL CHECK (panel >= 1),
        filter TEXT NOT NULL,
        train TEXT,
        start_utc TEXT NOT NULL,
        exposure_s REAL NOT NULL CHECK (exposure_s > 0.0),
        gain TEXT,
        sensor_temperature_c REAL,
        image_up_angle_deg REAL,
        accepted INTEGER NOT NULL CHECK (accepted IN (0, 1)),
        reason TEXT NOT NULL DEFAULT '' CHECK (accepted = 1 OR length(reason) > 0),
        weight REAL NOT NULL DEFAULT 1.0 CHECK (weight BETWEEN 0.0 AND 1.0),
        equivalent_s REAL CHECK (equivalent_s >= 0.0),
        file TEXT NOT NULL DEFAULT ''
    )
    """,
    "CREATE INDEX sub_of ON sub (target_id, filter, train)",
    """
    CREATE TABLE rotator_solution (
        id INTEGER PRIMARY KEY,
        night_id INTEGER NOT NULL REFERENCES night (id),
        train TEXT NOT NULL,
        reading_deg REAL NOT NULL,
        image_up_angle_deg REAL,
        position_angle_deg REAL NOT NULL,
        mirrored INTEGER NOT NULL CHECK (mirrored IN (0, 1)),
        pier TEXT CHECK (pier IN ('east', 'west')),
        recorded_utc TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE calibration_frame (
        id INTEGER PRIMARY KEY,
        identity TEXT NOT NULL UNIQUE,
        night_id INTEGER NOT NULL REFERENCES night (id),
        kind TEXT NOT NULL CHECK (kind IN ('flat', 'dark', 'flat_dark', 'bias')),
        filter TEXT,
        train TEXT,
        position_angle_deg REAL
            CHECK (position_angle_deg >= 0.0 AND position_angle_deg < 180.0),
        gain TEXT,
        exposure_s REAL NOT NULL CHECK (exposure_s >= 0.0),
        sensor_temperature_c REAL,
        start_utc TEXT NOT NULL,
        file TEXT NOT NULL DEFAULT ''
    )
    """,
    "CREATE INDEX calibration_of ON calibration_frame (kind, filter, train)",
    """
    CREATE TABLE tear_down (
        id INTEGER PRIMARY KEY,
        utc TEXT NOT NULL
    )
    """,
)

VERSION_2: tuple[str, ...] = tuple(
    f"ALTER TABLE {name} ADD COLUMN checksum INTEGER"
    for name in (
        "target",
        "night",
        "framing",
        "goal",
        "sub",
        "rotator_solution",
        "calibration_frame",
        "tear_down",
    )
)
"""A checksum of each row, as `tables.py` computes it."""

VERSION_3: tuple[str, ...] = (
    *(
        f"ALTER TABLE {name} ADD COLUMN rig TEXT NOT NULL DEFAULT ''"
        for name in ("framing", "sub", "rotator_solution", "calibration_frame", "tear_down")
    ),
    """
    CREATE TABLE rig_train (
        rig TEXT NOT NULL,
        train TEXT NOT NULL,
        focal_length_mm REAL NOT NULL,
        pixel_um REAL NOT NULL,
        width_px INTEGER NOT NULL,
        height_px INTEGER NOT NULL,
        checksum INTEGER,
        UNIQUE (rig, train)
    )
    """,
    """
    CREATE TABLE composition (
        target_id INTEGER NOT NULL REFERENCES target (id),
        rig TEXT NOT NULL,
        ra_deg REAL,
        dec_deg REAL,
        position_angle_deg REAL,
        panels INTEGER,
        train TEXT,
        with_targets TEXT NOT NULL,
        checksum INTEGER
    )
    """,
)
"""What was shot belongs to a rig; a composition is the imager's own framing of a target."""

VERSION_4: tuple[str, ...] = ("ALTER TABLE sub ADD COLUMN channel_s TEXT NOT NULL DEFAULT ''",)
"""A sub may count for several pictures."""


Step = tuple[str, ...]

STEPS: tuple[Step, ...] = (VERSION_1, VERSION_2, VERSION_3, VERSION_4)


def stored_version(connection: sqlite3.Connection, path: object = "journal") -> int:
    """The version that a journal is at; 0 for an empty database.

    Raises FileError (the table of versions does not hold 1, 2, 3, ...).
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

    Raises FileError (the database is not a journal, a newer program wrote it, or its tables are not
    as this program made them).
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

    Raises FileError (as `check_version`; or a row of a journal without checksums is not accepted).
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
