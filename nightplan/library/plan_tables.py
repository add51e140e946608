"""Tables of a plan, in astropy objects: made from its document and its framings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from nightplan.library.outputs import coords_of, quantity, table_of, time_of
from nightplan.sky.times import mjd_from_iso

if TYPE_CHECKING:
    from astropy.table import QTable
    from astropy.time import Time

    from nightplan.planning.tonights_plan.plan import NightPlan
    from nightplan.report.documents.plan import PlanDocument


def blocks_table(document: PlanDocument) -> QTable:
    """As of `Planned.blocks`."""

    rows = document.blocks
    return table_of(
        {
            "target": [row.target for row in rows],
            "panel": np.array([row.panel for row in rows], dtype=int),
            "coord": coords_of([row.ra_deg for row in rows], [row.dec_deg for row in rows]),
            "position_angle": quantity([row.position_angle_deg for row in rows], "deg"),
            "image_up_angle": quantity([row.image_up_angle_deg for row in rows], "deg"),
            "train": [row.train for row in rows],
            "filter": [row.filter for row in rows],
            "gain": [row.gain for row in rows],
            "start": _times([row.start_utc for row in rows]),
            "end": _times([row.end_utc for row in rows]),
            "sub": quantity([row.sub_s for row in rows], "s"),
            "count": np.array([row.count for row in rows], dtype=int),
            "short_set": np.array([row.short_set for row in rows], dtype=bool),
            "why": [row.why for row in rows],
        },
        {
            "site": document.site,
            "date": document.date,
            "train": document.train,
            "reason": document.blocks_reason or "",
        },
    )


def events_table(document: PlanDocument) -> QTable:
    """As of `Planned.events`."""
    rows = document.events
    return table_of(
        {
            "kind": [row.kind for row in rows],
            "target": [row.target for row in rows],
            "start": _times([row.start_utc for row in rows]),
            "end": _times([row.end_utc for row in rows]),
        }
    )


def progress_table(document: PlanDocument) -> QTable:
    """As of `Planned.progress`."""

    rows = document.progress

    def hours(key: str) -> Any:
        return quantity([getattr(row, key) for row in rows], "h")

    return table_of(
        {
            "target": [row.target for row in rows],
            "panel": np.array([row.panel for row in rows], dtype=int),
            "filter": [row.filter for row in rows],
            "short_set": np.array([row.short_set for row in rows], dtype=bool),
            "priority": np.array([row.priority for row in rows], dtype=float),
            "goal": hours("goal_h"),
            "gathered": hours("gathered_h"),
            "tonight": hours("tonight_h"),
            "tonight_clock": hours("tonight_clock_h"),
        }
    )


def targets_table(plan: NightPlan) -> QTable:
    """As of `Planned.targets`."""

    framings = [plan.framing(target.name) for target in plan.targets]
    loss = {one.target: one for one in plan.train.losses}

    def degrees(key: str) -> Any:
        return quantity([getattr(one, key) for one in framings], "deg")

    return table_of(
        {
            "target": [target.name for target in plan.targets],
            "center": coords_of(
                [one.ra_deg for one in framings], [one.dec_deg for one in framings]
            ),
            "position_angle": degrees("position_angle_deg"),
            "image_up_angle": degrees("image_up_angle_deg"),
            "position_angle_tolerance": degrees("position_angle_tolerance_deg"),
            "coverage": np.array([one.coverage for one in framings], dtype=float),
            "panels": np.array([len(one.panels) for one in framings], dtype=int),
            "train_loss": np.array(
                [loss[one.target].share if one.target in loss else 0.0 for one in framings],
                dtype=float,
            ),
        },
        {"train": plan.train.train},
    )


def _times(texts: list[str]) -> Time:
    return time_of(np.array([mjd_from_iso(text) for text in texts], dtype=np.float64))
