"""The dark window of a night, and the sites of a file compared, as text for the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from nightplan.number_forms import percent
from nightplan.report.documents.night import SiteNight, SitesDocument
from nightplan.report.wording.local_time import NightClock, duration, local, utc_clock
from nightplan.report.wording.plan_words import moon_words
from nightplan.report.wording.text_table import heading, note, paragraph, text_table
from nightplan.report.wording.words import WINDOW_WORDS, evening, reason_words

if TYPE_CHECKING:
    from nightplan.planning.tonight.night import Event, Night

SUN_EVENTS = (
    ("sunset", "sunset"),
    ("civil_dusk", "civil dusk, sun at −6°"),
    ("nautical_dusk", "nautical dusk, −12°"),
    ("astronomical_dusk", "astronomical dusk, −18°"),
    ("astronomical_dawn", "astronomical dawn, −18°"),
    ("nautical_dawn", "nautical dawn, −12°"),
    ("civil_dawn", "civil dawn, −6°"),
    ("sunrise", "sunrise"),
)
MOON_EVENTS = (("moonrise", "moonrise"), ("moonset", "moonset"))


def night_text(night: Night) -> str:
    """Lay out a night: events in order of time, the moon, the one window, notices."""
    moon = moon_words(night)
    parts = [
        heading(f"Night of {evening(night.evening.isoformat())} at {night.site.name}"),
        _events(night),
        _window(night),
        paragraph(f"{moon[0].upper()}{moon[1:]}."),
    ]
    parts.extend(note(notice) for notice in night.notices)
    return "\n\n".join(parts) + "\n"


def _events(night: Night) -> str:
    named: list[tuple[str, Event]] = [
        (words, getattr(night, key)) for key, words in (*SUN_EVENTS, *MOON_EVENTS)
    ]
    happens = [(event.utc_mjd, words) for words, event in named if event.utc_mjd is not None]
    rows = []
    for mjd, words in sorted(happens):
        when = local(mjd, night.zone)
        rows.append([words, f"{when:%a %H:%M}", f"{when:%z}"[:3] + ":" + f"{when:%z}"[3:5],
                     utc_clock(mjd)])  # fmt: skip
    table = text_table(["event", "local", "offset", "UTC"], rows) if rows else ""
    missing: dict[str, list[str]] = {}
    for words, event in named:
        if event.utc_mjd is None:
            missing.setdefault(_why(words, event), []).append(words.split(",")[0])
    notes = [paragraph(f"None: {', '.join(names)} ({why}).") for why, names in missing.items()]
    return "\n".join(part for part in (table, *notes) if part)


def _why(words: str, event: Event) -> str:
    if event.reason is None or event.reason == "outside_interval":
        return reason_words(event.reason)
    if words.startswith("moon"):
        return f"the moon is {reason_words(event.reason)}"
    side = "above" if event.reason == "always_up" else "below"
    return f"the sun stays {side} such altitudes from noon to noon"


def _window(night: Night) -> str:
    start, end = night.window_start_utc_mjd, night.window_end_utc_mjd
    if start is None or end is None:
        return "Window: none."  # a notice says why
    clock = NightClock(night.zone, (start, end))
    lines = [
        paragraph(
            f"Window: {clock.full(start)} to {clock.full(end)}, "
            f"{duration((end - start) * 1440.0)}; {WINDOW_WORDS[night.window_kind]}."
        )
    ]
    if night.dark_hours:
        lines.append(f"Dark with the moon down: {duration(night.moonless_dark_hours * 60.0)}.")
    return "\n".join(lines)


def sites_text(document: SitesDocument, zones: Sequence[ZoneInfo]) -> str:
    """Lay out the sites, best first, in 80 columns; one zone a site, for its own clocks."""
    rows = [_row(one, zone) for one, zone in zip(document.sites, zones, strict=True)]
    headers = ["site", "way", "window", "ready", "usable", "moonless", "moon"]
    lines = [
        f"Night of {document.date}: where to drive",
        "",
        text_table(headers, rows, right=(1, 4, 5, 6)),
    ]
    for one in document.sites:
        if one.worth_h is None:
            continue
        lines += ["", paragraph(_worth(one, document.first_site))]
        for place, target in enumerate(one.targets, start=1):
            lines.append(
                paragraph(
                    f"{target.name} with the {target.train}: {target.hours:.1f} h inside all "
                    f"limits, worth {target.first_site_h:.1f} h",
                    indent=f"{place:3d}  ",
                )
            )
    lines += ["", paragraph("Times are on each site's own clocks; usable is from ready to dawn.")]
    lines += [paragraph(notice) for notice in document.notices]
    return "\n".join(lines)


def _row(one: SiteNight, zone: ZoneInfo) -> list[str]:
    window = "none"
    ready = "-" if one.ready_utc is None else _clock(one.ready_utc, zone)
    if one.window_start_utc is not None and one.window_end_utc is not None:
        window = f"{_clock(one.window_start_utc, zone)} to {_clock(one.window_end_utc, zone)}"
    return [
        one.site,
        f"{one.drive_min:.0f} min",
        window,
        ready,
        f"{one.usable_hours:.1f} h",
        f"{one.moonless_dark_hours:.1f} h",
        percent(one.moon_illuminated_fraction),
    ]


def _clock(utc: str, zone: ZoneInfo) -> str:
    return NightClock(zone, [utc]).clock(utc)


def _worth(one: SiteNight, first: str) -> str:
    if not one.targets:
        return f"{one.site}: no target is worth the night there."
    return (
        f"{one.site}: up to {one.worth_h:.1f} effective h, counted at {first}, "
        f"{one.worth_h_per_hour_away:.2f} for each of the {one.hours_away:.1f} h away from home."
    )
