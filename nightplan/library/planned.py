"""The night's plan, its re-plan, and the sheet to carry into the field."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

from nightplan.errors import InputError
from nightplan.library.earlier import Remembered, remembered
from nightplan.library.inputs import catalog_and_rows, listed, night_of, utc_mjd_of
from nightplan.library.nights import NightTimes
from nightplan.library.outputs import Pictured, quantity, table_of
from nightplan.library.plan_tables import (
    blocks_table,
    events_table,
    progress_table,
    targets_table,
)

if TYPE_CHECKING:
    from astroplan import Constraint
    from astropy.table import QTable
    from astropy.time import Time
    from matplotlib.figure import Figure

    from nightplan.library.inputs import AnyEvening, AnyTarget
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.planning.schedule.done import Done
    from nightplan.planning.schedule.replan import Replan
    from nightplan.planning.tonight.night import Night
    from nightplan.planning.tonights_plan.plan import NightPlan
    from nightplan.report.documents.plan import PlanDocument

SheetStyle = Literal["day", "red", "print"]


class Planned(Pictured):
    """One night's plan, in astropy objects.

    Attributes
    ----------
    plan : NightPlan
        The planner's own: framings, problem, solution.
    """

    def __init__(
        self,
        plan: NightPlan,
        catalog: Catalog,
        *,
        document: PlanDocument | None = None,
        remembered: Remembered | None = None,
        before: Mapping[str, Any] | None = None,
    ) -> None:
        self.plan = plan
        self._catalog = catalog
        self._document = document
        self._remembered = remembered
        self._before = before

    @property
    def night(self) -> NightTimes:
        """The night it is for."""
        return NightTimes(self.plan.night)

    @property
    def train(self) -> str:
        """The train that the night begins with; the only one unless a change is allowed."""
        return self.plan.train.train

    @property
    def train_reason(self) -> str:
        """Why that train."""
        return self.plan.train.reason

    @property
    def blocks(self) -> QTable:
        """Blocks in order: `target`, `panel`, `coord`, `position_angle`, `image_up_angle`,
        `train`, `filter`, `gain`, `start`, `end` (Time), `sub`, `count`, `why`."""
        return blocks_table(self.document)

    @property
    def events(self) -> QTable:
        """What lies between blocks: `kind`, `target`, `start`, `end` (Time)."""
        return events_table(self.document)

    @property
    def ledger(self) -> QTable:
        """Where the window goes: `kind`, `time`; the times sum to the window."""

        minutes = self.document.ledger
        return table_of({"kind": list(minutes), "time": quantity(list(minutes.values()), "min")})

    @property
    def progress(self) -> QTable:
        """Per target, panel and filter: `priority`, `goal`, `gathered`, `tonight` (equivalent
        time) and `tonight_clock`."""
        return progress_table(self.document)

    @property
    def targets(self) -> QTable:
        """Tonight's targets with their framing in the chosen train, and what the train costs."""
        return targets_table(self.plan)

    @property
    def objective(self) -> float:
        """Worth of the plan, hours: the sum of the value curves of `progress`, less changes."""
        return self.document.objective

    @property
    def bound(self) -> float:
        """What no plan for this night can be worth more than."""
        return self.document.bound

    @property
    def gap_percent(self) -> float:
        """100 (bound − objective) / bound."""
        return self.document.gap_percent

    @property
    def notices(self) -> tuple[str, ...]:
        """What a person should know."""
        return self.plan.notices

    @property
    def document(self) -> PlanDocument:
        """The JSON document of `nightplan plan`."""
        from nightplan.report.documents.plan import plan_document

        if self._document is None:
            self._document = plan_document(self.plan)
        return self._document

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.plan_text import plan_text

        return plan_text(self.document, full=full)

    def figure(self, *, style: str = "day", narrow: bool = False) -> Figure:
        """The altitude-and-moon plot as a matplotlib figure."""
        from nightplan.report.plots.altitude_plot import night_figure
        from nightplan.report.plots.plan_picture import picture_of_plan

        picture = picture_of_plan(self.plan, self.document.model_dump(mode="json"))
        return night_figure(picture, style=style, narrow=narrow)

    def sheet(
        self,
        *,
        style: SheetStyle = "day",
        kept_in: str | os.PathLike[str] | None = None,
        quick: bool = False,
        on_step: Callable[[str], None] | None = None,
    ) -> str:
        """The field sheet, one self-contained HTML document; as `nightplan sheet` writes.

        Parameters
        ----------
        kept_in : path, optional
            Where this plan is saved, for the command that re-plans it.
        quick : bool
            Leave out what to do after clouds, which takes most of the time.
        on_step : callable, optional
            Told in words what is being worked on.
        """
        from nightplan.library.losses import solved_losses
        from nightplan.library.sheets import sheet_page

        document = self.document.model_dump(mode="json")
        night = self.plan.night
        journal = self._remembered or remembered(self.plan.config, without=night.evening)
        losses: list[dict[str, Any]] = []
        if document["blocks"] and not quick:
            losses = solved_losses(night, self._catalog, journal, document, on_step=on_step)
        return sheet_page(
            self.plan,
            self._catalog,
            document,
            journal,
            losses,
            style=style,
            kept_in=kept_in,
            on_step=on_step,
        )

    def save_sheet(
        self, path: str | os.PathLike[str], *, style: SheetStyle = "day", quick: bool = False
    ) -> None:
        """Write the field sheet, one HTML file; as `nightplan sheet`. Arguments as of `sheet`.

        Raises
        ------
        nightplan.errors.FileError
            The file cannot be written.
        """
        from nightplan.files import write_whole

        write_whole(path, self.sheet(style=style, quick=quick))

    def save(self, path: str | os.PathLike[str]) -> None:
        """Write the plan's JSON document, whole or not at all; as `nightplan plan --save`.

        Raises
        ------
        nightplan.errors.FileError
            The file cannot be written.
        """
        from nightplan.files import write_whole

        write_whole(path, self.document.to_json())

    def save_export(self, path: str | os.PathLike[str]) -> None:
        """Write the night as a calendar (.ics), a table (.csv) or .json.

        Raises
        ------
        nightplan.errors.FileError
            The name ends otherwise, or the file cannot be written.
        """
        from nightplan.report.exports.night_exports import save_export

        save_export(path, self.document.model_dump(mode="json"), self._before)

    def replan(self, start: Time, done: Done | None = None) -> Planned:
        """Plan the rest of the night anew from `start`; what was shot before is kept.

        `done` counts the subs really shot by filter, or by (target, filter), more or less than
        planned; what is not named was shot as planned. Framings and trains stay.

        Raises
        ------
        nightplan.errors.InputError
            More subs are said to be done than the time before `start` can hold.
        """
        config = self.plan.config
        return plan(
            config,
            self.plan.night.evening,
            self.plan.targets,
            start=start,
            keep=self,
            done=done,
        )


