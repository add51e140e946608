"""Targets, framings, goals and rotator solutions in the journal's tables."""

from __future__ import annotations

import datetime
import sqlite3

from nightplan.errors import InputError
from nightplan.journal.records import Framing, RotatorSolution
from nightplan.journal.times import now_iso

SAME_ANGLE_DEG = 0.01
"""Stored angles closer than this count as one."""


def target_id(
    connection: sqlite3.Connection,
    name: str,
    ra_deg: float | None = None,
    dec_deg: float | None = None,
) -> int:
    """Row of a target, made if need be; a place fills in one that is not known yet."""
    connection.execute(
        "INSERT INTO target (name, ra_deg, dec_deg) VALUES (?, ?, ?) ON CONFLICT (name) DO UPDATE "
        "SET ra_deg = coalesce(ra_deg, excluded.ra_deg), "
        "dec_deg = coalesce(dec_deg, excluded.dec_deg)",
        (name, ra_deg, dec_deg),
    )
    row = connection.execute("SELECT id FROM target WHERE name = ?", (name,)).fetchone()
    return int(row["id"])


def night_id(connection: sqlite3.Connection, evening: datetime.date) -> int:
    """Row of a night, made if need be."""
    key = evening.isoformat()
    connection.execute("INSERT INTO night (evening) VALUES (?) ON CONFLICT DO NOTHING", (key,))
    row = connection.execute("SELECT id FROM night WHERE evening = ?", (key,)).fetchone()
    return int(row["id"])


def add_framing(connection: sqlite3.Connection, framing: Framing) -> None:
    """Store a framing; the newest of a target, train and panel is the one in force."""
    connection.execute(
        "INSERT INTO framing (target_id, panel, train, ra_deg, dec_deg, position_angle_deg, "
        "image_up_angle_deg, mirrored, recorded_utc) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            target_id(connection, framing.target),
            framing.panel,
            framing.train,
            framing.ra_deg,
            framing.dec_deg,
            framing.position_angle_deg,
            framing.image_up_angle_deg,
            int(framing.mirrored),
            framing.recorded_utc or now_iso(),
        ),
    )


def find_framings(
    connection: sqlite3.Connection,
    target: str | None = None,
    train: str | None = None,
    panel: int | None = None,
) -> list[Framing]:
    """Framings that fit, newest first."""
    rows = connection.execute(
        "SELECT target.name, framing.* FROM framing JOIN target ON target.id = target_id "
        "WHERE (:target IS NULL OR target.name = :target) AND (:train IS NULL OR train = :train) "
        "AND (:panel IS NULL OR panel = :panel) ORDER BY recorded_utc DESC, framing.id DESC",
        {"target": target, "train": train, "panel": panel},
    )
    return [
        Framing(
            target=row["name"],
            panel=row["panel"],
            train=row["train"],
            ra_deg=row["ra_deg"],
            dec_deg=row["dec_deg"],
            position_angle_deg=row["position_angle_deg"],
            image_up_angle_deg=row["image_up_angle_deg"],
            mirrored=bool(row["mirrored"]),
            recorded_utc=row["recorded_utc"],
        )
        for row in rows
    ]


def distinct_angles(framings: list[Framing]) -> tuple[float, ...]:
    """Position angles in their order, without those that repeat an earlier one."""
    angles: list[float] = []
    for framing in framings:
        one = framing.position_angle_deg
        gaps = (abs((one - other + 90.0) % 180.0 - 90.0) for other in angles)
        if all(gap > SAME_ANGLE_DEG for gap in gaps):
            angles.append(one)
    return tuple(angles)


def put_goal(
    connection: sqlite3.Connection, target: str, filter_name: str, hours: float | None
) -> None:
    """Set the hours wanted of a filter; none takes the goal away."""
    row = target_id(connection, target)
    if hours is None:
        connection.execute(
            "DELETE FROM goal WHERE target_id = ? AND filter = ?", (row, filter_name)
        )
        return
    if not 0.0 < hours <= 1000.0:
        raise InputError("goal", f"{target} {filter_name}", hours, "hours above 0 to 1000")
    connection.execute(
        "INSERT INTO goal VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET hours = excluded.hours",
        (row, filter_name, hours),
    )


def find_goals(
    connection: sqlite3.Connection, target: str | None = None
) -> dict[str, dict[str, float]]:
    """Hours wanted by target and filter."""
    rows = connection.execute(
        "SELECT target.name, filter, hours FROM goal JOIN target ON target.id = target_id "
        "WHERE (:target IS NULL OR target.name = :target) ORDER BY target.name, filter",
        {"target": target},
    )
    found: dict[str, dict[str, float]] = {}
    for row in rows:
        found.setdefault(row["name"], {})[row["filter"]] = row["hours"]
    return found


def add_rotator_solution(connection: sqlite3.Connection, solution: RotatorSolution) -> None:
    """Store a solution with its reading."""
    connection.execute(
        "INSERT INTO rotator_solution (night_id, train, reading_deg, image_up_angle_deg, "
        "position_angle_deg, mirrored, pier, recorded_utc) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (
            night_id(connection, solution.evening),
            solution.train,
            solution.reading_deg,
            solution.image_up_angle_deg,
            solution.position_angle_deg,
            int(solution.mirrored),
            solution.pier,
            solution.recorded_utc or now_iso(),
        ),
    )


def find_rotator_solutions(
    connection: sqlite3.Connection, evening: datetime.date | None, train: str
) -> list[RotatorSolution]:
    """Solutions of one train and one evening, or every one, newest first."""
    rows = connection.execute(
        "SELECT night.evening, rotator_solution.* FROM rotator_solution "
        "JOIN night ON night.id = night_id "
        "WHERE (:evening IS NULL OR evening = :evening) AND train = :train "
        "ORDER BY evening DESC, recorded_utc DESC, rotator_solution.id DESC",
        {"evening": None if evening is None else evening.isoformat(), "train": train},
    )
    return [
        RotatorSolution(
            evening=datetime.date.fromisoformat(row["evening"]),
            train=train,
            reading_deg=row["reading_deg"],
            position_angle_deg=row["position_angle_deg"],
            image_up_angle_deg=row["image_up_angle_deg"],
            mirrored=bool(row["mirrored"]),
            pier=row["pier"],
            recorded_utc=row["recorded_utc"],
        )
        for row in rows
    ]
