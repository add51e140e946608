"""Solved losses as lines to read, for paper and where scripts are off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from nightplan.report.sheet.work_rows import loudness
from nightplan.report.wording.local_time import NightClock, moment
from nightplan.report.wording.order_of_work import order_of_work
from nightplan.report.wording.words import capital, panels_of, subs, target_and_panel

Document = Mapping[str, Any]

PRINTED_MINUTES = 60


def loss_table(losses: Sequence[Document], clock: NightClock) -> list[dict[str, str]]:
    """A line for each block: from when an hour is lost, and what is done then.

    `losses` are as of `nightplan.library.losses.solved_losses`.
    """
    rows = []
    for loss in losses:
        if loss["minutes"] != PRINTED_MINUTES:
            continue
        plan = loss["plan"]
        begin = moment(plan["from_utc"])
        panels = panels_of(plan)
        steps = []
        for item in order_of_work(plan):
            if moment(item.start_utc) < begin:
                continue
            at = clock.clock(item.start_utc)
            if item.block is not None:
                block = item.block
                work = subs(block["count"], block["sub_s"])
                steps.append(f"{at} {target_and_panel(block, panels)} {block['filter']} {work}")
            elif loudness(item):
                steps.append(f"{at} {capital(item.words)}")
        rows.append(
            {
                "start": clock.clock(loss["start_utc"]),
                "end": clock.clock(plan["from_utc"]),
                "lost": str(loss["lost"]),
                "then": "; ".join(steps) or "nothing more fits: flats, then tear down",
            }
        )
    return rows
