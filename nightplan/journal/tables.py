"""The journal's tables as one list: which columns hold what, and which record a row makes.

Every row is read by `read_rows` and written by `insert_row` and `update_row`, and by nothing else,
so that each is checked: by the kind of every column, by the record's own limits, and by the row's
checksum, which finds what is readable but is not what was written.

A new column needs an entry here and a step in `migrations.py` whose default is NULL or '':
values of that kind take no part in a checksum, so that those of older rows can be compared before
the step. Behind it all rows are sealed anew.
"""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from nightplan.errors import FileError, InputError
from nightplan.journal.columns import (
    ANY_NUMBER,
    DATE,
    FILE,
    FLAG,
    MOMENT,
    MOMENT_TEXT,
    NAMES,
    SECONDS_BY_NAME,
    TEXT,
    Kind,
    number,
    optional,
    whole,
)
from nightplan.journal.records import CalibrationFrame, Framing, RotatorSolution, Sub
from nightplan.shown import value_words

REMEDY = "`nightplan collect --check` looks for the newest good backup"
MOST_GOAL_H = 1000.0


class Column(NamedTuple):
    """A column: its kind, and the field of the record that it fills where that is another."""

    kind: Kind
    field: str = ""


class Row(NamedTuple):
    """A checked row: its number, its values by field, and the record that they make."""

    number: int
    values: dict[str, Any]
    record: Any


@dataclass(frozen=True)
class Table:
    """A table; `target` and `evening` among the columns are kept in tables of their own."""

    name: str
    columns: Mapping[str, Column]
    record: Callable[..., Any] = dict
    identity: str | None = None
    """Column whose value may stand once only; a second row with it is not stored."""


TARGET, EVENING, RIG = Column(TEXT), Column(DATE), Column(TEXT)


class _Elsewhere(NamedTuple):
    key: str
    table: str
    column: str


_ELSEWHERE = {
    "target": _Elsewhere("target_id", "target", "name"),
    "evening": _Elsewhere("night_id", "night", "evening"),
}

TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        Table(
            "target",
            {
                "name": Column(TEXT),
                "ra_deg": Column(optional(number(0.0, 360.0))),
                "dec_deg": Column(optional(number(-90.0, 90.0))),
            },
        ),
        Table("night", {"evening": Column(DATE), "note": Column(TEXT)}),
        Table(
            "framing",
            {
                "target": TARGET,
                "panel": Column(whole(1, 10_000)),
                "train": Column(TEXT),
                "ra_deg": Column(ANY_NUMBER),
                "dec_deg": Column(ANY_NUMBER),
                "position_angle_deg": Column(ANY_NUMBER),
                "image_up_angle_deg": Column(ANY_NUMBER),
                "mirrored": Column(FLAG),
                "recorded_utc": Column(MOMENT_TEXT),
                "rig": RIG,
            },
            Framing,
        ),
        Table(
            "goal",
            {
                "target": TARGET,
                "filter": Column(TEXT),
                "hours": Column(number(1e-9, MOST_GOAL_H)),
            },
        ),
        Table(
            "sub",
            {
                "identity": Column(TEXT),
                "target": TARGET,
                "evening": EVENING,
                "panel": Column(whole(1, 10_000)),
                "filter": Column(TEXT),
                "train": Column(optional(TEXT)),
                "start_utc": Column(MOMENT, "start_utc_mjd"),
                "exposure_s": Column(ANY_NUMBER),
                "gain": Column(optional(TEXT)),
                "sensor_temperature_c": Column(optional(ANY_NUMBER)),
                "image_up_angle_deg": Column(optional(number(0.0, 360.0))),
                "accepted": Column(FLAG),
                "reason": Column(TEXT),
                "weight": Column(ANY_NUMBER),
                "equivalent_s": Column(optional(ANY_NUMBER)),
                "file": Column(FILE),
                "rig": RIG,
                "channel_s": Column(SECONDS_BY_NAME),
            },
            Sub,
            identity="identity",
        ),
        Table(
            "rotator_solution",
            {
                "evening": EVENING,
                "train": Column(TEXT),
                "reading_deg": Column(ANY_NUMBER),
                "image_up_angle_deg": Column(optional(number(0.0, 360.0))),
                "position_angle_deg": Column(ANY_NUMBER),
                "mirrored": Column(FLAG),
                "pier": Column(optional(TEXT)),
                "recorded_utc": Column(MOMENT_TEXT),
                "rig": RIG,
            },
            RotatorSolution,
        ),
        Table(
            "calibration_frame",
            {
                "identity": Column(TEXT),
                "evening": EVENING,
                "kind": Column(TEXT),
                "filter": Column(optional(TEXT)),
                "train": Column(optional(TEXT)),
                "position_angle_deg": Column(optional(ANY_NUMBER)),
                "gain": Column(optional(TEXT)),
                "exposure_s": Column(ANY_NUMBER),
                "sensor_temperature_c": Column(optional(ANY_NUMBER)),
                "start_utc": Column(MOMENT, "start_utc_mjd"),
                "file": Column(FILE),
                "rig": RIG,
            },
            CalibrationFrame,
            identity="identity",
        ),
        Table("tear_down", {"utc": Column(MOMENT, "utc_mjd"), "rig": RIG}),
        Table(
            "rig_train",
            {
                "rig": RIG,
                "train": Column(TEXT),
                "focal_length_mm": Column(number(1.0, 1e6)),
                "pixel_um": Column(number(0.01, 1e4)),
                "width_px": Column(whole(1, 10_000_000)),
                "height_px": Column(whole(1, 10_000_000)),
            },
        ),
        Table(
            "composition",
            {
                "target": TARGET,
                "rig": RIG,
                "ra_deg": Column(optional(number(0.0, 360.0))),
                "dec_deg": Column(optional(number(-90.0, 90.0))),
                "position_angle_deg": Column(optional(number(0.0, 180.0))),
                "panels": Column(optional(whole(1, 100))),
                "train": Column(optional(TEXT)),
                "with_targets": Column(NAMES),
            },
        ),
    )
}


