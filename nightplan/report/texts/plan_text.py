"""The plan of a night for the terminal: one screen in the order of the night, or all of it."""

from __future__ import annotations

import math

from nightplan.number_forms import percent
from nightplan.report.documents.plan import PlanDocument
from nightplan.report.texts.plan_full_text import plan_full_text
from nightplan.report.wording.local_time import (
    NightClock,
    duration,
    minutes_between,
    moment,
)
from nightplan.report.wording.night_lines import NightLine, night_lines, plan_clock
from nightplan.report.wording.plan_words import (
    broken_words,
    goal_shares,
    loading_words,
    recipe_line,
    short_set_words,
)
from nightplan.report.wording.screen import MOST_LINES, styled
from nightplan.report.wording.text_table import note, paragraph
from nightplan.report.wording.words import WINDOW_WORDS, counted, evening, reason_words, subs


def plan_text(plan: PlanDocument, *, full: bool = False) -> str:
    """Lay out a plan on one screen: set-up, subs, turns, flips and flats in time, then what the
    night brings and how good it is. `full` has everything.
    """
    if full:
        return plan_full_text(plan)
    clock = plan_clock(plan)
    head = _head(plan, clock)
    if not plan.blocks:
        reason = reason_words(str(plan.blocks_reason or "nothing fits"))
        parts = [head, paragraph(f"No block can be placed: {reason}."), *_notes(plan)]
        return "\n\n".join(parts) + "\n"
    foot = _foot(plan)
    for level in (0, 1, 2):
        work = _work(plan, clock, level)
        text = "\n".join([head, "", work, "", foot])
        if text.count("\n") + 2 <= MOST_LINES:
            break
    recipes = [paragraph(recipe_line(name, row)) for name, row in plan.recipes.items()]
    needed = sum(recipe.count("\n") + 1 for recipe in recipes)
    if text.count("\n") + 2 + needed <= MOST_LINES:
        text = "\n".join([head, *recipes, "", work, "", foot])
    spare = MOST_LINES - text.count("\n") - 2
    extra = [*_changes(plan), *_notes(plan)]
    needed = sum(part.count("\n") + 1 for part in extra)
    more = "Why, progress, what is left out: add --full"
    if extra and needed <= spare:
        text += "\n" + "\n".join(extra)
    elif extra:
        more = f"{counted(len(extra), 'note')}, why, progress, what is left out: --full"
    return f"{text}\n{styled(paragraph(more), 'faint')}\n"


def _head(plan: PlanDocument, clock: NightClock) -> str:
    title = f"Plan for {evening(plan.date)} at {plan.site}"
    if plan.train:
        title += f", with the {plan.train}"
    lines = [styled(paragraph(title), "bold")]
    start, end = plan.window_start_utc, plan.window_end_utc
    if start is None or end is None:
        lines.append(paragraph(f"{WINDOW_WORDS['none'].capitalize()}: the sun stays too high."))
    else:
        kind = "" if plan.window_kind == "astronomical" else f" of {plan.window_kind} darkness"
        lines.append(
            paragraph(
                f"Dark from {clock.clock(start)} to {clock.clock(end)} {clock.heading}, "
                f"{duration(minutes_between(start, end))}{kind}"
            )
        )
    if loading := loading_words([row.model_dump() for row in plan.loading]):
        lines.append(paragraph(f"{loading}."))
    if plan.from_utc is not None:
        shot = [row for row in plan.blocks if moment(row.start_utc) < moment(plan.from_utc)]
        words = ", ".join(f"{row.target} {row.filter} {subs(row.count, row.sub_s)}" for row in shot)
        before = f"; before it, kept: {words}" if words else ""
        lines.append(paragraph(f"Planned anew from {clock.clock(plan.from_utc)} on{before}"))
    return "\n".join(lines)


def _work(plan: PlanDocument, clock: NightClock, level: int) -> str:
    lines = night_lines(plan, by_visit=level)
    if not any(line.filter or line.target for line in lines):
        return "Nothing more can be placed in what is left of the window."
    times = [clock.clock(line.start_utc) for line in lines]
    wide = max(map(len, times))
    names = max(len(line.target) for line in lines)
    filters = max(len(line.filter) for line in lines)
    laid = [
        _line(line, time.ljust(wide), names, filters)
        for line, time in zip(lines, times, strict=True)
    ]
    last = max(plan.blocks, key=lambda row: moment(row.end_utc)).end_utc
    flats = [row.end_utc for row in plan.events if row.kind == "flats"]
    done = max([last, *flats], key=moment)
    laid.append(f"{clock.clock(done).ljust(wide)}  pack up")
    return "\n".join(laid)


def _line(line: NightLine, time: str, names: int, filters: int) -> str:
    if line.filter:
        return paragraph(
            line.work, indent=f"{time}  {line.target.ljust(names)}  {line.filter.ljust(filters)}  "
        )
    if line.target:
        return paragraph(line.work, indent=f"{time}  {line.target.ljust(names)}  ")
    return paragraph(line.work, indent=f"{time}  ")


def _foot(plan: PlanDocument) -> str:
    parts = [
        f"{share.target} {percent(share.after)} (+{100.0 * share.tonight:.0f})"
        for share in goal_shares(plan)
        if share.tonight > 0.0
    ]
    lines = [paragraph("Of the goals then: " + ", ".join(parts))] if parts else []
    total = sum(plan.ledger.values())
    shutter = plan.ledger.get("exposure", 0.0) / total if total else 0.0
    good = f"At least {math.floor(100.0 - plan.gap_percent)} % of the best plan there can be"
    lines.append(paragraph(f"{good}; shutter open {percent(shutter)} of the dark time"))
    return "\n".join(lines)


def _changes(plan: PlanDocument) -> list[str]:
    return [paragraph(f"Against the plan in force: {change}.") for change in plan.changes]


def _notes(plan: PlanDocument) -> list[str]:
    short = [
        f"{name}: {short_set_words(row.short_set)}"
        for name, row in plan.recipes.items()
        if row.short_set is not None and any(block.target == name for block in plan.blocks)
    ]
    return [note(words) for words in (*plan.notices, *broken_words(plan.sub_breaks), *short)]
