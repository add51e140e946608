"""The journal: what was framed, wanted and gathered, night after night, in one file.

It lies beside the configuration file. Reading it never makes it and never changes it.

    with Journal.open(config.folder, writable=True) as journal:
        journal.record_framing("M 31", 1, "reducer", 10.68, 41.27, 35.0, 305.0, False)

    journal = Journal.open(config.folder)
    hours = 0.0 if journal is None else journal.gathered("M 31", "L")
"""

from __future__ import annotations

import datetime
import os
import sqlite3
from collections.abc import Iterable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Literal, Self, overload

import nightplan.journal.framings as framing_rows
import nightplan.journal.subs as sub_rows
from nightplan.errors import NightplanError
from nightplan.journal.database import open_readonly, open_writable, transaction
from nightplan.journal.migrations import stored_version
from nightplan.journal.records import (
    CalibrationFrame,
    Framing,
    Gathered,
    Recorded,
    RotatorSolution,
    Sub,
)
from nightplan.journal.schema import FILE_NAME


class Journal:
    """An open journal; close it, or use it as a context manager.

    Every `record_...`, `set_...`, `judge_...` call is one transaction: when it returns, what it
    stored is on the disk. It raises `FileError` where the file cannot be read or written, and
    `InputError` for a value outside its range.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, writable: bool) -> None:
        self.path = path
        self.writable = writable
        self._connection = connection

    @overload
    @classmethod
    def open(cls, config_folder: str | os.PathLike[str], writable: Literal[True]) -> Journal: ...

    @overload
    @classmethod
    def open(
        cls, config_folder: str | os.PathLike[str], writable: bool = False
    ) -> Journal | None: ...

    @classmethod
    def open(cls, config_folder: str | os.PathLike[str], writable: bool = False) -> Journal | None:
        """Open the journal of a configuration's folder.

        Returns none for reading where there is none yet; for writing it is made.

        Raises
        ------
        FileError
            The file is damaged, no journal, from a newer program, or cannot be opened; it is
            left as it is.
        """
        path = Path(config_folder) / FILE_NAME
        if writable:
            return cls(path, open_writable(path), True)
        if not path.exists():
            return None
        connection = open_readonly(path)
        if stored_version(connection) == 0:
            connection.close()
            return None
        return cls(path, connection, False)

    def close(self) -> None:
        """Close the file; the journal cannot be used after it."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _writing(self) -> sqlite3.Connection:
        if not self.writable:
            raise NightplanError(f"{self.path}: was opened for reading")
        return self._connection

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
        framing = Framing(
            target, panel, train, ra_deg, dec_deg, position_angle_deg, image_up_angle_deg, mirrored
        )
        connection = self._writing()
        with transaction(connection, self.path):
            framing_rows.add_framing(connection, framing)

    def framing(self, target: str, train: str | None = None, panel: int = 1) -> Framing | None:
        """The framing in force; with no train, the newest of any."""
        found = framing_rows.find_framings(self._connection, target, train, panel)
        return found[0] if found else None

    def framings(self, target: str | None = None) -> list[Framing]:
        """All framings, newest first."""
        return framing_rows.find_framings(self._connection, target)

    def used_angles(self, target: str, train: str) -> tuple[float, ...]:
        """Position angles that were used for a target and train, newest first, each once."""
        return framing_rows.distinct_angles(
            framing_rows.find_framings(self._connection, target, train)
        )

    def set_goals(self, target: str, hours: Mapping[str, float | None]) -> None:
        """Set the equivalent hours wanted by filter, all or none; None takes one away."""
        connection = self._writing()
        with transaction(connection, self.path):
            for filter_name, wanted in hours.items():
                framing_rows.put_goal(connection, target, filter_name, wanted)

    def goals(self, target: str | None = None) -> dict[str, dict[str, float]]:
        """Equivalent hours wanted, by target and filter."""
        return framing_rows.find_goals(self._connection, target)

    def record_subs(self, new: Iterable[Sub]) -> Recorded:
        """Store subs, all or none; a sub that is known already is left as it is."""
        connection = self._writing()
        with transaction(connection, self.path):
            return sub_rows.add_subs(connection, new)

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
        connection = self._writing()
        with transaction(connection, self.path):
            return sub_rows.judge(connection, identities, accepted, reason, weight, rejected_too)

    def set_equivalents(self, seconds: Mapping[str, float]) -> int:
        """Store equivalent seconds by sub identity; returns how many subs took one."""
        connection = self._writing()
        with transaction(connection, self.path):
            return sub_rows.put_equivalents(connection, seconds)

    def subs(
        self,
        target: str | None = None,
        evening: datetime.date | None = None,
        *,
        without_equivalent: bool = False,
    ) -> list[Sub]:
        """Subs in order of time."""
        return sub_rows.find_subs(
            self._connection, target, evening, without_equivalent=without_equivalent
        )

    def gathered(self, target: str, filter_name: str, train: str | None = None) -> float:
        """Hours that count toward the goal: accepted subs, weight × equivalent seconds.

        Where the equivalent was not computed the exposure stands in. With a train, subs whose
        train is not known count too.
        """
        return sub_rows.sum_gathered(self._connection, target, filter_name, train)

    def gathered_table(self) -> list[Gathered]:
        """Sums by target, filter and train."""
        return sub_rows.gathered_rows(self._connection)

    def gathered_by_filter(self, target: str, train: str | None = None) -> dict[str, float]:
        """Hours that count, by filter."""
        hours: dict[str, float] = {}
        for row in self.gathered_table():
            if row.target.casefold() != target.casefold():
                continue
            if train is None or row.train in (None, train):
                hours[row.filter] = hours.get(row.filter, 0.0) + row.hours
        return hours

    def record_calibration(self, frames: Iterable[CalibrationFrame]) -> Recorded:
        """Store calibration frames, all or none."""
        connection = self._writing()
        with transaction(connection, self.path):
            return sub_rows.add_calibration(connection, frames)

    def calibration_frames(self) -> list[CalibrationFrame]:
        """All calibration frames in order of time."""
        return sub_rows.find_calibration(self._connection)

    def record_tear_down(self, utc_mjd: float | None = None) -> None:
        """Note that the camera came off (now, or at a moment): flats are stale after it."""
        connection = self._writing()
        with transaction(connection, self.path):
            sub_rows.add_tear_down(connection, utc_mjd)

    def last_tear_down(self) -> float | None:
        """UTC MJD of the latest tear-down."""
        return sub_rows.last_tear_down(self._connection)

    def record_rotator_solution(self, solution: RotatorSolution) -> None:
        """Store a plate solution with the rotator's reading."""
        connection = self._writing()
        with transaction(connection, self.path):
            framing_rows.add_rotator_solution(connection, solution)

    def rotator_solutions(self, evening: datetime.date | None, train: str) -> list[RotatorSolution]:
        """Solutions of one train and one evening (none: every one), newest first."""
        return framing_rows.find_rotator_solutions(self._connection, evening, train)

    def known_identities(self) -> set[str]:
        """Identities of all subs and calibration frames."""
        return sub_rows.known_identities(self._connection)
