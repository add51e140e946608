"""The documents of `nightplan collect`: what a folder gave the journal; how sound that is."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from nightplan.journal.checkup import Checked, Checkup
from nightplan.journal.fits_import import Collected, Frame
from nightplan.journal.records import Gathered, Sub
from nightplan.report.documents.base import Day, Document, To4, Utc

NEEDS_FILTER = ("light", "flat", "flat_dark")
NEEDS_TRAIN = ("light", "flat")
UNKNOWN_TRAIN = "focal_length_fits_no_train"


class FramePart(Document):
    """One exposure; what its kind does not have is null."""

    file: str
    kind: str
    evening: Day
    start_utc: Utc
    exposure_s: float
    target: str | None
    target_reason: str | None = None
    panel: int | None
    panel_reason: str | None = None
    filter: str | None
    filter_reason: str | None = None
    train: str | None
    train_reason: str | None = None


class SkippedPart(Document):
    """A file that was not taken, and why."""

    file: str
    reason: str


class GatheredPart(Document):
    """What the journal now holds of a target and filter, or of its short set."""

    target: str
    filter: str
    short_set: bool
    train: str | None
    train_reason: str | None = None
    accepted_subs: int
    rejected_subs: int
    clock_h: To4
    equivalent_h: To4


class CollectDocument(Document):
    """Every file of the folder, hidden ones apart, is in one of the three lists.

    `judged_again` counts known subs that took the verdict given with this call. `gathered` lists
    the targets that the folder touched; `equivalent_h` is what counts toward the goal.
    """

    folder: str
    added: list[FramePart]
    already_known: list[FramePart]
    skipped: list[SkippedPart]
    judged_again: int
    gathered: list[GatheredPart]
    notices: list[str]


def collect_document(
    folder: str,
    collected: Collected,
    gathered: Sequence[Gathered],
    notices: Sequence[str] = (),
) -> CollectDocument:
    """Put what came of a folder into its document."""
    touched = {
        one.target for one in (*collected.added, *collected.already_known) if isinstance(one, Sub)
    }
    return CollectDocument(
        folder=folder,
        added=[_frame(one) for one in collected.added],
        already_known=[_frame(one) for one in collected.already_known],
        skipped=[SkippedPart(file=file, reason=reason) for file, reason in collected.skipped],
        judged_again=collected.judged_again,
        gathered=[
            GatheredPart.of(
                row,
                train_reason=UNKNOWN_TRAIN if row.train is None else None,
                short_set=row.short,
                clock_h=row.clock_hours,
                equivalent_h=row.hours,
            )
            for row in gathered
            if row.target in touched
        ],
        notices=list(notices),
    )


def _frame(one: Frame) -> FramePart:
    light = one if isinstance(one, Sub) else None
    kind = "light" if isinstance(one, Sub) else one.kind
    not_light = None if light else "not_a_light"
    return FramePart.of(
        one,
        kind=kind,
        target=light.target if light else None,
        target_reason=not_light,
        panel=light.panel if light else None,
        panel_reason=not_light,
        filter_reason=_why(one.filter, kind in NEEDS_FILTER, "no_filter_of_the_wheel"),
        train_reason=_why(one.train, kind in NEEDS_TRAIN, UNKNOWN_TRAIN),
    )


def _why(value: str | None, needed: bool, unknown: str) -> str | None:
    """Why a frame has no such value; a dark or bias serves whatever the light came through."""
    if value is not None:
        return None
    return unknown if needed else "not_needed"


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
