"""Subs and calibration frames in the journal's tables, and what they add up to."""

from __future__ import annotations

import datetime
import sqlite3
from collections.abc import Iterable, Mapping

from nightplan.journal.framings import night_id, target_id
from nightplan.journal.records import (
    CalibrationFrame,
    Gathered,
    Recorded,
    Sub,
    check_verdict,
)
from nightplan.journal.times import iso_from_mjd, mjd_from_iso, now_iso

COUNTED_S = "accepted * weight * coalesce(equivalent_s, exposure_s)"
"""SQL for the seconds of a sub that count: as `Sub.counted_s`."""


def add_subs(connection: sqlite3.Connection, subs: Iterable[Sub]) -> Recorded:
    """Store subs; those whose identity is there already change nothing."""
    added: list[str] = []
    known: list[str] = []
    for sub in subs:
        done = connection.execute(
            "INSERT INTO sub (identity, target_id, night_id, panel, filter, train, start_utc, "
            "exposure_s, gain, sensor_temperature_c, image_up_angle_deg, accepted, reason, weight, "
            "equivalent_s, file) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) "
            "ON CONFLICT (identity) DO NOTHING",
            (
                sub.identity,
                target_id(connection, sub.target),
                night_id(connection, sub.evening),
                sub.panel,
                sub.filter,
                sub.train,
                iso_from_mjd(sub.start_utc_mjd),
                sub.exposure_s,
                sub.gain,
                sub.sensor_temperature_c,
                sub.image_up_angle_deg,
                int(sub.accepted),
                sub.reason,
                sub.weight,
                sub.equivalent_s,
                sub.file,
            ),
        )
        (added if done.rowcount else known).append(sub.identity)
    return Recorded(tuple(added), tuple(known))


def judge(
    connection: sqlite3.Connection,
    identities: Iterable[str],
    accepted: bool,
    reason: str,
    weight: float,
    rejected_too: bool = True,
) -> int:
    """Give stored subs another verdict; returns how many took it.

    `rejected_too` false leaves those as they are that were rejected before.
    """
    check_verdict(accepted, reason, weight)
    changed = 0
    for identity in identities:
        changed += connection.execute(
            "UPDATE sub SET accepted = ?, reason = ?, weight = ? "
            "WHERE identity = ? AND (accepted OR ?)",
            (int(accepted), reason, weight, identity, int(rejected_too)),
        ).rowcount
    return changed


def put_equivalents(connection: sqlite3.Connection, seconds: Mapping[str, float]) -> int:
    """Store computed equivalent seconds by identity; returns how many subs took one."""
    changed = 0
    for identity, value in seconds.items():
        changed += connection.execute(
            "UPDATE sub SET equivalent_s = ? WHERE identity = ?", (value, identity)
        ).rowcount
    return changed


def find_subs(
    connection: sqlite3.Connection,
    target: str | None = None,
    evening: datetime.date | None = None,
    *,
    without_equivalent: bool = False,
) -> list[Sub]:
    """Subs in order of time."""
    rows = connection.execute(
        "SELECT target.name, night.evening, sub.* FROM sub "
        "JOIN target ON target.id = target_id JOIN night ON night.id = night_id "
        "WHERE (:target IS NULL OR target.name = :target) "
        "AND (:evening IS NULL OR evening = :evening) "
        "AND (:all OR equivalent_s IS NULL) ORDER BY start_utc, sub.id",
        {
            "target": target,
            "evening": None if evening is None else evening.isoformat(),
            "all": int(not without_equivalent),
        },
    )
    return [
        Sub(
            identity=row["identity"],
            target=row["name"],
            filter=row["filter"],
            evening=datetime.date.fromisoformat(row["evening"]),
            start_utc_mjd=mjd_from_iso(row["start_utc"]),
            exposure_s=row["exposure_s"],
            train=row["train"],
            panel=row["panel"],
            gain=row["gain"],
            sensor_temperature_c=row["sensor_temperature_c"],
            image_up_angle_deg=row["image_up_angle_deg"],
            accepted=bool(row["accepted"]),
            reason=row["reason"],
            weight=row["weight"],
            equivalent_s=row["equivalent_s"],
            file=row["file"],
        )
        for row in rows
    ]


