"""What was shot, taken into the journal, what the journal holds, and whether it is sound."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from nightplan.errors import InputError
from nightplan.library.inputs import value_in
from nightplan.library.outputs import Answer, quantity, table_of

if TYPE_CHECKING:
    from astropy.table import QTable
    from astropy.units import Quantity

    from nightplan.model.config import Config
    from nightplan.report.documents.collect import CollectDocument, JournalCheckDocument


class Gathering(Answer):
    """What came of a folder; its files, hidden ones apart, are in the document's three lists."""

    def __init__(self, document: CollectDocument) -> None:
        self._document = document

    @property
    def document(self) -> CollectDocument:
        """The JSON document of `nightplan collect`."""
        return self._document

    @property
    def skipped(self) -> QTable:
        """Files that were not taken: `file`, `reason`."""
        rows = self._document.skipped
        return table_of(
            {"file": [row.file for row in rows], "reason": [row.reason for row in rows]}
        )

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.collect_text import collect_text

        return collect_text(self._document)


def collect(
    config: Config,
    folder: str | os.PathLike[str],
    *,
    target: str | None = None,
    panel: int | None = None,
    train: str | None = None,
    filter_name: str | None = None,
    reject: str | None = None,
    accept: bool = False,
    weight: float | None = None,
    assume_light: bool = False,
    angle: Quantity | str | None = None,
    torn_down: bool = False,
    on_step: Callable[[int, int], None] | None = None,
) -> Gathering:
    """Read FITS headers under a folder and store what is new; as `nightplan collect`.

    Each light counts for its worth: what an hour under its sky is worth in hours at the moonless
    zenith. The files are only read; the journal lies beside the configuration file.

    Parameters
    ----------
    config : Config
    folder : path
    target, panel, train, filter_name : optional
        Of all lights, whatever their headers say.
    reject : str, optional
        None of these lights counts, for this reason.
    accept : bool
        All of them count, known ones too.
    weight : float, optional
        They count in part, 0 to 1.
    assume_light : bool
        Read files without a usable IMAGETYP as lights.
    angle : Quantity, optional
        The camera's position angle, for flats.
    torn_down : bool
        The camera has come off since: flats are stale now.
    on_step : callable, optional
        Given the number of files read, and of all.

    Raises
    ------
    nightplan.errors.FileError
        The folder is missing, or the journal cannot be written.
    nightplan.errors.InputError, nightplan.errors.TargetError
        A train, filter or target does not exist, or verdicts contradict each other.
    """

    from nightplan.errors import InputError
    from nightplan.journal.fits_import import Instructions, Verdict
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.framing.camera_angle import check_position_angle
    from nightplan.planning.photons.sub_worth import collect_and_weigh
    from nightplan.report.documents.collect import collect_document

    if reject is not None and (accept or weight is not None):
        raise InputError("library", "reject", reject, "neither with accept nor with weight")
    told = Instructions(
        target=target,
        panel=panel,
        train=train,
        filter=filter_name,
        verdict=Verdict(
            accepted=reject is None,
            reason=reject or "",
            weight=1.0 if weight is None else weight,
            given=reject is not None or accept or weight is not None,
            overrule=accept,
        ),
        assume_light=assume_light,
        position_angle_deg=None
        if angle is None
        else check_position_angle(value_in("angle", angle, "deg")),
    )
    collected, table, notices = collect_and_weigh(
        config, catalog_for(config), Path(folder), told, on_step, torn_down=torn_down
    )
    return Gathering(collect_document(str(folder), collected, table, notices))


def collect_ticks(config: Config, file: str | os.PathLike[str]) -> Gathering:
    """Store what was ticked off on the field sheet; as `nightplan collect --ticks`.

    Ticks count as far as no files in the journal stand for their subs; a file that is collected
    later takes the place of a ticked sub.

    Raises
    ------
    nightplan.errors.FileError
        The file cannot be read or holds no ticks, or the journal cannot be written.
    nightplan.errors.InputError, nightplan.errors.TargetError
        The ticks are of another site or rig, or a value of them cannot be used.
    """
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.photons.sub_worth import collect_ticks as take
    from nightplan.report.documents.collect import collect_document

    collected, table, notices = take(config, catalog_for(config), Path(file))
    return Gathering(collect_document(str(file), collected, table, notices))


def gathered(config: Config) -> QTable:
    """What the journal beside the configuration holds, per target, filter and train, and apart
    the short sets for bright cores.

    Returns
    -------
    QTable
        `target`, `filter`, `short_set`, `train`, `accepted`, `rejected` (subs), `clock_time` and
        `equivalent_time` (what counts toward the goal). Empty without a journal.
    """

    from nightplan.journal import Journal
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.photons.sub_worth import gathered_sets

    rows = []
    stored = Journal.of(config)
    if stored is not None:
        with stored:
            rows = gathered_sets(config.with_all_filters, catalog_for(config), stored)
    return table_of(
        {
            "target": [row.target for row in rows],
            "filter": [row.filter for row in rows],
            "short_set": np.array([row.short for row in rows], dtype=bool),
            "train": [row.train for row in rows],
            "accepted": np.array([row.accepted_subs for row in rows], dtype=int),
            "rejected": np.array([row.rejected_subs for row in rows], dtype=int),
            "clock_time": quantity([row.clock_hours for row in rows], "h"),
            "equivalent_time": quantity([row.hours for row in rows], "h"),
        }
    )


class JournalCheck(Answer):
    """The journal with all its rows read, and its backups, newest first."""

    def __init__(self, document: JournalCheckDocument) -> None:
        self._document = document

    @property
    def sound(self) -> bool:
        """Whether every row is as it was written, or there is no journal yet."""
        return self._document.journal.state != "faulty"

    @property
    def document(self) -> JournalCheckDocument:
        """The JSON document of `nightplan collect --check`."""
        return self._document

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.collect_text import journal_check_text

        return journal_check_text(self._document)


def check_journal(config: Config, *, restore: bool = False, reseal: bool = False) -> JournalCheck:
    """Read every row of the journal and of its backups; as `nightplan collect --check`.

    Parameters
    ----------
    config : Config
    restore : bool
        Put the newest good backup in the place of a faulty or missing journal, which is kept
        under another name.
    reseal : bool
        Take the rows as they are, for a journal that was changed by hand on purpose; the journal
        of before is kept under another name.

    Raises
    ------
    nightplan.errors.NightplanError
        `restore` of a journal that is sound, or without a good backup.
    nightplan.errors.FileError
        A file cannot be written, or `reseal` of rows that cannot be read.
    nightplan.errors.InputError
        `restore` and `reseal` together.
    """
    from nightplan.journal import checkup
    from nightplan.journal.schema import FILE_NAME
    from nightplan.report.documents.collect import journal_check_document

    if restore and reseal:
        raise InputError("library", "reseal", reseal, "restore or reseal, not both")
    kept: Path | None = None
    backup: Path | None = None
    if restore:
        kept, backup = checkup.restore_newest_good(config.folder)
    elif reseal:
        kept, _ = checkup.seal_journal(config.folder)
    found = checkup.check_journal(config.folder)
    return JournalCheck(journal_check_document(config.folder / FILE_NAME, found, kept, backup))