def read_rows(
    connection: sqlite3.Connection, path: object, name: str, *, sealed: bool = True
) -> list[Row]:
    """All rows of a table in the order they were stored, each checked.

    `sealed` false leaves the checksums out: a journal of before them, or one that is sealed anew.
    Raises FileError (a row holds what is not accepted, or is not what was written; journal, table,
    row and remedy are named) and sqlite3.Error (the table cannot be read).
    """
    table = TABLES[name]
    return [
        _checked(path, table, number, seal, stored, sealed)
        for number, seal, *stored in _select(connection, table, list(table.columns), sealed)
    ]


def check_seals(connection: sqlite3.Connection, path: object, name: str) -> None:
    """Compare the checksums of a table of an older version, which may lack columns.

    Raises FileError (a row is not what was written; journal, table, row and remedy are named).
    """
    table = TABLES[name]
    there = {row[1] for row in connection.execute(f"PRAGMA table_info({name})")}
    columns = [one for one in table.columns if _key(table, one) in there]
    if "checksum" in there:
        for number, seal, *stored in _select(connection, table, columns, True):
            _check_seal(path, table, number, seal, dict(zip(columns, stored, strict=True)))


def insert_row(connection: sqlite3.Connection, name: str, values: Mapping[str, Any]) -> bool:
    """Store a row, values by field; false where its identity is there already."""
    table = TABLES[name]
    columns = _columns(connection, table, values)
    conflict = " ON CONFLICT DO NOTHING" if table.identity else ""
    done = connection.execute(
        f"INSERT INTO {name} ({', '.join(columns)}) "
        f"VALUES ({', '.join('?' * len(columns))}){conflict}",
        list(columns.values()),
    )
    return bool(done.rowcount)


def update_row(
    connection: sqlite3.Connection, name: str, number: int, values: Mapping[str, Any]
) -> None:
    """Put values, by field, in the place of a row's."""
    columns = _columns(connection, TABLES[name], values)
    connection.execute(
        f"UPDATE {name} SET {', '.join(f'{column} = ?' for column in columns)} WHERE rowid = ?",
        [*columns.values(), number],
    )


def seal_rows(connection: sqlite3.Connection, path: object, name: str) -> None:
    """Give every row of a table the checksum of what it holds now; raises as `read_rows`."""
    for row in read_rows(connection, path, name, sealed=False):
        update_row(connection, name, row.number, row.values)


