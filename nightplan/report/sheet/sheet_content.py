"""What stands on the field sheet: the documents of a night turned into words, nothing drawn."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from nightplan.report.page.page_style import SheetLook
from nightplan.report.plots.time_axis import whole_hours
from nightplan.report.sheet.cautions import cautions
from nightplan.report.wording.local_time import (
    NightClock,
    duration,
    local,
    minutes_between,
    moment,
)
from nightplan.report.wording.order_of_work import (
    WorkItem,
    order_of_work,
    targets_in_order,
    trains_in_order,
)
from nightplan.report.wording.words import (
    GUIDE_WORDS,
    WINDOW_WORDS,
    number,
    panels_of,
    percent,
    reason_words,
    subs,
)

Document = Mapping[str, Any]

LONG_REASON = 60
NARROWEST_LETTER = 1.6  # percent of the strip: on a phone, less would cut a name off


@dataclass(frozen=True)
class SheetSite:
    """What the sheet says of site and rig beyond the documents.

    `filter_roles` gives each filter's role by name. Power in watts and watt-hours; None leaves
    the battery's sum out. `sensor_temperature_c` is the camera's set-point.
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


@dataclass
class SheetContent:
    """Everything the template prints, ready to read."""

    site: str
    evening: str
    times: str
    heading: str
    notices: list[str]
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
    replan: str = ""
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
        heading=f"Times: {clock.heading}",
        notices=list(dict.fromkeys([*night.get("notices", ()), *plan.get("notices", ())])),
        looks=list(looks.values()),
    )
    look_of = {name: looks[role].css_class for name, role in site.filter_roles.items()}
    content.facts = _facts(night, plan, items, site, clock)
    content.order = _order(items, clock)
    if plan.get("window_start_utc") and items:
        content.strip = _strip(night, plan, items, zone, clock, look_of)
    content.setup = [
        {
            "id": f"s{i}",
            "start": clock.clock(row["start_utc"]),
            "end": clock.clock(row["end_utc"]),
            "name": _capital(row["name"]),
        }
        for i, row in enumerate(setup)
    ]
    content.groups = _groups(plan, items, clock, look_of)
    if not plan["blocks"]:
        reason = str(plan.get("blocks_reason") or "nothing fits").replace("_", " ")
        content.no_blocks = f"No block can be placed: {reason}."
    content.cards = _cards(plan, frames, charts, items, clock)
    content.calibration, content.calibration_time = _calibration(calibration_owed)
    content.replan = replan
    last = _last_work(items) or plan.get("window_end_utc")
    content.cautions = cautions(
        work_ends=None if last is None else clock.full(last),
        sunrise=None if night.get("sunrise_utc") is None else clock.full(night["sunrise_utc"]),
        power=_power(site, setup, items),
    )
    content.provenance = (
        f"Made by nightplan for {night['site']} from the plan of {night['date']}; "
        "worked out without a network. Position angles run from north through east, ICRS. "
        f"{credit}".rstrip()
    )
    content.chapters = _chapters(content)
    content.script_data = _script_data(night, plan, setup, items, clock)
    first = items[0].start_utc if items else night.get("sunset_utc") or f"{night['date']}T22:00:00Z"
    content.rehearsal = first[:16] + "Z"
    return content


def _times(night: Document, plan: Document, setup: Sequence[Document]) -> list[str]:
    rows = [*plan["blocks"], *plan["events"], *setup]
    found = [row[key] for row in rows for key in ("start_utc", "end_utc")]
    found += [night.get("sunset_utc"), night.get("sunrise_utc")]
    found += [plan.get("window_start_utc"), plan.get("window_end_utc")]
    return [time for time in found if time] or [f"{night['date']}T22:00:00Z"]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _facts(
    night: Document, plan: Document, items: list[WorkItem], site: SheetSite, clock: NightClock
) -> list[tuple[str, str]]:
    facts: list[tuple[str, str]] = []
    start, end = plan.get("window_start_utc"), plan.get("window_end_utc")
    if start and end:
        length = duration(minutes_between(start, end))
        facts.append(("Window", f"{clock.full(start)} to {clock.full(end)}, {length}"))
        facts.append(("Darkness", _capital(WINDOW_WORDS[plan["window_kind"]])))
    else:
        facts.append(("Window", "None: the sun stays too high"))
    facts.append(("Moon", _moon(night, clock)))
    sun = [
        f"{words} {clock.clock(night[key])}"
        for key, words in (("sunset_utc", "sets"), ("sunrise_utc", "rises"))
        if night.get(key)
    ]
    if sun:
        facts.append(("Sun", ", ".join(sun)))
    blocks = [item for item in items if item.block is not None]
    if blocks:
        facts.append(
            ("Subs", f"first {clock.clock(blocks[0].start_utc)}, "
                     f"last ends {clock.clock(blocks[-1].end_utc)}")
        )  # fmt: skip
    if plan.get("train"):
        trains = trains_in_order(plan)[1:]
        then = [f", then {train} for the work from {clock.clock(begin)}" for train, begin in trains]
        facts.append(("Train", str(plan["train"]) + "".join(then)))
    if site.sensor_temperature_c is not None:
        facts.append(("Sensor", f"{number(site.sensor_temperature_c)} °C".replace("-", "−")))
    power = _power(site, plan.get("setup", ()), items)
    if power:
        facts.append(("Power", power))
    return facts


