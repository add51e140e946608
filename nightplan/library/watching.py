"""The loop of `nightplan follow`: wake when files come, look, say what is next, until morning."""

from __future__ import annotations

import datetime
import os
import re
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from nightplan.library.following import Follower, Step
from nightplan.sky.times import datetime_from_mjd, utc_iso

if TYPE_CHECKING:
    from astropy.units import Quantity

    from nightplan.library.inputs import AnyEvening
    from nightplan.library.planned import SheetStyle
    from nightplan.model.config import Config
    from nightplan.model.site import Site
    from nightplan.report.documents.review import FollowDocument

_PASSING = re.compile(r"^\S+( [+-]\d\d:\d\d)?  | \(in [^)]*\)|\. [^.]* behind")
SETTLE_S = 2.0
"""Between two looks at a file that may still be written."""
AFTER_WINDOW = datetime.timedelta(minutes=30)
"""How long the last files may come after the window."""


@dataclass(frozen=True)
class NightTime:
    """The time of the night: the computer's clock, or one that was set and runs faster."""

    began: datetime.datetime | None = None
    speed: float = 1.0
    real: float = field(default_factory=time.monotonic)

    @classmethod
    def rehearsed(
        cls, site: Site, evening: datetime.date, text: str | None, speed: float
    ) -> NightTime:
        """Begins at a time of the night as `--from` takes it; the computer's clock without one."""
        if text is None:
            return cls()
        from nightplan.planning.tonight.clock_time import moment_utc_mjd

        now = datetime.datetime.now(datetime.UTC)
        moment = moment_utc_mjd(text, site, evening, now, "at")
        return cls(datetime_from_mjd(moment), speed)

    def now(self) -> datetime.datetime:
        """The time, aware."""
        if self.began is None:
            return datetime.datetime.now(datetime.UTC)
        passed = (time.monotonic() - self.real) * self.speed
        return self.began + datetime.timedelta(seconds=passed)


