"""The tables of the journal, version by version; `migrations.py` runs the steps."""

from __future__ import annotations

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