def _moon(night: Document, clock: NightClock) -> str:
    parts = [f"{percent(night['moon_illuminated_fraction'])} lit"]
    for key, words in (("moonrise_utc", "rises"), ("moonset_utc", "sets")):
        if night.get(key):
            parts.append(f"{words} {clock.clock(night[key])}")
    reasons = {night.get("moonrise_utc_reason"), night.get("moonset_utc_reason")}
    for reason in ("always_up", "always_down"):
        if reason in reasons:
            parts.append(reason_words(reason))
    if night["window_kind"] == "astronomical":
        parts.append(f"dark without it {duration(60.0 * night['moonless_dark_hours'])}")
    return ", ".join(parts)


def _power(site: SheetSite, setup: Sequence[Document], items: list[WorkItem]) -> str:
    if site.battery_wh is None or site.draw_w is None or not items:
        return ""
    first = min([row["start_utc"] for row in setup] + [items[0].start_utc], key=moment)
    last = _last_work(items) or items[-1].end_utc
    hours = minutes_between(first, last) / 60.0
    usable = site.battery_wh * (1.0 - site.reserve_share)
    need = site.draw_w * hours
    verdict = "" if need <= usable else ", more than there is"
    return (
        f"{number(need, 0)} Wh of {number(usable, 0)} Wh above the reserve "
        f"({number(site.draw_w)} W for {number(hours)} h){verdict}"
    )


def _last_work(items: list[WorkItem]) -> str | None:
    ends = [item.end_utc for item in items if item.block is not None]
    return max(ends, key=moment) if ends else None


def _order(items: list[WorkItem], clock: NightClock) -> list[dict[str, str]]:
    rows: list[dict[str, str]] = []
    for stretch in _stretches(items):
        blocks = [item for item in stretch if item.block is not None]
        if not blocks:
            continue
        totals: dict[tuple[str, float], int] = {}
        for item in blocks:
            assert item.block is not None
            key = (item.block["filter"], item.block["sub_s"])
            totals[key] = totals.get(key, 0) + int(item.block["count"])
        work = ", ".join(f"{name} {subs(count, sub)}" for (name, sub), count in totals.items())
        rows.append(
            {
                "target": str(blocks[0].target),
                "start": clock.clock(blocks[0].start_utc),
                "end": clock.clock(blocks[-1].end_utc),
                "work": work,
            }
        )
    return rows


def _stretches(items: list[WorkItem]) -> list[list[WorkItem]]:
    """Items by the target they serve, in order; idle time stays with what it stands beside."""
    groups: list[list[WorkItem]] = []
    current: str | None = None
    for item in items:
        if not groups or (item.target is not None and current not in (None, item.target)):
            groups.append([])
            current = None
        current = item.target if item.target is not None else current
        groups[-1].append(item)
    return groups


