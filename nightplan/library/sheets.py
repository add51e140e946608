"""The field sheet of a plan, with the calibration frames that it owes."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

from nightplan.library.calibration import calibration_owed

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