def known_identities(connection: sqlite3.Connection) -> set[str]:
    """Identities of all subs and calibration frames."""
    rows = connection.execute(
        "SELECT identity FROM sub UNION ALL SELECT identity FROM calibration_frame"
    )
    return {row["identity"] for row in rows}


def sum_gathered(
    connection: sqlite3.Connection, target: str, filter_name: str, train: str | None
) -> float:
    """Hours of accepted subs that count; with a train, those taken with it or with none known."""
    row = connection.execute(
        f"SELECT total({COUNTED_S}) / 3600.0 AS hours FROM sub "
        "JOIN target ON target.id = target_id WHERE target.name = :target AND filter = :filter "
        "AND (:train IS NULL OR train IS NULL OR train = :train)",
        {"target": target, "filter": filter_name, "train": train},
    ).fetchone()
    return float(row["hours"])


def gathered_rows(connection: sqlite3.Connection) -> list[Gathered]:
    """Sums by target, filter and train, in that order."""
    rows = connection.execute(
        f"SELECT target.name, filter, train, sum(accepted) AS accepted, "
        f"sum(1 - accepted) AS rejected, total(accepted * exposure_s) / 3600.0 AS clock, "
        f"total({COUNTED_S}) / 3600.0 AS hours FROM sub JOIN target ON target.id = target_id "
        "GROUP BY target.name, filter, train ORDER BY target.name, filter, train"
    )
    return [
        Gathered(
            target=row["name"],
            filter=row["filter"],
            train=row["train"],
            accepted_subs=row["accepted"],
            rejected_subs=row["rejected"],
            clock_hours=row["clock"],
            hours=row["hours"],
        )
        for row in rows
    ]


def add_calibration(connection: sqlite3.Connection, frames: Iterable[CalibrationFrame]) -> Recorded:
    """Store calibration frames; those whose identity is there already change nothing."""
    added: list[str] = []
    known: list[str] = []
    for frame in frames:
        done = connection.execute(
            "INSERT INTO calibration_frame (identity, night_id, kind, filter, train, "
            "position_angle_deg, gain, exposure_s, sensor_temperature_c, start_utc, file) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (identity) DO NOTHING",
            (
                frame.identity,
                night_id(connection, frame.evening),
                frame.kind,
                frame.filter,
                frame.train,
                frame.position_angle_deg,
                frame.gain,
                frame.exposure_s,
                frame.sensor_temperature_c,
                iso_from_mjd(frame.start_utc_mjd),
                frame.file,
            ),
        )
        (added if done.rowcount else known).append(frame.identity)
    return Recorded(tuple(added), tuple(known))


def find_calibration(connection: sqlite3.Connection) -> list[CalibrationFrame]:
    """All calibration frames in order of time."""
    rows = connection.execute(
        "SELECT evening, calibration_frame.* FROM calibration_frame "
        "JOIN night ON night.id = night_id ORDER BY start_utc, calibration_frame.id"
    )
    return [
        CalibrationFrame(
            identity=row["identity"],
            kind=row["kind"],
            evening=datetime.date.fromisoformat(row["evening"]),
            start_utc_mjd=mjd_from_iso(row["start_utc"]),
            exposure_s=row["exposure_s"],
            filter=row["filter"],
            train=row["train"],
            position_angle_deg=row["position_angle_deg"],
            gain=row["gain"],
            sensor_temperature_c=row["sensor_temperature_c"],
            file=row["file"],
        )
        for row in rows
    ]


def add_tear_down(connection: sqlite3.Connection, utc_mjd: float | None) -> None:
    """Note that the camera came off: flats taken before are stale from then on."""
    moment = now_iso() if utc_mjd is None else iso_from_mjd(utc_mjd)
    connection.execute("INSERT INTO tear_down (utc) VALUES (?)", (moment,))


def last_tear_down(connection: sqlite3.Connection) -> float | None:
    """UTC MJD of the latest tear-down; none if none was noted."""
    row = connection.execute("SELECT max(utc) AS utc FROM tear_down").fetchone()
    return None if row["utc"] is None else mjd_from_iso(row["utc"])
