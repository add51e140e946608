"""The journal: what was framed, wanted and gathered, night after night, in one file.

It lies beside the configuration file, and keeps the rows of each rig apart. Reading it never
makes it and never changes it.

    with Journal.of(config, writable=True) as journal:
        journal.record_framing("M 31", 1, "reducer", 10.68, 41.27, 35.0, 305.0, False)

    journal = Journal.of(config)
    hours = 0.0 if journal is None else journal.gathered("M 31", "L")
"""

from __future__ import annotations

import datetime
import os
import sqlite3
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Self, overload

from nightplan.errors import InputError, NightplanError
from nightplan.journal.database import explained, open_readonly, open_writable, transaction
from nightplan.journal.records import (
    CalibrationFrame,
    Equivalent,
    Framing,
    Gathered,
    Recorded,
    RotatorSolution,
    Sub,
    check_verdict,
    gathered_sums,
)
from nightplan.journal.rigs import NO_RIG, RigMark, rig_key, rig_mark, same_sensor
from nightplan.journal.schema import FILE_NAME, stored_version
from nightplan.journal.tables import (
    MOST_GOAL_H,
    Row,
    insert_row,
    read_rows,
    update_row,
)
from nightplan.model.wishes import FramingWish
from nightplan.sky.times import mjd_from_iso, now_iso_ms

if TYPE_CHECKING:
    from nightplan.model.config import Config

SAME_ANGLE_DEG = 0.01
"""Stored angles closer than this count as one."""


