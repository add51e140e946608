"""The dark window of a night as text for the terminal: local time with offset, and UTC."""

from __future__ import annotations

from typing import TYPE_CHECKING

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
    """Lay out a night: events in order of time, the moon, the one window, notices.

    Parameters
    ----------
    night : Night
        From `nightplan.planning.tonight.night.compute_night`.

    Returns
    -------
    str
        Lines as wide as the screen at most.
    """
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
