"""Words that the texts and the sheet share: what an event is called, how a sub is written."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

from nightplan.number_forms import number

EVENT_WORDS: Mapping[str, str] = {
    "slew_centre": "slew and centre",
    "focus": "focus",
    "filter_change": "change filter",
    "flip": "meridian flip",
    "setup": "set-up",
    "idle": "nothing planned",
    "download": "download",
    "dither": "dither",
    "exposure": "shutter open",
    "train_change": "change train",
    "turn": "turn the camera",
    "flats": "flats",
}

WINDOW_WORDS: Mapping[str, str] = {
    "astronomical": "astronomical darkness",
    "nautical": "nautical darkness",
    "none": "no dark window in this night",
}

REASON_WORDS: Mapping[str, str] = {
    "always_up": "up all night long",
    "always_down": "below the horizon throughout",
    "outside_interval": "not between this noon and the next",
    "no_darkness": "the sun stays too high",
    "never_up": "never above the limits",
    "no_usable_time": "up, but always too near the moon or in too bright a sky",
    "all_goals_are_reached": "every goal is reached already",
}

KIND_WORDS: Mapping[str, str] = {
    "galaxy": "galaxy",
    "galaxy_group": "galaxy group",
    "emission_nebula": "emission nebula",
    "reflection_nebula": "reflection nebula",
    "dark_nebula": "dark nebula",
    "planetary_nebula": "planetary nebula",
    "supernova_remnant": "supernova remnant",
    "open_cluster": "open cluster",
    "globular_cluster": "globular cluster",
    "cluster_with_nebula": "cluster + nebula",
    "star_field": "star field",
    "other": "other",
}

MOST_HOURS = 100.0
"""Hours beyond which a number would feign what is not known."""

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

GUIDE_WORDS: Mapping[str, str] = {
    "found": "in the patch",
    "expected": "likely",
    "unlikely": "unlikely",
}
"""Short, for a table: the outlook for a guide star on one side of the meridian."""


def event_words(kind: str) -> str:
    """What an event of the plan is called on the page."""
    return EVENT_WORDS.get(kind, kind.replace("_", " "))


def reason_words(reason: str | None) -> str:
    """Why a value does not exist, in words."""
    if reason is None:
        return "none"
    return REASON_WORDS.get(reason, reason.replace("_", " "))


def angle_range(angle_deg: float, tolerance_deg: float, most: int = 0) -> str:
    """A camera angle and how far it may be off: ``36° ± 9°``, ``90°, or any``."""
    angle = f"{number(angle_deg, most)}°"
    if tolerance_deg >= 89.5:
        return f"{angle}, or any"
    return f"{angle} ± {number(tolerance_deg, 0 if tolerance_deg >= 2.0 else 1)}°"


def about(value: float) -> str:
    """A count that is known roughly: one digit below ten, else to the nearest five."""
    if value < 0.5:
        return "none"
    return f"about {value:.0f}" if value < 10.0 else f"about {5 * round(value / 5.0)}"


def evening(date: str) -> str:
    """The evening that a night begins on: ``Wed 2027-10-06``."""
    return f"{DAYS[datetime.date.fromisoformat(date).weekday()]} {date}"


def hours_words(hours: float) -> str:
    """``5.3 h``, ``25 h``; beyond 100 the figure means no more than that."""
    return (
        f"{number(hours, 0 if hours >= 10.0 else 1)} h"
        if hours <= MOST_HOURS
        else f"more than {MOST_HOURS:.0f} h"
    )


def capital(text: str) -> str:
    """A phrase with its first letter as at the beginning of a sentence."""
    return text[:1].upper() + text[1:]


def counted(count: int, noun: str) -> str:
    """``1 night``, ``2 nights``."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def subject_name(name: str, subject: Sequence[str] | None) -> str:
    """``M 31 +2`` where the framing holds two more; a name of several, ``M 81 + M 82``, says so."""
    return f"{name} +{len(subject) - 1}" if subject and " + " not in name else name


SAID_BY_KIND = ("Nebula", "Galaxy", "Cluster")


def shortened(common_name: str) -> str:
    """A common name without the closing word that says the kind: ``North America``."""
    words = common_name.split()
    return " ".join(words[:-1] if len(words) > 1 and words[-1] in SAID_BY_KIND else words)


def subs(count: int, sub_s: float) -> str:
    """``14 × 300 s``."""
    return f"{count} × {number(sub_s)} s"


def target_and_panel(row: Mapping[str, Any], panels: Mapping[str, int]) -> str:
    """The target of a block or progress row, with its panel where there are several."""
    name = str(row["target"])
    if panels.get(name, 1) > 1 and row.get("panel") is not None:
        return f"{name} panel {row['panel']}"
    return name


def panels_of(plan: Mapping[str, Any]) -> dict[str, int]:
    """How many panels each target of a plan document has."""
    counts = {row["target"]: int(row.get("panels", 1)) for row in plan.get("targets", ())}
    for row in plan.get("blocks", ()):
        counts[row["target"]] = max(counts.get(row["target"], 1), int(row.get("panel") or 1))
    return counts
