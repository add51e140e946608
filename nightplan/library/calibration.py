"""Calibration frames that a plan's subs want and the journal does not hold yet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from nightplan.planning.schedule.plan import NightPlan


def calibration_owed(plan: NightPlan) -> Sequence[Mapping[str, Any]]:
    """Rows for the field sheet: what the night's subs want, less what the journal holds."""
    from nightplan.journal import Journal
    from nightplan.planning.calibration.owed_tonight import calibration_night
    from nightplan.report.documents.plan import plan_document

    blocks = plan_document(plan).model_dump(mode="json")["blocks"]
    steps = plan.setup.steps
    power_on = steps[0].start_utc_mjd if steps else None
    have, torn_down = [], None
    journal = Journal.open(plan.config.folder)
    if journal is not None:
        with journal:
            have, torn_down = journal.calibration_frames(), journal.last_tear_down()
    return calibration_night(plan.config, plan.night, blocks, have, torn_down, power_on).rows