def _strip(
    night: Document,
    plan: Document,
    items: list[WorkItem],
    zone: ZoneInfo,
    clock: NightClock,
    look_of: Mapping[str, str],
) -> dict[str, Any]:
    start, end = moment(plan["window_start_utc"]), moment(plan["window_end_utc"])
    whole = end - start

    def share(utc: str | float | dt.datetime) -> float:
        when = utc if isinstance(utc, dt.datetime) else moment(utc)
        return 100.0 * min(max((when - start) / whole, 0.0), 1.0)

    def bar(from_utc: Any, to_utc: Any, text: str, look: str = "") -> dict[str, Any]:
        left = share(from_utc)
        width = share(to_utc) - left
        least = NARROWEST_LETTER * len(text)
        shown = text if width >= least else ""
        return {"left": f"{left:.2f}", "width": f"{width:.2f}", "text": shown, "look": look}

    blocks = [item for item in items if item.block is not None]
    targets = []
    for stretch in _stretches(items):
        inside = [item for item in stretch if item.block is not None]
        if inside:
            targets.append(bar(inside[0].start_utc, inside[-1].end_utc, str(inside[0].target)))
    marks = []
    for item in items:
        kinds = [kind for kind in ("flip", "focus") if kind in item.kinds]
        if kinds:
            marks.append(
                {"left": f"{share(item.start_utc):.2f}", "kind": kinds[0],
                 "text": "flip" if kinds[0] == "flip" else ""}
            )  # fmt: skip
    ticks = whole_hours(_mjd(start), _mjd(end), zone, 1 if whole <= dt.timedelta(hours=11) else 2)
    words = "; ".join(
        f"{row['target']} {row['start']} to {row['end']}: {row['work']}"
        for row in _order(items, clock)
    )
    return {
        "words": f"The night as a strip. {words}.",
        "edges": f"{clock.full(plan['window_start_utc'])} to {clock.full(plan['window_end_utc'])}",
        "targets": targets,
        "blocks": [
            bar(item.start_utc, item.end_utc, item.block["filter"], look_of[item.block["filter"]])
            for item in blocks
            if item.block is not None
        ],
        "marks": marks,
        "moon": [bar(a, b, "moon up") for a, b in _moon_up(night, start, end)],
        "hours": [
            {"left": f"{share(mjd):.2f}", "text": f"{when:%H}"}
            for mjd, when in ticks
            if share(mjd) < 95.0
        ],
    }


def _mjd(when: dt.datetime) -> float:
    from nightplan.report.wording.local_time import utc_mjd

    return utc_mjd(when)


def _moon_up(
    night: Document, start: dt.datetime, end: dt.datetime
) -> list[tuple[dt.datetime, dt.datetime]]:
    """Stretches of the window with the moon up, from the night document's rise and set."""
    rise = moment(night["moonrise_utc"]) if night.get("moonrise_utc") else None
    fall = moment(night["moonset_utc"]) if night.get("moonset_utc") else None
    if rise is None and fall is None:
        reasons = (night.get("moonrise_utc_reason"), night.get("moonset_utc_reason"))
        return [(start, end)] if "always_up" in reasons else []
    if rise is None:
        spans = [(start, fall)]
    elif fall is None:
        spans = [(rise, end)]
    elif rise < fall:
        spans = [(rise, fall)]
    else:
        spans = [(start, fall), (rise, end)]
    cut = [(max(a, start), min(b, end)) for a, b in spans if a is not None and b is not None]
    return [(a, b) for a, b in cut if b > a]


def _groups(
    plan: Document, items: list[WorkItem], clock: NightClock, look_of: Mapping[str, str]
) -> list[dict[str, Any]]:
    panels = panels_of(plan)
    framed = {row["target"]: row for row in plan.get("targets", ())}
    ids = {id(item): f"w{i}" for i, item in enumerate(items)}
    groups = []
    for stretch in _stretches(items):
        target = next((item.target for item in stretch if item.target is not None), None)
        rows = []
        for item in stretch:
            row: dict[str, Any] = {
                "id": ids[id(item)],
                "is_block": item.block is not None,
                "start": clock.clock(item.start_utc),
                "end": clock.clock(item.end_utc),
                "words": _capital(item.words),
            }
            if item.block is not None:
                block = item.block
                row |= {
                    "filter": block["filter"],
                    "look": look_of[block["filter"]],
                    "subs": subs(block["count"], block["sub_s"]),
                    "gain": block["gain"],
                    "why": _capital(str(block.get("why") or "")),
                    "long": len(str(block.get("why") or "")) > LONG_REASON,
                    "panel": block.get("panel") if panels.get(str(target), 1) > 1 else None,
                }
            rows.append(row)
        frame = framed.get(str(target))
        groups.append(
            {
                "title": str(target) if target is not None else "No target",
                "angle": None if frame is None else _angle(frame),
                "rows": rows,
            }
        )
    return groups


def _angle(frame: Document) -> str:
    return (
        f"Camera angle {number(frame['position_angle_deg'])}° "
        f"± {number(frame['position_angle_tolerance_deg'])}°, "
        f"image up {number(frame['image_up_angle_deg'])}°, train {frame['train']}."
    )


