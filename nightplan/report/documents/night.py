"""The document of `nightplan night`: the dark window of one night."""

from __future__ import annotations

from typing import Literal

from nightplan.planning.tonight.night import Night
from nightplan.report.documents.base import Document
from nightplan.sky.times import utc_iso


class NightDocument(Document):
    """Events between local noon and the next, and the one window of the night."""

    site: str
    date: str
    sunset_utc: str | None
    sunset_utc_reason: str | None = None
    civil_dusk_utc: str | None
    civil_dusk_utc_reason: str | None = None
    nautical_dusk_utc: str | None
    nautical_dusk_utc_reason: str | None = None
    astronomical_dusk_utc: str | None
    astronomical_dusk_utc_reason: str | None = None
    astronomical_dawn_utc: str | None
    astronomical_dawn_utc_reason: str | None = None
    nautical_dawn_utc: str | None
    nautical_dawn_utc_reason: str | None = None
    civil_dawn_utc: str | None
    civil_dawn_utc_reason: str | None = None
    sunrise_utc: str | None
    sunrise_utc_reason: str | None = None
    moonrise_utc: str | None
    moonrise_utc_reason: str | None = None
    moonset_utc: str | None
    moonset_utc_reason: str | None = None
    moon_illuminated_fraction: float
    dark_hours: float
    moonless_dark_hours: float
    window_kind: Literal["astronomical", "nautical", "none"]
    window_start_utc: str | None
    window_start_utc_reason: str | None = None
    window_end_utc: str | None
    window_end_utc_reason: str | None = None
    notices: list[str]


def night_document(night: Night) -> NightDocument:
    """Put a `Night` into its document."""
    values: dict[str, object] = {}
    for name, event in night.events.items():
        values[f"{name}_utc"] = None if event.utc_mjd is None else utc_iso(event.utc_mjd)
        values[f"{name}_utc_reason"] = event.reason
    for edge in ("window_start", "window_end"):
        moment = getattr(night, f"{edge}_utc_mjd")
        values[f"{edge}_utc"] = None if moment is None else utc_iso(moment)
        values[f"{edge}_utc_reason"] = "no_darkness" if moment is None else None
    return NightDocument.model_validate(
        {
            **values,
            "site": night.site.name,
            "date": night.evening.isoformat(),
            "moon_illuminated_fraction": round(night.moon_illuminated_fraction, 4),
            "dark_hours": round(night.dark_hours, 4),
            "moonless_dark_hours": round(night.moonless_dark_hours, 4),
            "window_kind": night.window_kind,
            "notices": list(night.notices),
        }
    )