def plan(
    config: Config,
    evening: AnyEvening = None,
    targets: AnyTarget | Iterable[AnyTarget] = (),
    *,
    journal: bool = True,
    start: Time | None = None,
    keep: Planned | Mapping[str, Any] | None = None,
    done: Done | None = None,
    constraints: Sequence[Constraint] = (),
) -> Planned:
    """Split a night over targets and filters, with its proof; as `nightplan plan`.

    Parameters
    ----------
    config : Config
    evening : date, str, Time or None
        As of `night`.
    targets : names, SkyCoords, FixedTargets or Targets
        By default the configuration's list, or else the best of the catalogue.
    journal : bool
        Count what the journal beside the configuration has gathered, and keep its angles and
        goals.
    start : Time, optional
        Plan only the night from here on.
    keep : Planned or plan document, optional
        With `start`: the plan in force; what it held before is kept.
    done : mapping of filter, or of (target, filter), to count, optional
        With `start`: subs really shot before, more or less than `keep` held.
    constraints : sequence of astroplan.Constraint
        As of `pick`: beside the limits of the configuration.

    Raises
    ------
    nightplan.errors.InputError
        Too many targets; `keep` or `done` without `start`; `keep` is of another night or of other
        targets; `done` takes more than the time before `start`.
    nightplan.errors.TargetError
        A name is unknown or ambiguous.
    """
    from nightplan.planning.schedule.done import check_done
    from nightplan.planning.schedule.plan_reading import check_plan_document
    from nightplan.planning.schedule.replan import Replan

    if start is None and (keep is not None or done):
        raise InputError("library", "keep" if keep is not None else "done", "given", "with start")
    again = None
    if start is not None:
        for key in done or {}:
            if (key if isinstance(key, str) else key[1]) not in config.filter:
                raise InputError("library", "done", key, f"one of {', '.join(config.filter)}")
        check_done(done or {})
        in_force = keep.document.model_dump(mode="json") if isinstance(keep, Planned) else keep
        if in_force is not None:
            in_force = check_plan_document("keep", in_force)
        again = Replan(float(utc_mjd_of(start)), in_force, done, source="keep")
    catalog, rows = catalog_and_rows(config, listed(targets))
    night = night_of(config, evening)
    names = [str(catalog.name[row]) for row in rows]
    return made_plan(config, catalog, night, names, again, journal=journal, constraints=constraints)


def made_plan(
    config: Config,
    catalog: Catalog,
    night: Night,
    names: Sequence[str] = (),
    again: Replan | None = None,
    *,
    journal: bool = True,
    constraints: Sequence[Constraint] = (),
) -> Planned:
    """The plan of a night, with what the journal holds: every call that plans one comes here."""
    from nightplan.planning.tonights_plan.plan import make_plan

    # What tonight has shot is told by the plan kept and by the counts; without them, by the files.
    told = again is not None and (again.plan is not None or bool(again.done))
    without = night.evening if told else None
    memory = remembered(config, without=without) if journal else Remembered(config)
    config = memory.config.constrained(constraints)
    made = make_plan(config, night, catalog, names, earlier=memory.earlier, again=again)
    return Planned(made, catalog, remembered=memory, before=None if again is None else again.plan)


def sheet(
    config: Config,
    path: str | os.PathLike[str],
    evening: AnyEvening = None,
    targets: AnyTarget | Iterable[AnyTarget] = (),
    *,
    style: SheetStyle = "day",
) -> Planned:
    """Plan a night and write its field sheet; as `nightplan sheet`. Gives back the plan.

    Parameters
    ----------
    config, evening, targets
        As of `plan`.
    path : path
        The HTML file to write.
    style : str
        `day`, `red` (no green or blue light at all) or `print`.

    Raises
    ------
    nightplan.errors.FileError
        The file cannot be written.
    """
    made = plan(config, evening, targets)
    made.save_sheet(path, style=style)
    return made
