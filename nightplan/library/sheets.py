"""The field sheet of a plan, with the calibration frames that it owes."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from nightplan.library.earlier import Remembered
    from nightplan.model.catalog import Catalog
    from nightplan.planning.tonights_plan.plan import NightPlan


def sheet_page(
    plan: NightPlan,
    catalog: Catalog,
    document: Mapping[str, Any],
    journal: Remembered,
    losses: Sequence[Mapping[str, Any]],
    *,
    style: Literal["day", "red", "print"],
    kept_in: str | os.PathLike[str] | None,
    on_step: Callable[[str], None] | None,
) -> str:
    """One HTML document. Arguments as of `nightplan.report.sheet.night_sheet.sheet_of_plan`."""
    from nightplan.report.sheet.night_sheet import sheet_of_plan

    return sheet_of_plan(
        plan,
        catalog,
        document,
        style=style,
        calibration_owed=calibration_owed(plan, document["blocks"], journal),
        kept_in=kept_in,
        losses=losses,
        on_step=on_step,
    )


def calibration_owed(
    plan: NightPlan, blocks: Sequence[Mapping[str, Any]], journal: Remembered
) -> Sequence[Mapping[str, Any]]:
    """Rows for the field sheet: what the night's subs want, less what the journal holds.

    `blocks` are those of the plan's document.
    """
    from nightplan.planning.calibration.owed_tonight import calibration_night

    return calibration_night(
        plan.config,
        plan.night,
        blocks,
        journal.calibration,
        journal.torn_down_utc_mjd,
        plan.setup.power_on_utc_mjd,
    ).rows
