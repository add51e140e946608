"""Working through a night: what falls into a folder against the plan in force."""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nightplan.errors import InputError
from nightplan.library.asking import kept_plan
from nightplan.library.earlier import remembered
from nightplan.library.planned import Planned, SheetStyle, made_plan
from nightplan.planning.schedule.standing import Standing, standing
from nightplan.sky.times import mjd_from_datetime, mjd_from_iso

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config

BEHIND_MIN = 15.0
"""Lost shutter time from which the rest of the night is planned anew."""


@dataclass(frozen=True)
class Step:
    """What one look at the folder brought.

    `replanned` says that the plan in force is a new one; `refused` why it could not be, in words.
    """

    now_utc: datetime.datetime
    added: int
    skipped: dict[str, str]
    standing: Standing
    plan: dict[str, Any]
    replanned: bool = False
    lost_min: float = 0.0
    refused: str = ""


@dataclass
class Follower:
    """One night's plan, the folder into which its subs fall, and where the plan is kept.

    All that it knows lies in files: the subs in the journal, the plan in force in `plan_file`. So
    a new one goes on where another was ended.

    Parameters
    ----------
    config : Config
    folder : path
    evening : date
    plan_file : path
        Where the plan in force is kept; the plan is made and written if it is missing.
    keep : path, optional
        The plan to begin with, instead of that in `plan_file`.
    sheet : path, optional
        The field sheet to write, whole, at the beginning and after each re-plan.
    style, quick
        Of the sheet.
    behind_min : float
        Re-plan when more shutter time than this is missing.
    """

    config: Config
    folder: Path
    evening: datetime.date
    plan_file: Path
    keep: Path | None = None
    sheet: Path | None = None
    style: SheetStyle = "red"
    quick: bool = False
    behind_min: float = BEHIND_MIN
    say: Callable[[str], None] = lambda words: None
    _catalog: Catalog = field(init=False, repr=False)
    _seen: dict[str, tuple[int, int]] = field(init=False, repr=False, default_factory=dict)
    _growing: dict[str, tuple[int, int]] = field(init=False, repr=False, default_factory=dict)
    _answers: Iterator[dict[str, Any] | None] | None = field(init=False, repr=False, default=None)
    _losses: list[dict[str, Any]] = field(init=False, repr=False, default_factory=list)
    planned: Planned = field(init=False, repr=False)

    def __post_init__(self) -> None:
        from nightplan.model.own_targets import catalog_for

        self._catalog = catalog_for(self.config)
        self.planned = self._plan_in_force()
        if self.keep is not None or not self.plan_file.exists():
            self.planned.save(self.plan_file)
            self.planned.save(first_plan_file(self.plan_file))
        self._write_sheet()

    @property
    def ends_utc_mjd(self) -> float | None:
        """When the night's window ends; None for a night without one."""
        end = self.planned.document.window_end_utc
        return None if end is None else mjd_from_iso(end)

    @property
    def unsettled(self) -> bool:
        """Whether files are there that may still be written."""
        return bool(self._growing)

    def step(self, now_utc: datetime.datetime, *, patient: bool = True) -> Step:
        """Take new files into the journal, compare, and re-plan if too much is missing.

        Parameters
        ----------
        now_utc : datetime
            Aware.
        patient : bool
            Wait with a file until its size has been the same at two looks; else every file that
            is whole is taken at once.

        Raises
        ------
        nightplan.errors.FileError
            The folder is gone, or the journal, the plan or the sheet cannot be written.
        """
        added, skipped = self._take(patient)
        plan = self.planned.document.model_dump(mode="json")
        journal = remembered(self.config, without=self.evening)
        moment = mjd_from_datetime(now_utc)
        stands = standing(plan, journal.tonight, moment)
        lost = stands.missing_min
        end = self.ends_utc_mjd
        # What is being written now may be what is missing.
        early = self.unsettled or lost <= self.behind_min
        if early or end is None or moment >= end:
            return Step(now_utc, added, skipped, stands, plan)
        try:
            self._replan(moment, stands)
        except InputError as error:
            return Step(now_utc, added, skipped, stands, plan, refused=str(error))
        plan = self.planned.document.model_dump(mode="json")
        stands = standing(plan, journal.tonight, moment)
        return Step(now_utc, added, skipped, stands, plan, replanned=True, lost_min=lost)

    def _plan_in_force(self) -> Planned:
        from nightplan.files import read_text
        from nightplan.library.asking import asked_plan
        from nightplan.planning.schedule.plan_reading import read_plan_document

        source = self.keep or self.plan_file
        if not source.exists() and self.keep is None:
            self.say("plan of the night")
            return asked_plan(self.config, self.evening)
        kept = read_plan_document(str(source), read_text(source))
        if kept["date"] != self.evening.isoformat():
            raise InputError(str(source), "date", kept["date"], f"the night of {self.evening}")
        journal = remembered(self.config, without=self.evening)
        return kept_plan(journal.config, self.evening, self._catalog, kept, str(source))

    def _take(self, patient: bool) -> tuple[int, dict[str, str]]:
        """Collect the files that are new or have changed; how many subs were added, and what was
        skipped for what reason."""
        from nightplan.journal.fits_import import Instructions, fits_files
        from nightplan.planning.photons.sub_worth import collect_and_weigh

        looks: dict[str, tuple[int, int]] = {}
        for path in fits_files(self.folder)[0]:
            try:
                status = os.stat(path)
            except OSError:
                continue  # moved away between two looks
            looks[str(path)] = (status.st_size, status.st_mtime_ns)
        changed = {name: look for name, look in looks.items() if self._seen.get(name) != look}
        still = {name for name, look in changed.items() if self._growing.get(name) == look}
        ready = sorted(still if patient else changed)
        self._growing = {name: look for name, look in changed.items() if name not in ready}
        if not ready:
            return 0, {}
        collected, _, _ = collect_and_weigh(
            self.config,
            self._catalog,
            self.folder,
            Instructions(),
            only=[Path(name) for name in ready],
        )
        skipped = dict(collected.skipped)
        # What is still being written is looked at again when it has grown.
        self._seen |= {name: changed[name] for name in ready}
        return len(collected.added), skipped

    def _replan(self, moment: float, stands: Standing) -> None:
        from nightplan.planning.schedule.replan import Replan
        from nightplan.planning.tonight.limits import planned_night

        kept = self.planned.document.model_dump(mode="json")
        again = Replan(moment, kept, stands.done, source=str(self.plan_file))
        night = planned_night(self.config, self.evening)
        self.say("planning the rest of the night")
        self.planned = made_plan(self.config, self._catalog, night, again=again)
        self.planned.save(self.plan_file)
        self._write_sheet()

    def better_sheet(self) -> bool:
        """Solve one more of the sheet's answers to clouds, and write it with them when all are
        there. Returns whether more is to be done: the night goes on between two calls."""
        if self._answers is None:
            return False
        for answer in self._answers:
            if answer is not None:
                self._losses.append(answer)
            return True
        self._answers = None
        self._save_sheet()
        return False

    def _write_sheet(self) -> None:
        """At once without the answers to clouds, whose solving takes its time."""
        self._losses = []
        self._answers = None
        if self.sheet is not None:
            self._save_sheet()
            self._answers = None if self.quick else self._solved_beforehand()

    def _solved_beforehand(self) -> Iterator[dict[str, Any] | None]:
        from nightplan.library.losses import each_loss

        document = self.planned.document.model_dump(mode="json")
        journal = remembered(self.config, without=self.evening)
        return each_loss(self.planned.plan.night, self._catalog, journal, document)

    def _save_sheet(self) -> None:
        from nightplan.files import write_whole
        from nightplan.library.sheets import sheet_page

        assert self.sheet is not None
        losses = sorted(self._losses, key=lambda one: (one["start_utc"], one["minutes"]))
        html = sheet_page(
            self.planned.plan,
            self._catalog,
            self.planned.document.model_dump(mode="json"),
            remembered(self.config, without=self.evening),
            losses,
            style=self.style,
            kept_in=self.plan_file,
            on_step=self.say,
        )
        write_whole(self.sheet, html)


def plan_file_of(config: Config, evening: datetime.date) -> Path:
    """Where the plan in force of a night is kept unless told otherwise: beside the journal."""
    return config.folder / f"nightplan-{evening.isoformat()}.json"


def first_plan_file(plan_file: Path) -> Path:
    """Where the plan that a night began with is kept, for its review."""
    return plan_file.with_name(f"{plan_file.stem}-first{plan_file.suffix}")
