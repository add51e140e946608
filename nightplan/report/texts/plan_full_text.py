"""All of a plan for the terminal: framing, work, reasons, progress, minutes and proof."""

from __future__ import annotations

from collections.abc import Sequence

from nightplan.number_forms import number, percent
from nightplan.planning.photons.sub_sets import set_name
from nightplan.report.documents.plan import FramedTarget, PlanDocument
from nightplan.report.wording.local_time import (
    NightClock,
    duration,
    minutes_between,
    moment,
    utc_clock,
)
from nightplan.report.wording.night_lines import ahead, panel_name, plan_clock
from nightplan.report.wording.order_of_work import WorkItem, order_of_work
from nightplan.report.wording.plan_words import (
    broken_words,
    left_out_words,
    price_words,
    recipe_words,
)
from nightplan.report.wording.text_table import heading, note, paragraph, text_table
from nightplan.report.wording.words import (
    WINDOW_WORDS,
    angle_range,
    evening,
    event_words,
    reason_words,
    subs,
)

PROGRESS_WORDS = (
    "Hours are effective ones: an hour at the zenith of this site with no moon counts 1."
)


def plan_full_text(plan: PlanDocument) -> str:
    """Lay out every part of a plan, the order of the night first."""
    clock = plan_clock(plan)
    parts = [_head(plan, clock)]
    if plan.targets:
        parts.append(_targets(plan))
    if plan.recipes:
        lines = "\n".join(paragraph(recipe_words(name, row)) for name, row in plan.recipes.items())
        parts.append(heading("What each picture is made of") + "\n" + lines)
    if plan.blocks:
        if plan.setup and plan.from_utc is None:
            parts.append(heading("Set-up") + "\n" + _setup(plan, clock))
        parts += _order(plan, clock)
        reasons = _reasons(plan, clock)
        if reasons:
            parts.append(heading("Why then") + "\n" + reasons)
        if plan.prices:
            lines = "\n".join(paragraph(price_words(price)) for price in plan.prices)
            parts.append(heading("Beside the nights that follow") + "\n" + lines)
        left_out = left_out_words(plan)
        if left_out:
            lines = "\n".join(paragraph(wish) for wish in left_out)
            parts.append(heading("Left out tonight") + "\n" + lines)
    else:
        reason = reason_words(str(plan.blocks_reason or "nothing fits"))
        parts.append(paragraph(f"No block can be placed: {reason}."))
    if plan.changes:
        lines = "\n".join(paragraph(f"{change}.") for change in plan.changes)
        parts.append(heading("Against the plan in force") + "\n" + lines)
    if plan.progress:
        parts.append(heading("Progress, hours") + "\n" + _progress(plan))
    if plan.ledger and (plan.blocks or plan.from_utc):
        parts.append(heading("Minutes of the window") + "\n" + _ledger(plan))
    if plan.blocks:
        parts.append(_proof(plan))
    parts.extend(note(words) for words in (*plan.notices, *broken_words(plan.sub_breaks)))
    return "\n\n".join(part.rstrip() for part in parts) + "\n"


def _head(plan: PlanDocument, clock: NightClock) -> str:
    lines = [heading(f"Plan for {evening(plan.date)} at {plan.site}")]
    if plan.from_utc:
        lines.append(f"Anew    from {clock.full(plan.from_utc)} on")
    if plan.window_start_utc and plan.window_end_utc:
        start, end = plan.window_start_utc, plan.window_end_utc
        kind = WINDOW_WORDS.get(plan.window_kind, plan.window_kind)
        lines.append(
            paragraph(
                f"{clock.full(start)} to {clock.full(end)}, "
                f"{duration(minutes_between(start, end))}, {kind} "
                f"(UTC {utc_clock(start)} to {utc_clock(end)})",
                indent="Window  ",
            )
        )
    else:
        lines.append("Window  none: the sun stays too high")
    if plan.train:
        train, reason = plan.train, plan.train_reason
        words = reason if reason.startswith(train) else f"{train}. {reason}"
        lines.append(paragraph(words, indent="Train   "))
    return "\n".join(lines)


def _targets(plan: PlanDocument) -> str:
    rows = [
        [
            row.target,
            angle_range(row.position_angle_deg, row.position_angle_tolerance_deg),
            f"{number(row.image_up_angle_deg)}°",
            str(row.panels),
            percent(row.coverage),
            f"{number(row.margin_arcmin)}′",
            " ".join(row.filters),
        ]
        for row in plan.targets
    ]
    table = text_table(
        ["target", "camera angle", "image up", "panels", "in frame", "margin", "filters"],
        rows,
        right=(1, 2, 3, 4, 5),
    )
    notes = [table]
    mixed = len({row.train for row in plan.targets}) > 1
    for row in plan.targets:
        notes += [paragraph(words) for words in _framing_words(row, mixed)]
    return "\n".join(notes)


