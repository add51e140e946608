"""The rest of the night after clouds, solved beforehand for each block and several losses."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from nightplan.dates import DAY_MIN
from nightplan.planning.photons.sub_sets import row_set
from nightplan.planning.schedule.replan import Replan
from nightplan.planning.tonights_plan.plan import make_plan
from nightplan.report.documents.plan import plan_document
from nightplan.report.wording.words import panels_of, target_and_panel
from nightplan.sky.times import mjd_from_iso, utc_iso

if TYPE_CHECKING:
    from nightplan.library.earlier import Remembered
    from nightplan.model.catalog import Catalog
    from nightplan.planning.schedule.done import DoneKey
    from nightplan.planning.tonight.night import Night

Document = Mapping[str, Any]

LOSS_MINUTES = (60, 30, 120, 15, 90)
"""Lengths of loss that are solved, the one first that is kept where time is short."""
MOST_CPU_S = 40.0
LEAST_LEFT_MIN = 20.0
"""Where less than this is left of the window after a loss, nothing is worth solving."""


def solved_losses(
    night: Night,
    catalog: Catalog,
    journal: Remembered,
    plan: Document,
    minutes: Sequence[int] = LOSS_MINUTES,
    on_step: Callable[[str], None] | None = None,
    most_cpu_s: float = MOST_CPU_S,
) -> list[dict[str, Any]]:
    """What to do after each loss, in order of time; as `each_loss`."""
    found = each_loss(night, catalog, journal, plan, minutes, on_step, most_cpu_s)
    return sorted(filter(None, found), key=lambda one: (one["start_utc"], one["minutes"]))


def each_loss(
    night: Night,
    catalog: Catalog,
    journal: Remembered,
    plan: Document,
    minutes: Sequence[int] = LOSS_MINUTES,
    on_step: Callable[[str], None] | None = None,
    most_cpu_s: float = MOST_CPU_S,
) -> Iterator[dict[str, Any] | None]:
    """What to do after each loss: the clouds begin where a block begins, and nothing is shot.

    The first length is solved for every block; each further one only if the time that the first
    took leaves room for it inside `most_cpu_s` seconds of the processor. One is solved each time
    the iterator is asked, so that other work can go on between.

    Parameters
    ----------
    plan : mapping
        The plan document in force.
    minutes : sequence of int
        Lengths of loss, the most wanted first.
    on_step : callable, optional
        Told in words what is being worked on.

    Yields
    ------
    dict or None
        `start_utc`, `minutes`, `lost` (the block's target and filter), and `plan`, the plan's
        document from the end of the loss on; None where nothing is left after it.
    """
    spent = last = 0.0
    blocks = _ahead(plan)
    for number, length in enumerate(minutes):
        if number and spent + last > most_cpu_s:
            return
        last = 0.0
        for i, block in enumerate(blocks, start=1):
            if on_step is not None:
                on_step(f"if {length} min are lost, block {i} of {len(blocks)}")
            began = time.process_time()
            answer = _answer(night, catalog, journal, plan, block, length)
            last += time.process_time() - began
            yield answer
        spent += last


def _ahead(plan: Document) -> list[Document]:
    """Blocks to come; of a re-plan those from its beginning on."""
    begin = plan.get("from_utc")
    at = None if begin is None else mjd_from_iso(begin)
    return [row for row in plan["blocks"] if at is None or mjd_from_iso(row["start_utc"]) >= at]


def _answer(
    night: Night,
    catalog: Catalog,
    journal: Remembered,
    plan: Document,
    block: Document,
    length: int,
) -> dict[str, Any] | None:
    start = mjd_from_iso(block["start_utc"])
    resumed = start + length / DAY_MIN
    end = mjd_from_iso(plan["window_end_utc"])
    if (end - resumed) * DAY_MIN < LEAST_LEFT_MIN:
        return None
    done: dict[DoneKey, int] = {}
    for row in plan["blocks"]:
        if mjd_from_iso(row["start_utc"]) < resumed:
            key = (row["target"], row_set(row))
            shot = row["count"] if mjd_from_iso(row["start_utc"]) < start else 0
            done[key] = done.get(key, 0) + shot
    again = make_plan(
        journal.config,
        night,
        catalog,
        earlier=journal.earlier,
        again=Replan(resumed, plan, done, source="the plan in force"),
    )
    return {
        "start_utc": utc_iso(start),
        "minutes": length,
        "lost": f"{target_and_panel(block, panels_of(plan))} {block['filter']}",
        "plan": plan_document(again).model_dump(mode="json"),
    }
