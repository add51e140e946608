"""The plan of a night as text for the terminal: 80 columns, local times with their offset."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from nightplan.report.wording.local_time import (
    NightClock,
    duration,
    minutes_between,
    moment,
    utc_clock,
)
from nightplan.report.wording.order_of_work import WorkItem, order_of_work
from nightplan.report.wording.recipe_words import recipe_words
from nightplan.report.wording.text_table import paragraph, text_table
from nightplan.report.wording.words import (
    WINDOW_WORDS,
    event_words,
    number,
    panels_of,
    percent,
    subs,
    target_and_panel,
)

Plan = Mapping[str, Any]


def plan_text(plan: Plan, *, rules: bool | None = None) -> str:
    """Lay out a plan document (a `PlanDocument` dump, or the JSON of ``plan --json``).

    Parameters
    ----------
    plan : mapping
        The document.
    rules : bool or None
        Rules under table headings; by default only on a terminal.

    Returns
    -------
    str
        Lines of at most 80 columns.
    """
    clock = NightClock(ZoneInfo(plan["timezone"]), _times(plan))
    parts = [_head(plan, clock)]
    if plan["targets"]:
        parts.append(_targets(plan, rules))
    if plan["blocks"]:
        parts += _order(plan, clock, rules)
        reasons = _reasons(plan, clock)
        if reasons:
            parts.append("Why then\n" + reasons)
        if plan.get("left_out"):
            parts.append("Left out tonight\n" + _left_out(plan))
    else:
        reason = str(plan.get("blocks_reason") or "nothing fits").replace("_", " ")
        parts.append(paragraph(f"No block can be placed: {reason}."))
    if plan.get("changes"):
        parts.append("Against the plan in force\n" + _changes(plan))
    if plan.get("setup") and plan["blocks"] and not plan.get("from_utc"):
        parts.append("Setting up\n" + _setup(plan, clock, rules))
    if plan.get("recipes"):
        told = [paragraph(recipe_words(name, row)) for name, row in plan["recipes"].items()]
        parts.append("What each picture is made of\n" + "\n".join(told))
    if plan["progress"]:
        parts.append("Progress, equivalent hours\n" + _progress(plan, rules))
    if plan["ledger"] and (plan["blocks"] or plan.get("from_utc")):
        parts.append("Minutes of the window\n" + _ledger(plan, rules))
    if plan["blocks"]:
        parts.append(_proof(plan))
    parts.extend(paragraph(f"Note: {notice}") for notice in plan.get("notices", ()))
    return "\n\n".join(part.rstrip() for part in parts) + "\n"


def _times(plan: Plan) -> list[str]:
    rows = [*plan["blocks"], *plan["events"], *plan.get("setup", ())]
    edges = [row[key] for row in rows for key in ("start_utc", "end_utc")]
    edges += [plan["window_start_utc"], plan["window_end_utc"]]
    return [edge for edge in edges if edge]


def _head(plan: Plan, clock: NightClock) -> str:
    lines = [f"Plan for the night of {plan['date']} at {plan['site']}"]
    if plan.get("from_utc"):
        lines.append(f"Anew    from {clock.full(plan['from_utc'])} on")
    if plan["window_start_utc"]:
        start, end = plan["window_start_utc"], plan["window_end_utc"]
        kind = WINDOW_WORDS.get(plan["window_kind"], plan["window_kind"])
        lines += [
            f"Window  {clock.full(start)} to {clock.full(end)}, "
            f"{duration(minutes_between(start, end))}  "
            f"(UTC {utc_clock(start)} to {utc_clock(end)})",
            paragraph(kind, indent="        "),
        ]
    else:
        lines.append("Window  none: the sun stays too high")
    if plan["train"]:
        train, reason = plan["train"], str(plan["train_reason"])
        words = reason if reason.startswith(train) else f"{train}. {reason}"
        lines.append(paragraph(words, indent="Train   "))
    return "\n".join(lines)


def _targets(plan: Plan, rules: bool | None) -> str:
    rows = [
        [
            row["target"],
            f"{number(row['position_angle_deg'])}°",
            f"±{number(row['position_angle_tolerance_deg'])}°",
            f"{number(row['image_up_angle_deg'])}°",
            str(row["panels"]),
            percent(row["coverage"]),
            f"{number(row['margin_arcmin'])}′",
            " ".join(row["filters"]),
        ]
        for row in plan["targets"]
    ]
    table = text_table(
        ["target", "angle", "tol.", "up", "panels", "covered", "margin", "filters"],
        rows,
        right=(1, 2, 3, 4, 5, 6),
        rules=rules,
    )
    notes = [table]
    mixed = len({row["train"] for row in plan["targets"]}) > 1
    for row in plan["targets"]:
        through = f" with the {row['train']}" if mixed else ""
        notes.append(paragraph(f"{row['target']}{through}: {row['reason']}"))
        loss = str(row.get("train_loss") or "")
        if loss and "loses nothing" not in loss and loss not in row["reason"]:
            notes.append(paragraph(loss))
    return "\n".join(notes)


def _order(plan: Plan, clock: NightClock, rules: bool | None) -> list[str]:
    """The order of work; of a re-plan, what is shot and what is to come apart."""
    items = order_of_work(plan)
    times = f"Times are {clock.heading}.\n"
    begin = plan.get("from_utc")
    if begin is None:
        return ["Order of work\n" + times + _work(plan, items, clock, rules)]
    at = moment(begin)
    past = [item for item in items if moment(item.start_utc) < at]
    ahead = [item for item in items if moment(item.start_utc) >= at]
    if not ahead or all(item.block is None for item in ahead):
        rest = "Nothing more can be placed in what is left of the window."
    else:
        rest = _work(plan, ahead, clock, rules)
    parts = [f"Order of work from {clock.full(begin)} on\n" + times + rest]
    if any(item.block is not None for item in past):
        table = _work(plan, past, clock, rules, idle="nothing shot")
        parts.insert(0, f"Before {clock.full(begin)}, kept\n" + table)
    return parts


def _work(
    plan: Plan,
    items: Sequence[WorkItem],
    clock: NightClock,
    rules: bool | None,
    idle: str | None = None,
) -> str:
    panels = panels_of(plan)
    rows = []
    for item in items:
        span = [clock.clock(item.start_utc), clock.clock(item.end_utc)]
        if item.block is not None:
            row = item.block
            target = target_and_panel(row, panels)
            work = subs(row["count"], row["sub_s"])
            rows.append([*span, target, row["filter"], work, str(row["gain"])])
        else:
            words = idle if idle is not None and item.kinds == ("idle",) else item.words
            rows.append([*span, item.target or "", "", words, ""])
    heads = ["start", "end", "target", "filter", "work", "gain"]
    return text_table(heads, rows, rules=rules)


def _reasons(plan: Plan, clock: NightClock) -> str:
    panels = panels_of(plan)
    begin = plan.get("from_utc")
    return "\n".join(
        paragraph(
            f"{target_and_panel(row, panels)}, {row['filter']}: {row['why']}",
            indent=f"{clock.clock(row['start_utc'])}  ",
        )
        for row in plan["blocks"]
        if row.get("why") and (begin is None or moment(row["start_utc"]) >= moment(begin))
    )


def _left_out(plan: Plan) -> str:
    return "\n".join(paragraph(f"{wish}.") for wish in plan["left_out"])


def _changes(plan: Plan) -> str:
    return "\n".join(paragraph(f"{change}.") for change in plan["changes"])


def _setup(plan: Plan, clock: NightClock, rules: bool | None) -> str:
    rows = [
        [clock.clock(row["start_utc"]), clock.clock(row["end_utc"]), row["name"]]
        for row in plan["setup"]
    ]
    return text_table(["start", "end", "step"], rows, rules=rules)


def _progress(plan: Plan, rules: bool | None) -> str:
    panels = panels_of(plan)
    rows = []
    for row in plan["progress"]:
        after = row["gathered_h"] + row["tonight_h"]
        rows.append(
            [
                target_and_panel(row, panels),
                row["filter"],
                number(row["priority"], 2),
                f"{row['goal_h']:.1f}",
                f"{row['gathered_h']:.2f}",
                f"{row['tonight_h']:.2f}",
                f"{row['tonight_clock_h']:.2f}",
                percent(min(after / row["goal_h"], 1.0)) if row["goal_h"] > 0.0 else "",
            ]
        )
    return text_table(
        ["target", "filter", "priority", "goal", "so far", "tonight", "(clock)", "reached"],
        rows,
        right=(2, 3, 4, 5, 6, 7),
        rules=rules,
    )


def _ledger(plan: Plan, rules: bool | None) -> str:
    ledger = plan["ledger"]
    total = sum(ledger.values())
    rows = [
        [event_words(kind), f"{minutes:.1f}", percent(minutes / total) if total else ""]
        for kind, minutes in ledger.items()
        if minutes > 0.0
    ]
    rows.append(["window", f"{total:.1f}", ""])
    return text_table(["spent on", "min", "share"], rows, right=(1, 2), rules=rules)


def _proof(plan: Plan) -> str:
    grid = plan["bound_holds_for"]
    holds = "every schedule of whole subs" if grid == "whole_subs" else f"schedules on {grid}"
    return paragraph(
        f"Worth {plan['objective']:.3f}; no more than {plan['bound']:.3f} is possible "
        f"({holds}), so the plan is within {plan['gap_percent']:.2f} % of the best. "
        f"Changes cost {plan['change_cost']:.3f} of it. Solved in {plan['solve_s']:.1f} s."
    )