def _key(table: Table, column: str) -> str:
    """The table's own column behind a logical one."""
    place = _ELSEWHERE.get(column)
    return column if place is None or place.table == table.name else place.key


def _select(
    connection: sqlite3.Connection, table: Table, columns: list[str], sealed: bool
) -> sqlite3.Cursor:
    """Row number, checksum and the columns of all rows, in the order they were stored."""
    fields, joins = [], ""
    for column in columns:
        key = _key(table, column)
        if key == column:
            fields.append(f"{table.name}.{column}")
        else:
            place = _ELSEWHERE[column]
            fields.append(f"{place.table}.{place.column}")
            joins += f" LEFT JOIN {place.table} ON {place.table}.id = {table.name}.{key}"
    seal = f"{table.name}.checksum" if sealed else "NULL"
    return connection.execute(
        f"SELECT {table.name}.rowid, {seal}, {', '.join(fields)} FROM {table.name}{joins} "
        f"ORDER BY {table.name}.rowid"
    )


def _checked(
    path: object, table: Table, number: int, seal: Any, stored: list[Any], sealed: bool
) -> Row:
    values: dict[str, Any] = {}
    for (name, column), value in zip(table.columns.items(), stored, strict=True):
        try:
            values[column.field or name] = column.kind.decode(value)
        except (ValueError, TypeError, OverflowError) as error:
            raise _faulty(path, table, number, name, value, column.kind.accepted) from error
    try:
        record = table.record(**values)
    except InputError as error:
        raise _faulty(path, table, number, error.key, error.value, error.accepted) from error
    if sealed:
        _check_seal(path, table, number, seal, dict(zip(table.columns, stored, strict=True)))
    return Row(number, values, record)


def _check_seal(
    path: object, table: Table, number: int, seal: Any, stored: Mapping[str, Any]
) -> None:
    if seal != _checksum(table, stored):
        problem = "is readable but is not what nightplan wrote (its checksum does not fit)"
        raise FileError(path, f"table {table.name}, row {number} {problem}; {REMEDY}")


def _faulty(
    path: object, table: Table, number: int, key: str, value: object, accepted: str
) -> FileError:
    return FileError(
        path,
        f"table {table.name}, row {number}: {key} = {value_words(value)}: accepted is {accepted}; "
        f"{REMEDY}",
    )


def _columns(
    connection: sqlite3.Connection, table: Table, values: Mapping[str, Any]
) -> dict[str, Any]:
    """Columns and values as the table has them: keys for what is elsewhere, and the checksum."""
    stored = {
        name: column.kind.encode(values[column.field or name])
        for name, column in table.columns.items()
    }
    columns: dict[str, Any] = {}
    for name in table.columns:
        key = _key(table, name)
        if key != name:
            _, other, there = _ELSEWHERE[name]
            # The name as it is stored there: it is looked up without regard to case.
            columns[key], stored[name] = _row_elsewhere(connection, other, there, stored[name])
        else:
            columns[name] = stored[name]
    return {**columns, "checksum": _checksum(table, stored)}


def _row_elsewhere(
    connection: sqlite3.Connection, name: str, column: str, value: str
) -> tuple[int, str]:
    """Number and text of the row of a target or a night, made if need be."""
    query = f"SELECT rowid, {column} FROM {name} WHERE {column} = ?"
    found = connection.execute(query, (value,)).fetchone()
    if found is None:
        empty = dict.fromkeys(TABLES[name].columns) | {"note": ""}
        kind = TABLES[name].columns[column].kind
        insert_row(connection, name, {**empty, column: kind.decode(value)})
        found = connection.execute(query, (value,)).fetchone()
    return int(found[0]), str(found[1])


def _checksum(table: Table, stored: Mapping[str, Any]) -> int:
    # CRC-32 finds damage and hand-made changes; it keeps nobody out who wants in.
    parts = [
        f"{name}={stored[name]!r}" for name in sorted(stored) if stored[name] not in (None, "")
    ]
    return zlib.crc32("\x1f".join([table.name, *parts]).encode("utf-8", "backslashreplace"))
