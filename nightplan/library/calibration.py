"""Calibration frames that a plan's subs want and the journal does not hold yet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from nightplan.library.earlier import Remembered
    from nightplan.planning.tonights_plan.plan import NightPlan


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