def _cards(
    plan: Document,
    frames: Mapping[str, Document],
    charts: Mapping[str, Any],
    items: list[WorkItem],
    clock: NightClock,
) -> list[dict[str, Any]]:
    framed = {row["target"]: row for row in plan.get("targets", ())}
    names = [*targets_in_order(items), *framed]
    tonight: dict[str, str] = {}
    for row in _order(items, clock):
        before = f"{tonight[row['target']]}; " if row["target"] in tonight else ""
        tonight[row["target"]] = f"{before}{row['start']} to {row['end']}"
    cards = []
    for name in dict.fromkeys(names):
        frame = frames.get(name) or framed.get(name)
        if frame is None:
            continue
        common = framed.get(name, {}).get("common_name") or ""
        title = f"{name}, {common}" if common and common != name else name
        panels = frame["panels"] if isinstance(frame.get("panels"), list) else []
        facts = [
            ("Tonight", tonight.get(name, "in reserve: no block")),
            ("Angle", f"{number(frame['position_angle_deg'])}° "
                      f"± {number(frame['position_angle_tolerance_deg'])}°"),
            ("Image up", f"{number(frame['image_up_angle_deg'])}°"),
            ("Train", str(frame["train"])),
        ]  # fmt: skip
        if len(panels) == 1:
            facts.append(
                ("Centre", f"{ra_text(panels[0]['ra_deg'])} {dec_text(panels[0]['dec_deg'])}")
            )
        facts += [
            ("Covered", percent(frame["coverage"])),
            ("Margin", f"{number(frame['margin_arcmin'])}′".replace("-", "−")),
        ]
        notes = [str(frame["reason"])] if frame.get("reason") else []
        guide = frame.get("guide")
        if guide:
            facts += _guide_facts(guide)
            notes += _guide_notes(guide)
        cards.append(
            {
                "title": title,
                "chart": charts.get(name),
                "chart_words": f"{name}: the field in train {frame['train']}"
                + (", and where the guider looks before and after the meridian." if guide else "."),
                "facts": facts,
                "panels": [
                    {
                        "number": i,
                        "ra": ra_text(panel["ra_deg"]),
                        "dec": dec_text(panel["dec_deg"]),
                        "angle": f"{number(panel['position_angle_deg'], 2)}°",
                    }
                    for i, panel in enumerate(panels, start=1)
                ]
                if len(panels) > 1
                else [],
                "notes": notes,
            }
        )
    return cards


def _guide_facts(guide: Document) -> list[tuple[str, str]]:
    facts = []
    for when in ("Before", "After"):
        side = guide[f"{when.lower()}_meridian"]
        text = GUIDE_WORDS.get(side["state"], side["state"])
        stars = side.get("stars") or []
        if stars:
            brightest = min(star["g_mag"] for star in stars)
            more = f" and {len(stars) - 1} more" if len(stars) > 1 else ""
            text = f"of G {brightest:.1f}{more}"
        elif side.get("expected_count") is not None:
            count = float(side["expected_count"])
            text += f", about {number(count, 0 if count >= 3.0 else 1)} by local density"
        facts.append((f"{when} meridian", f"guide star {text}"))
    return facts


def _guide_notes(guide: Document) -> list[str]:
    if guide.get("advice"):
        return [str(guide["advice"])]
    better = guide.get("better_image_up_angle_deg")
    if better is not None:
        return [f"With image up at {number(better)}° the guider does better and the frame keeps."]
    return []


def ra_text(ra_deg: float) -> str:
    """Right ascension as ``20h59m00s``, to the second of time."""
    total = round(ra_deg / 15.0 * 3600.0) % 86400
    return f"{total // 3600:02d}h{total // 60 % 60:02d}m{total % 60:02d}s"


def dec_text(dec_deg: float) -> str:
    """Declination as ``+44°22′12″``, to the second of arc."""
    total = round(abs(dec_deg) * 3600.0)
    sign = "−" if dec_deg < 0.0 and total else "+"
    return f"{sign}{total // 3600:02d}°{total // 60 % 60:02d}′{total % 60:02d}″"


