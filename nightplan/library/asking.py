"""A night's plan as the command line asks for it: texts of times and counts, files of plans."""

from __future__ import annotations

import datetime
import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from nightplan.errors import FileError, InputError
from nightplan.library.earlier import remembered
from nightplan.library.planned import Planned, made_plan

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config


def asked_plan(
    config: Config,
    evening: datetime.date | None,
    names: Sequence[str] = (),
    *,
    start: str | None = None,
    keep: str | os.PathLike[str] | None = None,
    done: Sequence[str] = (),
    as_it_stands: bool = False,
    now_utc: datetime.datetime | None = None,
) -> Planned:
    """Plan a night, or the rest of it, or take a stored plan.

    Parameters
    ----------
    evening : date or None
        Else that of the plan kept, or the one whose noon-to-noon holds `start`, or now.
    start : str, optional
        Plan only from here on: ``now``, a clock time of the night, or ISO 8601.
    keep : path, optional
        The plan document in force.
    done : sequence of str
        ``FILTER=COUNT`` or ``TARGET:FILTER=COUNT``, with `start`.
    as_it_stands : bool
        Without `start`, `keep` is taken as it stands instead of being refused.

    Raises
    ------
    nightplan.errors.InputError
        A time or count cannot be used, or the plan is of another site, rig or night.
    nightplan.errors.FileError
        `keep` cannot be read or is no plan document.
    nightplan.errors.TargetError
        A name is unknown or ambiguous.
    """
    from nightplan.files import read_text
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.schedule.done import parse_done
    from nightplan.planning.schedule.plan_reading import check_same_rig, read_plan_document
    from nightplan.planning.schedule.replan import Replan
    from nightplan.planning.tonight.clock_time import is_clock_time, moment_utc_mjd
    from nightplan.planning.tonight.limits import planned_night
    from nightplan.planning.tonight.night import default_evening
    from nightplan.sky.times import datetime_from_mjd

    if start is None and (done or (keep is not None and not as_it_stands)):
        key, value = ("done", done[0]) if done else ("keep", keep)
        raise InputError("library", key, str(value), "with a time to plan anew from, --from")
    now = now_utc or datetime.datetime.now(datetime.UTC)
    kept = None if keep is None else read_plan_document(str(keep), read_text(keep))
    if kept is not None:
        check_same_rig(config, kept, str(keep))
        held = evening if kept["date"] is None else _date(kept["date"], str(keep))
        if start is None and evening not in (None, held):
            raise InputError(str(keep), "date", kept["date"], f"the night asked for, {evening}")
        evening = evening or held
    day = evening or default_evening(config.site, now)
    moment = None if start is None else moment_utc_mjd(start, config.site, day, now)
    if evening is None and moment is not None and not is_clock_time(str(start)):
        day = default_evening(config.site, datetime_from_mjd(moment))
    catalog = catalog_for(config)
    if moment is None and kept is not None:
        return kept_plan(remembered(config).config, day, catalog, kept, str(keep))
    again = None
    if moment is not None:
        counts = parse_done(config, done, lambda name: catalog.target(catalog.find(name)).name)
        source = "the plan in force" if keep is None else str(keep)
        again = Replan(moment, kept, counts, source=source)
    return made_plan(config, catalog, planned_night(config, day), names, again)


def kept_plan(
    config: Config, evening: datetime.date, catalog: Catalog, kept: dict[str, object], source: str
) -> Planned:
    """A stored plan as it stands. Raises FileError where the document misses what is shown."""
    from pydantic import ValidationError

    from nightplan.planning.tonight.limits import planned_night
    from nightplan.planning.tonights_plan.plan import plan_in_force
    from nightplan.report.documents.plan import PlanDocument

    try:
        document = PlanDocument.model_validate(kept)
    except ValidationError as error:
        where = ".".join(str(part) for part in error.errors()[0]["loc"])
        problem = f"{where} is missing or cannot be used; save the plan anew with this version"
        raise FileError(source, problem) from None
    night = planned_night(config, evening)
    plan = plan_in_force(config, night, catalog, kept, source)
    return Planned(plan, catalog, document=document)


def _date(text: str, source: str) -> datetime.date:
    try:
        return datetime.date.fromisoformat(text)
    except ValueError as error:
        raise InputError(source, "date", text, "YYYY-MM-DD") from error
