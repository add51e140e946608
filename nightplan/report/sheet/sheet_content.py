"""What stands on the field sheet: the documents of a night turned into words, nothing drawn."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from nightplan.report.page.page_style import SheetLook
from nightplan.report.sheet.cautions import cautions
from nightplan.report.sheet.framing_cards import framing_cards
from nightplan.report.sheet.live_night import live_night
from nightplan.report.sheet.loss_table import loss_table
from nightplan.report.sheet.sheet_facts import SheetSite, facts, last_work, power
from nightplan.report.sheet.sheet_strip import order, strip
from nightplan.report.sheet.work_rows import calibration_rows, setup_rows, work_groups
from nightplan.report.wording.local_time import NightClock
from nightplan.report.wording.order_of_work import order_of_work
from nightplan.report.wording.words import reason_words

Document = Mapping[str, Any]


@dataclass
class SheetContent:
    """Everything the template prints, ready to read."""

    site: str
    evening: str
    times: str
    heading: str
    notices: list[str]
    no_window: str = ""
    chapters: list[tuple[str, str]] = field(default_factory=list)
    facts: list[tuple[str, str]] = field(default_factory=list)
    order: list[dict[str, str]] = field(default_factory=list)
    strip: dict[str, Any] | None = None
    setup: list[dict[str, str]] = field(default_factory=list)
    groups: list[dict[str, Any]] = field(default_factory=list)
    no_blocks: str = ""
    cards: list[dict[str, Any]] = field(default_factory=list)
    calibration: list[dict[str, str]] = field(default_factory=list)
    calibration_time: str = ""
    losses: list[dict[str, str]] = field(default_factory=list)
    replan: str = ""
    collect: str = ""
    cautions: list[tuple[str, str]] = field(default_factory=list)
    provenance: str = ""
    rehearsal: str = ""
    looks: list[SheetLook] = field(default_factory=list)
    script_data: dict[str, Any] = field(default_factory=dict)


def sheet_content(
    night: Document,
    plan: Document,
    frames: Mapping[str, Document],
    *,
    calibration_owed: Sequence[Document],
    charts: Mapping[str, Any],
    site: SheetSite,
    looks: Mapping[str, SheetLook],
    credit: str = "",
    replan: str = "",
    losses: Sequence[Document] = (),
) -> SheetContent:
    """Turn the documents of a night into the words of its sheet. See `sheet.render_sheet`."""
    zone = ZoneInfo(site.timezone)
    items = order_of_work(plan)
    setup = list(plan.get("setup", ()))
    clock = NightClock(zone, _times(night, plan, setup))
    evening = dt.date.fromisoformat(night["date"])
    content = SheetContent(
        site=night["site"],
        evening=f"{evening:%A} {evening.day} {evening:%B %Y}",
        times=clock.sentence,
        heading=clock.heading,
        notices=list(dict.fromkeys([*night.get("notices", ()), *plan.get("notices", ())])),
        looks=list(looks.values()),
    )
    look_of = {name: looks[role].css_class for name, role in site.filter_roles.items()}
    if not plan.get("window_start_utc"):
        content.no_window = (
            f"No window in the night of {content.evening}: {reason_words('no_darkness')}, so there "
            "is nothing to shoot."
        )
        content.notices = []
    content.facts = facts(night, plan, items, site, clock)
    content.order = order(items, clock)
    if plan.get("window_start_utc") and items:
        content.strip = strip(night, plan, items, zone, clock, look_of)
    content.setup = setup_rows(setup, clock)
    content.groups = work_groups(plan, items, clock, look_of)
    if not plan["blocks"]:
        content.no_blocks = f"No block can be placed: {reason_words(plan.get('blocks_reason'))}."
    content.cards = framing_cards(plan, frames, charts, items, clock)
    content.calibration, content.calibration_time = calibration_rows(calibration_owed)
    content.losses = loss_table(losses, clock)
    content.collect = site.collect
    content.replan = replan if plan["blocks"] else ""
    last = last_work(items) or plan.get("window_end_utc")
    content.cautions = cautions(
        work_ends=None if last is None else clock.full(last),
        sunrise=None if night.get("sunrise_utc") is None else clock.full(night["sunrise_utc"]),
        power=power(site, setup, items),
    )
    content.provenance = (
        f"Made by nightplan for {night['site']} from the plan of {night['date']}; "
        "worked out without a network. Position angles run from north through east, ICRS. "
        f"{credit}".rstrip()
    )
    content.chapters = _chapters(content)
    content.script_data = live_night(
        night, plan, setup, items, calibration_owed, losses, clock, site.resume_min
    )
    first = items[0].start_utc if items else night.get("sunset_utc") or f"{night['date']}T22:00:00Z"
    content.rehearsal = first[:16] + "Z"
    return content


def _times(night: Document, plan: Document, setup: Sequence[Document]) -> list[str]:
    rows = [*plan["blocks"], *plan["events"], *setup]
    found = [row[key] for row in rows for key in ("start_utc", "end_utc")]
    found += [night.get("sunset_utc"), night.get("sunrise_utc")]
    found += [plan.get("window_start_utc"), plan.get("window_end_utc")]
    return [time for time in found if time] or [f"{night['date']}T22:00:00Z"]


def _chapters(content: SheetContent) -> list[tuple[str, str]]:
    if content.no_window:
        return []
    chapters = [("setup", "Set-up")] if content.setup else []
    chapters += [("work", "Work"), ("replan", "Clouds"), ("tonight", "Tonight")]
    if content.cards:
        chapters.append(("framing", "Framing"))
    return [*chapters, ("calibration", "Calibration"), ("cautions", "Cautions")]