def _calibration(owed: Sequence[Document]) -> tuple[list[dict[str, str]], str]:
    """Rows that differ by the filter alone are one row; the counts and times are for each."""
    grouped: dict[tuple[Any, ...], list[Document]] = {}
    for row in owed:
        alike = tuple(
            row.get(key)
            for key in ("kind", "train", "position_angle_deg", "sub_s", "gain",
                        "sensor_temperature_c", "count", "reason")
        )  # fmt: skip
        grouped.setdefault(alike, []).append(row)
    rows = []
    for i, members in enumerate(grouped.values()):
        row = members[0]
        filters = [str(member["filter"]) for member in members if member.get("filter")]
        parts = [" ".join(filters)] if filters else []
        if row.get("train"):
            parts.append(str(row["train"]))
        if row.get("position_angle_deg") is not None:
            parts.append(f"angle {number(row['position_angle_deg'])}°")
        if row.get("sub_s") is not None:
            parts.append(f"{number(row['sub_s'], 3)} s")
        if row.get("gain") is not None:
            parts.append(f"gain {row['gain']}")
        if row.get("sensor_temperature_c") is not None:
            parts.append(f"{number(row['sensor_temperature_c'])} °C".replace("-", "−"))
        spent = [float(member["minutes"]) for member in members if member.get("minutes")]
        each = " each" if len(members) > 1 else ""
        rows.append(
            {
                "id": f"c{i}",
                "kind": _capital(str(row["kind"]).replace("_", " ")),
                "what": ", ".join(parts),
                "count": f"{row['count']}{each}",
                "time": duration(sum(spent)) if spent else "",
                "reason": str(row.get("reason") or "").replace("_", " "),
            }
        )
    total = sum(float(row.get("minutes") or 0.0) for row in owed)
    return rows, duration(total) if all(row.get("minutes") for row in owed) else ""


def _chapters(content: SheetContent) -> list[tuple[str, str]]:
    chapters = [("tonight", "Tonight")]
    if content.setup:
        chapters.append(("setup", "Set-up"))
    chapters.append(("work", "Work"))
    if content.cards:
        chapters.append(("framing", "Framing"))
    return [
        *chapters,
        ("calibration", "Calibration"),
        ("replan", "Clouds"),
        ("cautions", "Cautions"),
    ]


def _script_data(
    night: Document,
    plan: Document,
    setup: Sequence[Document],
    items: list[WorkItem],
    clock: NightClock,
) -> dict[str, Any]:
    entries: list[dict[str, Any]] = [
        {
            "id": f"s{i}",
            "words": _capital(row["name"]),
            "start": _ms(row["start_utc"]),
            "end": _ms(row["end_utc"]),
        }
        for i, row in enumerate(setup)
    ]
    for i, item in enumerate(items):
        words = _capital(item.words)
        if item.block is not None:
            block = item.block
            words = f"{block['target']}, {block['filter']}, {subs(block['count'], block['sub_s'])}"
        elif item.target is not None:
            words = f"{words} ({item.target})"
        entries.append(
            {
                "id": f"w{i}",
                "words": words,
                "start": _ms(item.start_utc),
                "end": _ms(item.end_utc),
            }
        )
    entries.sort(key=lambda entry: entry["start"])
    noon = dt.datetime.combine(dt.date.fromisoformat(night["date"]), dt.time(12), tzinfo=clock.zone)
    end = (noon.replace(tzinfo=None) + dt.timedelta(days=1)).replace(tzinfo=clock.zone)
    strip = [edge for edge in (plan["window_start_utc"], plan["window_end_utc"]) if edge]
    return {
        "key": f"nightplan {night['site']} {night['date']} ",
        "from": round(noon.timestamp() * 1000.0),
        "to": round(end.timestamp() * 1000.0),
        "strip": [_ms(edge) for edge in strip] or [0, 1],
        "offsets": _offsets(noon, end, clock.zone),
        "items": entries,
    }


def _ms(utc: str) -> int:
    return round(moment(utc).timestamp() * 1000.0)


def _offsets(start: dt.datetime, end: dt.datetime, zone: ZoneInfo) -> list[list[float]]:
    """The zone's offsets as [from when in ms, minutes], the first from the beginning."""
    from nightplan.report.plots.time_axis import clock_changes

    def minutes(when: dt.datetime) -> float:
        offset = when.astimezone(zone).utcoffset() or dt.timedelta(0)
        return offset / dt.timedelta(minutes=1)

    begin, stop = start.astimezone(dt.UTC), end.astimezone(dt.UTC)
    found = [[0.0, minutes(begin)]]
    for mjd, _, _ in clock_changes(_mjd(begin), _mjd(stop), zone):
        when = local(mjd, zone)
        found.append([round(when.timestamp() * 1000.0), minutes(when)])
    return found
