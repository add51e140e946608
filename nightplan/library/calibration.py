"""Calibration frames that a plan's subs want and the journal does not hold yet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from nightplan.library.earlier import Remembered
    from nightplan.planning.calibration.frames import LightUse
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
        short_uses(plan, blocks),
    ).rows


def short_uses(plan: NightPlan, blocks: Sequence[Mapping[str, Any]]) -> list[LightUse]:
    """Subs of the short sets that go with a plan's blocks, each kind once."""
    from nightplan.planning.calibration.frames import LightUse
    from nightplan.planning.photons.short_set import short_set

    found: dict[LightUse, None] = {}
    for target in plan.targets:
        own = [block for block in blocks if block["target"] == target.name]
        if plan.posed is None or not own:
            continue
        goal = plan.posed.goals[target.name]
        filters, train = [item.filter for item in goal.wanted], str(own[0]["train"])
        short = short_set(plan.config, target, train, filters, goal.recipe.leading)
        for block in own:
            if short is not None and block["filter"] in short.filters:
                angle_deg = float(block["position_angle_deg"])
                use = LightUse(str(block["filter"]), train, angle_deg, short.gain, short.sub_s)
                found.setdefault(use)
    return list(found)