class Journal:
    """An open journal; close it, or use it as a context manager.

    Every `record_...`, `set_...`, `judge_...` call is one transaction: when it returns, what it
    stored is on the disk. It raises `FileError` where the file cannot be read or written or a row
    of it is not as it was written, and `InputError` for a value outside its range.
    """

    def __init__(
        self, path: Path, connection: sqlite3.Connection, writable: bool, mark: RigMark = NO_RIG
    ) -> None:
        self.path = path
        self.writable = writable
        self._connection = connection
        self._read: dict[str, tuple[object, list[Row]]] = {}
        self._mark, self._mark_is_kept = mark, False
        self.rig = rig_key([row.values for row in self._rows("rig_train")], mark)

    @overload
    @classmethod
    def of(cls, config: Config, writable: Literal[True]) -> Journal: ...

    @overload
    @classmethod
    def of(cls, config: Config, writable: bool = False) -> Journal | None: ...

    @classmethod
    def of(cls, config: Config, writable: bool = False) -> Journal | None:
        """The journal beside a configuration, for the rows of its rig; otherwise as `open`."""
        return cls.open(config.folder, writable, rig_mark(config))

    @classmethod
    def open(
        cls, config_folder: str | os.PathLike[str], writable: bool = False, mark: RigMark = NO_RIG
    ) -> Journal | None:
        """Open the journal of a configuration's folder for the rows of one rig.

        Returns none for reading where there is none yet; for writing it is made. Raises FileError
        (the file is damaged, no journal, from a newer program, or cannot be opened; it is left as
        it is).
        """
        # SQLite follows links itself, but looks for its log beside what they point to.
        path = Path(os.path.realpath(Path(config_folder) / FILE_NAME))
        if writable:
            return cls(path, open_writable(path), True, mark)
        if not path.exists():
            return None
        connection = open_readonly(path)
        if stored_version(connection, path) == 0:
            connection.close()
            return None
        return cls(path, connection, False, mark)

    def close(self) -> None:
        """Close the file; the journal cannot be used after it."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def _writing(self) -> sqlite3.Connection:
        if not self.writable:
            raise NightplanError(f"{self.path}: was opened for reading")
        return self._connection

    def _rows(self, table: str) -> list[Row]:
        """All rows of a table, checked; read again only after something was written."""
        try:
            state = (
                self._connection.execute("PRAGMA data_version").fetchone()[0],
                self._connection.total_changes,
            )
            known = self._read.get(table)
            if known is None or known[0] != state:
                known = state, read_rows(self._connection, self.path, table)
                self._read[table] = known
        except sqlite3.Error as error:
            raise explained(self.path, error) from error
        return known[1]

    def _records(self, table: str) -> list[Any]:
        """Records of a table; of one that knows rigs, those of the rig in use."""
        return [
            row.record for row in self._rows(table) if row.values.get("rig", self.rig) == self.rig
        ]

    def _insert(self, table: str, values: Mapping[str, Any]) -> bool:
        """Store a row of the rig in use; the first keeps what the rig's trains see."""
        connection = self._writing()
        if not self._mark_is_kept:
            known = {(row.values["rig"], row.values["train"]) for row in self._rows("rig_train")}
            for row in self._mark.rows(self.rig):
                if (self.rig, row["train"]) not in known:
                    insert_row(connection, "rig_train", row)
            self._mark_is_kept = True
        return insert_row(connection, table, {**values, "rig": self.rig})

    def record_framing(
        self,
        target: str,
        panel: int,
        train: str,
        ra_deg: float,
        dec_deg: float,
        position_angle_deg: float,
        image_up_angle_deg: float,
        mirrored: bool,
    ) -> None:
        """Store a framing (ICRS, at the panel's centre); it becomes the one in force."""
        angles_deg = (position_angle_deg, image_up_angle_deg)
        place = (target, panel, train, ra_deg, dec_deg)
        framing = Framing(*place, *angles_deg, mirrored, now_iso_ms())
        connection = self._writing()
        with transaction(connection, self.path):
            self._insert("framing", asdict(framing))

    def framing(self, target: str, train: str | None = None, panel: int = 1) -> Framing | None:
        """The framing in force; with no train, the newest of any."""
        of_panel = (one for one in self.framings(target) if one.panel == panel)
        return next((one for one in of_panel if train in (None, one.train)), None)

    def framings(self, target: str | None = None) -> list[Framing]:
        """All framings, newest first."""
        found = [one for one in reversed(self._records("framing")) if _is(one.target, target)]
        return sorted(found, key=lambda one: mjd_from_iso(one.recorded_utc), reverse=True)

    def used_angles(self, target: str, train: str) -> tuple[float, ...]:
        """Position angles that were used for a target and train, newest first, each once."""
        angles: list[float] = []
        for framing in self.framings(target):
            angle = framing.position_angle_deg
            gaps = (abs((angle - other + 90.0) % 180.0 - 90.0) for other in angles)
            if framing.train == train and all(gap > SAME_ANGLE_DEG for gap in gaps):
                angles.append(angle)
        return tuple(angles)

    def set_goals(self, target: str, hours: Mapping[str, float | None]) -> None:
        """Set the equivalent hours wanted by filter, all or none; None takes one away."""
        connection = self._writing()
        with transaction(connection, self.path):
            stored = {
                row.values["filter"]: row.number
                for row in self._rows("goal")
                if _is(row.values["target"], target)
            }
            for name, wanted in hours.items():
                if wanted is not None and not 0.0 < wanted <= MOST_GOAL_H:
                    raise InputError(
                        "goal", f"{target} {name}", wanted, f"hours above 0 to {MOST_GOAL_H:g}"
                    )
                goal = {"target": target, "filter": name, "hours": wanted}
                if wanted is None:
                    connection.execute("DELETE FROM goal WHERE rowid = ?", (stored.get(name),))
                elif name in stored:
                    update_row(connection, "goal", stored[name], goal)
                else:
                    insert_row(connection, "goal", goal)

    def goals(self, target: str | None = None) -> dict[str, dict[str, float]]:
        """Equivalent hours wanted, by target and filter."""
        found: dict[str, dict[str, float]] = {}
        for goal in sorted(self._records("goal"), key=lambda one: (one["target"], one["filter"])):
            if _is(goal["target"], target):
                found.setdefault(goal["target"], {})[goal["filter"]] = goal["hours"]
        return found

    def record_subs(self, new: Iterable[Sub]) -> Recorded:
        """Store subs, all or none; a sub that is known already is left as it is."""
        return self._record_identified("sub", new)

    def _record_identified(self, table: str, new: Iterable[Sub | CalibrationFrame]) -> Recorded:
        added: list[str] = []
        known: list[str] = []
        connection = self._writing()
        with transaction(connection, self.path):
            for one in new:
                is_new = self._insert(table, vars(one))
                (added if is_new else known).append(one.identity)
        return Recorded(tuple(added), tuple(known))

    def judge_subs(
        self,
        identities: Iterable[str],
        *,
        accepted: bool = True,
        reason: str = "",
        weight: float = 1.0,
        rejected_too: bool = True,
    ) -> int:
        """Accept, reject (with a reason) or weigh stored subs; returns how many took it.

        With `rejected_too` false a rejection of before stands.
        """
        check_verdict(accepted, reason, weight)
        verdict = {"accepted": accepted, "reason": reason, "weight": weight}
        wanted = set(identities)
        return self._change_subs(
            lambda sub: (
                verdict if sub.identity in wanted and (sub.accepted or rejected_too) else None
            )
        )

    def set_equivalents(self, seconds: Mapping[str, Equivalent]) -> int:
        """Store equivalent seconds by sub identity; returns how many subs took one."""
        return self._change_subs(
            lambda sub: seconds[sub.identity]._asdict() if sub.identity in seconds else None
        )

    def _change_subs(self, changes: Any) -> int:
        """Change the fields that `changes` gives for a sub, if it gives any."""
        connection = self._writing()
        count = 0
        with transaction(connection, self.path):
            for row in self._rows("sub"):
                fields = changes(row.record)
                if fields is not None:
                    update_row(connection, "sub", row.number, vars(replace(row.record, **fields)))
                    count += 1
        return count

    def subs(
        self,
        target: str | None = None,
        evening: datetime.date | None = None,
        *,
        without_equivalent: bool = False,
    ) -> list[Sub]:
        """Subs in order of time."""
        found = [
            sub
            for sub in self._records("sub")
            if _is(sub.target, target)
            and evening in (None, sub.evening)
            and (sub.equivalent_s is None or not without_equivalent)
        ]
        return sorted(found, key=lambda sub: sub.start_utc_mjd)

    def gathered(self, target: str, filter_name: str, train: str | None = None) -> float:
        """Hours that count toward the goal: accepted subs, weight × equivalent seconds.

        Where the equivalent was not computed the exposure stands in. With a train, subs whose
        train is not known count too.
        """
        return sum(
            row.hours
            for row in self.gathered_table()
            if _is(row.target, target)
            and row.filter == filter_name
            and (train is None or row.train in (None, train))
        )

    def gathered_table(self, is_short: Callable[[Sub], bool] = lambda sub: False) -> list[Gathered]:
        """Sums by target, filter and train; apart those of the short sets that `is_short` tells."""
        return gathered_sums(self._records("sub"), is_short)

    def record_calibration(self, frames: Iterable[CalibrationFrame]) -> Recorded:
        """Store calibration frames, all or none."""
        return self._record_identified("calibration_frame", frames)

    def calibration_frames(self) -> list[CalibrationFrame]:
        """Calibration frames in order of time: flats of the rig, and what is the camera's alone
        (darks, bias) of every rig with the same sensor."""
        rigs = same_sensor([row.values for row in self._rows("rig_train")], self.rig, self._mark)
        found = [
            row.record
            for row in self._rows("calibration_frame")
            if row.record.rig == self.rig or (row.record.kind != "flat" and row.record.rig in rigs)
        ]
        return sorted(found, key=lambda frame: frame.start_utc_mjd)

    def record_tear_down(self, utc_mjd: float | None = None) -> None:
        """Note that the camera came off (now, or at a moment): flats are stale after it."""
        moment = mjd_from_iso(now_iso_ms()) if utc_mjd is None else utc_mjd
        connection = self._writing()
        with transaction(connection, self.path):
            self._insert("tear_down", {"utc_mjd": moment})

    def last_tear_down(self) -> float | None:
        """UTC MJD of the latest tear-down."""
        return max((one["utc_mjd"] for one in self._records("tear_down")), default=None)

    def record_rotator_solution(self, solution: RotatorSolution) -> None:
        """Store a plate solution with the rotator's reading."""
        kept = replace(solution, recorded_utc=solution.recorded_utc or now_iso_ms())
        connection = self._writing()
        with transaction(connection, self.path):
            self._insert("rotator_solution", vars(kept))

    def rotator_solutions(self, evening: datetime.date | None, train: str) -> list[RotatorSolution]:
        """Solutions of one train and one evening (none: every one), newest first."""
        found = [
            one
            for one in reversed(self._records("rotator_solution"))
            if one.train == train and evening in (None, one.evening)
        ]
        return sorted(
            found, key=lambda one: (one.evening, mjd_from_iso(one.recorded_utc)), reverse=True
        )

    def known_identities(self) -> set[str]:
        """Identities of all subs and calibration frames, whatever the rig."""
        rows = self._rows("sub") + self._rows("calibration_frame")
        return {row.record.identity for row in rows}

    def other_rigs(self) -> list[str]:
        """Other rigs of which the journal holds subs or framings."""
        rows = self._rows("sub") + self._rows("framing")
        return sorted({row.record.rig for row in rows} - {self.rig})

    def set_composition(self, target: str, wish: FramingWish | None) -> None:
        """Keep how the imager wants a target framed, in the place of before; none forgets it."""
        connection = self._writing()
        with transaction(connection, self.path):
            for row in self._rows("composition"):
                if row.values["rig"] == self.rig and _is(row.values["target"], target):
                    connection.execute("DELETE FROM composition WHERE rowid = ?", (row.number,))
            if wish is not None:
                ra_deg, dec_deg = wish.centre_deg or (None, None)
                kept = wish.model_dump(include={"position_angle_deg", "panels", "train"})
                kept |= {"ra_deg": ra_deg, "dec_deg": dec_deg, "with_targets": wish.with_targets}
                self._insert("composition", {**kept, "target": target})

    def compositions(self) -> dict[str, FramingWish]:
        """How the imager wants targets framed, by target."""
        return {
            one["target"]: FramingWish(
                centre_deg=None if one["ra_deg"] is None else (one["ra_deg"], one["dec_deg"]),
                panels=one["panels"],
                position_angle_deg=one["position_angle_deg"],
                train=one["train"],
                with_targets=one["with_targets"],
            )
            for one in self._records("composition")
        }


def _is(name: str, wanted: str | None) -> bool:
    return wanted is None or name.casefold() == wanted.casefold()
