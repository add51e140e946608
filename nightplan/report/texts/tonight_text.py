"""Tonight in a few lines: go or not, what is shot when, and when everything is packed up."""

from __future__ import annotations

from nightplan.model.config import Config
from nightplan.number_forms import number
from nightplan.planning.tonight.night import Night
from nightplan.report.documents.plan import PlanBlock, PlanDocument, PlanEvent
from nightplan.report.wording.local_time import NightClock, duration, moment
from nightplan.report.wording.night_lines import (
    ahead,
    camera_angles,
    panel_name,
    plan_clock,
    turn_words,
    visits,
)
from nightplan.report.wording.plan_words import moon_words
from nightplan.report.wording.printed_command import command
from nightplan.report.wording.screen import styled
from nightplan.report.wording.text_table import paragraph
from nightplan.report.wording.words import evening, reason_words

HARDLY_MIN = 60.0
"""With less time of open shutter than this the night is called hardly worth the set-up."""


def tonight_text(plan: PlanDocument, night: Night, config: Config) -> str:
    """Answer whether to go, then what an evening needs: targets, train, angle, flips, the end."""
    clock = plan_clock(plan)
    blocks = ahead(plan)
    name = f"{evening(plan.date)} at {plan.site}"
    lines = [_verdict(plan, name, blocks)]
    if plan.window_start_utc and plan.window_end_utc:
        window = f"{clock.clock(plan.window_start_utc)} to {clock.clock(plan.window_end_utc)}"
        lines.append(paragraph(f"Dark from {window} {clock.heading}; {moon_words(night)}."))
    if not blocks:
        lines += ["", "The coming nights:", f"  {command('campaign', config)}"]
        return "\n".join(lines) + "\n"
    lines.append(_setup(plan, clock, blocks[0]))
    lines += ["", *_visits(plan, clock, blocks)]
    day = ("--date", plan.date)
    sheet = command("sheet", config, *day, "--output", "tonight.html")
    lines += ["", "Every sub, and the page for the phone:"]
    lines += [f"  {command('plan', config, *day)}", f"  {sheet}"]
    return "\n".join(lines) + "\n"


def _verdict(plan: PlanDocument, name: str, blocks: list[PlanBlock]) -> str:
    if not blocks:
        reason = reason_words(str(plan.blocks_reason or "nothing fits"))
        return styled(paragraph(f"{name}: stay at home, {reason}."), "bold")
    minutes = sum(row.count * row.sub_s for row in blocks) / 60.0
    if minutes < HARDLY_MIN:
        words = f"hardly worth it, only {duration(minutes)} of subs"
        return styled(paragraph(f"{name}: {words}."), "bold")
    return styled(paragraph(f"{name}: go, {duration(minutes)} of subs if it is clear."), "bold")


def _setup(plan: PlanDocument, clock: NightClock, first: PlanBlock) -> str:
    train = f"{first.train[0].upper()}{first.train[1:]}, {camera_angles(first)}"
    if not plan.setup:
        return paragraph(f"{train}.")
    start, ready = plan.setup[0].start_utc, plan.setup[-1].end_utc
    return paragraph(f"{train}. Set up from {clock.clock(start)}, ready by {clock.clock(ready)}.")


def _visits(plan: PlanDocument, clock: NightClock, blocks: list[PlanBlock]) -> list[str]:
    runs = visits(blocks)
    names = [panel_name(plan, run[0].target, run[0].panel) for run in runs]
    wide = max(map(len, names))
    lines = []
    for run, name in zip(runs, names, strict=True):
        start, end = run[0].start_utc, run[-1].end_utc
        words = [f"first sub {run[0].filter} {number(run[0].sub_s)} s"]
        for event in plan.events:
            if event.kind == "flip" and moment(start) <= moment(event.start_utc) <= moment(end):
                words.append(f"flip {clock.clock(event.start_utc)}")
            if event.kind == "turn" and event.target == run[0].target and _just(event, start):
                words.insert(0, turn_words(plan, event))
        lines.append(paragraph(", ".join(words), indent=f"{clock.clock(start)}  {name:<{wide}}  "))
    end = max((row.end_utc for row in blocks), key=moment)
    flats = [row for row in plan.events if row.kind == "flats"]
    if flats:
        end = max([end, *(row.end_utc for row in flats)], key=moment)
        lines.append(f"{clock.clock(flats[-1].start_utc)}  flats")
    lines.append(f"{clock.clock(end)}  pack up")
    return lines


def _just(event: PlanEvent, start_utc: str) -> bool:
    """Whether an event ends within the half hour before a visit starts."""
    minutes = (moment(start_utc) - moment(event.end_utc)).total_seconds() / 60.0
    return -1.0 <= minutes <= 30.0
