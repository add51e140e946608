"""What the night is, in a few lines: window, moon, sun, train, power."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from nightplan.number_forms import number, percent
from nightplan.report.wording.local_time import NightClock, duration, minutes_between, moment
from nightplan.report.wording.order_of_work import WorkItem, trains_in_order
from nightplan.report.wording.plan_words import loading_words
from nightplan.report.wording.words import WINDOW_WORDS, capital, reason_words

Document = Mapping[str, Any]


@dataclass(frozen=True)
class SheetSite:
    """What the sheet says of site and rig beyond the documents.

    `filter_roles` gives each filter's role by name. Power in watts and watt-hours; None leaves
    the battery's sum out. `sensor_temperature_c` is the camera's set-point. `resume_min` is what
    it takes to go on after clouds: slew, centre, focus (the default is of the starter's rig).
    `collect` is the command that takes what was ticked.
    """

    timezone: str
    filter_roles: Mapping[str, str]
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    elevation_m: float | None = None
    sensor_temperature_c: float | None = None
    battery_wh: float | None = None
    reserve_share: float = 0.0
    draw_w: float | None = None
    resume_min: float = 7.0
    collect: str = "nightplan collect --ticks FILE"


def facts(
    night: Document, plan: Document, items: list[WorkItem], site: SheetSite, clock: NightClock
) -> list[tuple[str, str]]:
    """Name and value of each fact."""
    rows: list[tuple[str, str]] = []
    start, end = plan.get("window_start_utc"), plan.get("window_end_utc")
    if start and end:
        length = duration(minutes_between(start, end))
        rows.append(("Window", f"{clock.full(start)} to {clock.full(end)}, {length}"))
        rows.append(("Darkness", capital(WINDOW_WORDS[plan["window_kind"]])))
    else:
        rows.append(("Window", "None: the sun stays too high"))
    rows.append(("Moon", _moon(night, clock)))
    sun = [
        f"{words} {clock.clock(night[key])}"
        for key, words in (("sunset_utc", "sets"), ("sunrise_utc", "rises"))
        if night.get(key)
    ]
    if sun:
        rows.append(("Sun", ", ".join(sun)))
    blocks = [item for item in items if item.block is not None]
    if blocks:
        rows.append(
            ("Subs", f"first {clock.clock(blocks[0].start_utc)}, "
                     f"last ends {clock.clock(blocks[-1].end_utc)}")
        )  # fmt: skip
    if plan.get("train"):
        trains = trains_in_order(plan)[1:]
        then = [f", then {train} for the work from {clock.clock(begin)}" for train, begin in trains]
        rows.append(("Train", str(plan["train"]) + "".join(then)))
    if loading := loading_words(plan.get("loading", ())):
        rows.append(("Filters", loading))
    if site.sensor_temperature_c is not None:
        rows.append(("Sensor", f"{number(site.sensor_temperature_c)} °C"))
    need = power(site, plan.get("setup", ()), items)
    if need:
        rows.append(("Power", need))
    return rows


def _moon(night: Document, clock: NightClock) -> str:
    parts = [f"{percent(night['moon_illuminated_fraction'])} lit"]
    for key, words in (("moonrise_utc", "rises"), ("moonset_utc", "sets")):
        if night.get(key):
            parts.append(f"{words} {clock.clock(night[key])}")
    reasons = {night.get("moonrise_utc_reason"), night.get("moonset_utc_reason")}
    for reason in ("always_up", "always_down"):
        if reason in reasons:
            parts.append(reason_words(reason))
    if night["dark_hours"]:
        parts.append(f"dark without it {duration(60.0 * night['moonless_dark_hours'])}")
    return ", ".join(parts)


def power(site: SheetSite, setup: Sequence[Document], items: list[WorkItem]) -> str:
    """What the night draws from the battery, in words; empty where that is not known."""
    if site.battery_wh is None or site.draw_w is None or not items:
        return ""
    powered = [row["start_utc"] for row in setup if row["name"] != "assembly"]
    first = min([*powered, items[0].start_utc], key=moment)
    last = last_work(items) or items[-1].end_utc
    hours = minutes_between(first, last) / 60.0
    usable = site.battery_wh * (1.0 - site.reserve_share)
    need = site.draw_w * hours
    verdict = "" if need <= usable else ", more than there is"
    return (
        f"{number(need, 0)} Wh of {number(usable, 0)} Wh above the reserve "
        f"({number(site.draw_w)} W for {number(hours)} h){verdict}"
    )


def last_work(items: list[WorkItem]) -> str | None:
    """When the last block ends, ISO 8601 UTC."""
    ends = [item.end_utc for item in items if item.block is not None]
    return max(ends, key=moment) if ends else None