class FolderEvents:
    """Waits until something happens in a folder, or a time is over.

    Shared folders often tell nothing; then, and where the system has no more watches to give, only
    the time wakes.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._happened = threading.Event()
        self._observer: Any = None

    def __enter__(self) -> Self:
        from watchdog.events import FileSystemEvent, FileSystemEventHandler
        from watchdog.observers import Observer

        happened = self._happened

        class Handler(FileSystemEventHandler):
            def on_any_event(self, event: FileSystemEvent) -> None:
                # Looking at a file is an event too, and would wake the loop that looks.
                if event.event_type not in ("opened", "closed_no_write"):
                    happened.set()

        observer = Observer()
        try:
            observer.schedule(Handler(), str(self._folder), recursive=True)
            observer.start()
        except OSError:
            return self
        self._observer = observer
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._observer is not None:
            self._observer.stop()
            self._observer.join()

    @property
    def happened(self) -> bool:
        """Whether something has happened that nobody waited for yet."""
        return self._happened.is_set()

    def wait(self, seconds: float) -> None:
        """Return when something has happened, or after so many seconds."""
        if self._happened.wait(seconds):
            self._happened.clear()


@dataclass
class Followed:
    """What came of following a night."""

    follower: Follower
    last: Step
    added: int = 0
    replans: int = 0
    stopped: bool = False

    @property
    def line(self) -> str:
        """Where the night stands and what is next."""
        from nightplan.report.texts.review_text import follow_line

        return follow_line(self.last.plan, self.last.standing, self.last.now_utc)

    @property
    def document(self) -> FollowDocument:
        """The JSON document of `nightplan follow`."""
        from nightplan.report.documents.review import FollowDocument, StandingRow
        from nightplan.sky.times import mjd_from_datetime

        stands = self.last.standing
        pairs = dict.fromkeys([*stands.planned, *stands.shot])
        foreign = [
            f"{count} subs of {target} {name} are not in the plan"
            for (target, name), count in stands.foreign.items()
        ]
        return FollowDocument(
            site=self.follower.config.site.name,
            date=self.follower.evening.isoformat(),
            now_utc=utc_iso(mjd_from_datetime(self.last.now_utc)),
            folder=str(self.follower.folder),
            plan_file=str(self.follower.plan_file),
            added=self.added,
            replans=self.replans,
            behind_min=round(stands.missing_min, 3),
            beyond_min=round(stands.beyond_min, 3),
            standing=[
                StandingRow(
                    target=pair[0],
                    filter=pair[1],
                    planned_subs=stands.planned.get(pair, 0),
                    shot_subs=stands.shot.get(pair, 0),
                )
                for pair in pairs
            ],
            line=self.line,
            notices=foreign + ([self.last.refused] if self.last.refused else []),
        )

    def __str__(self) -> str:
        end = "Stopped" if self.stopped else "Ended"
        return (
            f"{end}. {self.added} added to the journal, {self.replans} times planned anew; "
            f"the plan in force is in {self.follower.plan_file}."
        )


def follow_night(
    follower: Follower,
    clock: NightTime,
    tell: Callable[[str], None],
    *,
    every_s: float = 20.0,
    once: bool = False,
    stopped_by: tuple[type[BaseException], ...] = (KeyboardInterrupt,),
) -> Followed:
    """Look at the folder whenever something falls into it, until the window is over or Ctrl-C.

    Parameters
    ----------
    tell : callable
        Given each line: when subs came, when the next step begins, and when the rest of the night
        was planned anew.
    every_s : float
        The longest time between two looks, in seconds of the computer's clock.
    once : bool
        Take what is there now, and end.
    stopped_by : tuple of exceptions
        What ends the night early and in order: all that is known lies in files already.
    """
    from nightplan.report.texts.review_text import replan_line

    # What lies there at the beginning is taken at once, as far as it is whole.
    found = Followed(follower, follower.step(clock.now(), patient=False))
    files = [str(one) for one in (follower.plan_file, follower.sheet) if one is not None]
    told = ""
    step = found.last
    try:
        with FolderEvents(follower.folder) as events:
            while True:
                found.last = step
                found.added += step.added
                if step.replanned:
                    found.replans += 1
                    tell(replan_line(step.plan, step.lost_min, files))
                said = found.line
                # That time goes by is no news.
                news = _PASSING.sub("", said)
                if step.added or step.replanned or news != told:
                    tell(said)
                    told = news
                end = follower.ends_utc_mjd
                if once or end is None or step.now_utc > datetime_from_mjd(end) + AFTER_WINDOW:
                    while once and follower.better_sheet():
                        pass
                    return found
                looked = time.monotonic()
                while not events.happened and time.monotonic() - looked < every_s:
                    if not follower.better_sheet():
                        break
                events.wait(SETTLE_S if follower.unsettled else every_s)
                step = follower.step(clock.now())
    except stopped_by:
        found.stopped = True
        return found


def follow(
    config: Config,
    folder: str | os.PathLike[str],
    evening: AnyEvening = None,
    *,
    keep: str | os.PathLike[str] | None = None,
    save: str | os.PathLike[str] | None = None,
    sheet: str | os.PathLike[str] | None = None,
    style: SheetStyle = "red",
    quick: bool = False,
    behind: Quantity | str = "15 min",
    once: bool = False,
    tell: Callable[[str], None] = print,
) -> Followed:
    """Work through a night with the folder into which its subs fall; as `nightplan follow`.

    Parameters
    ----------
    config : Config
    folder : path
    evening : date, str, Time or None
        As of `night`.
    keep : path, optional
        The plan document to begin with.
    save : path, optional
        Where the plan in force is kept; by default beside the journal.
    sheet, style, quick
        The field sheet to write at the beginning and after each re-plan, as of `Planned.sheet`.
    behind : Quantity
        Lost shutter time from which the rest of the night is planned anew.
    once : bool
        Take what is there now, and end; else it ends with the window, or with Ctrl-C.
    tell : callable
        Given each line.

    Raises
    ------
    nightplan.errors.FileError
        The folder is missing, or a file cannot be read or written.
    nightplan.errors.InputError
        The plan is of another site, rig or night.
    """

    from nightplan.library.following import plan_file_of
    from nightplan.library.inputs import evening_of, value_in

    day = evening_of(config.site, evening)
    follower = Follower(
        config,
        Path(folder),
        day,
        plan_file_of(config, day) if save is None else Path(save),
        keep=None if keep is None else Path(keep),
        sheet=None if sheet is None else Path(sheet),
        style=style,
        quick=quick,
        behind_min=value_in("behind", behind, "min"),
    )
    return follow_night(follower, NightTime(), tell, once=once)
