"""The document of `nightplan collect --check`: whether the journal and its backups are sound."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from nightplan.journal.checkup import Checked, Checkup
from nightplan.report.documents.base import Document

State = Literal["sound", "faulty", "missing"]


class JournalFilePart(Document):
    """The journal, or one of its backups."""

    file: str
    state: State
    rows: int
    subs: int
    fault: str
    taken_utc: str | None
    taken_utc_reason: str | None = None


class JournalCheckDocument(Document):
    """The journal with all its rows read, and its backups, newest first."""

    journal: JournalFilePart
    backups: list[JournalFilePart]
    newest_good: str | None
    newest_good_reason: str | None = None
    restored_from: str | None
    restored_from_reason: str | None = None
    kept: str | None
    kept_reason: str | None = None


def journal_check_document(
    path: Path, found: Checkup, kept: Path | None = None, restored_from: Path | None = None
) -> JournalCheckDocument:
    """Put a checkup into its document, with what was done about a fault before it."""
    good = found.newest_good
    nothing = JournalFilePart(
        file=str(path),
        state="missing",
        rows=0,
        subs=0,
        fault="",
        taken_utc=None,
        taken_utc_reason="no_backup",
    )
    return JournalCheckDocument(
        journal=nothing if found.journal is None else _part(found.journal),
        backups=[_part(one) for one in found.backups],
        newest_good=None if good is None else str(good.path),
        newest_good_reason="no_good_backup" if good is None else None,
        restored_from=None if restored_from is None else str(restored_from),
        restored_from_reason="nothing_restored" if restored_from is None else None,
        kept=None if kept is None else str(kept),
        kept_reason="nothing_replaced" if kept is None else None,
    )


def _part(one: Checked) -> JournalFilePart:
    taken = one.taken_utc
    return JournalFilePart(
        file=str(one.path),
        state="sound" if one.fault is None else "faulty",
        rows=one.rows,
        subs=one.subs,
        fault=one.fault or "",
        taken_utc=None if taken is None else taken.isoformat().replace("+00:00", "Z"),
        taken_utc_reason="no_backup" if taken is None else None,
    )