def _framing_words(row: FramedTarget, mixed: bool) -> list[str]:
    through = f" with the {row.train}" if mixed else ""
    words = [f"{row.target}{through}: {row.reason}"]
    loss = row.train_loss
    if loss and "loses nothing" not in loss and loss not in row.reason:
        words.append(loss)
    return words


def _order(plan: PlanDocument, clock: NightClock) -> list[str]:
    """The order of work; of a re-plan, what is shot and what is to come apart."""
    items = order_of_work(plan.model_dump(mode="json"))
    times = f"Times are {clock.heading}.\n"
    begin = plan.from_utc
    if begin is None:
        return [heading("Order of work") + "\n" + times + _work(plan, items, clock)]
    at = moment(begin)
    past = [item for item in items if moment(item.start_utc) < at]
    later = [item for item in items if moment(item.start_utc) >= at]
    if all(item.block is None for item in later):
        rest = "Nothing more can be placed in what is left of the window."
    else:
        rest = _work(plan, later, clock)
    parts = [heading(f"Order of work from {clock.full(begin)} on") + "\n" + times + rest]
    if any(item.block is not None for item in past):
        table = _work(plan, past, clock, idle="nothing shot")
        parts.insert(0, heading(f"Before {clock.full(begin)}, kept") + "\n" + table)
    return parts


def _work(
    plan: PlanDocument, items: Sequence[WorkItem], clock: NightClock, idle: str | None = None
) -> str:
    rows = []
    for item in items:
        span = [clock.clock(item.start_utc), clock.clock(item.end_utc)]
        if item.block is not None:
            row = item.block
            target = panel_name(plan, row["target"], row["panel"])
            work = subs(row["count"], row["sub_s"])
            rows.append([*span, target, row["filter"], work, str(row["gain"])])
        else:
            words = idle if idle is not None and item.kinds == ("idle",) else item.words
            rows.append([*span, item.target or "", "", words, ""])
    return text_table(["start", "end", "target", "filter", "work", "gain"], rows)


def _reasons(plan: PlanDocument, clock: NightClock) -> str:
    return "\n".join(
        paragraph(
            f"{panel_name(plan, row.target, row.panel)}, {row.filter}: {row.why}",
            indent=f"{clock.clock(row.start_utc)}  ",
        )
        for row in ahead(plan)
        if row.why
    )


def _setup(plan: PlanDocument, clock: NightClock) -> str:
    rows = [[clock.clock(row.start_utc), clock.clock(row.end_utc), row.name] for row in plan.setup]
    return text_table(["start", "end", "step"], rows)


def _progress(plan: PlanDocument) -> str:
    rows = []
    for row in plan.progress:
        after = row.gathered_h + row.tonight_h
        if row.goal_h <= 0.0 and after <= 0.0:
            continue
        rows.append(
            [
                panel_name(plan, row.target, row.panel),
                set_name(row.filter, row.short_set),
                number(row.priority, 2),
                f"{row.goal_h:.1f}",
                f"{row.gathered_h:.1f}",
                f"{row.tonight_h:.1f}" if row.tonight_h > 0.0 else "",
                f"{row.tonight_clock_h:.1f}" if row.tonight_clock_h > 0.0 else "",
                percent(min(after / row.goal_h, 1.0)) if row.goal_h > 0.0 else "",
            ]
        )
    heads = ["target", "filter", "priority", "goal", "so far", "tonight", "on clock", "then"]
    table = text_table(heads, rows, right=(2, 3, 4, 5, 6, 7))
    return f"{table}\n{paragraph(PROGRESS_WORDS)}"


def _ledger(plan: PlanDocument) -> str:
    total = sum(plan.ledger.values())
    rows = [
        [event_words(kind), f"{minutes:.0f}", percent(minutes / total) if total else ""]
        for kind, minutes in plan.ledger.items()
        if minutes >= 0.5
    ]
    rows.append(["window", f"{total:.0f}", ""])
    return text_table(["spent on", "min", "share"], rows, right=(1, 2))


def _proof(plan: PlanDocument) -> str:
    grid = plan.bound_holds_for
    holds = "every schedule of whole subs" if grid == "whole_subs" else f"schedules on {grid}"
    return paragraph(
        f"Value {plan.objective:.2f}; no more than {plan.bound:.2f} is possible "
        f"({holds}), so the plan is within {plan.gap_percent:.2f} % of the best. "
        f"Changes cost {plan.change_cost:.2f} of it. Solved in {plan.solve_s:.1f} s."
    )
