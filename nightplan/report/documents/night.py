"""The documents of `nightplan night`: one site's dark window, and several sites compared."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from nightplan.planning.choosing.where_tonight import SiteTonight, ThereTarget
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


class SiteTarget(Document):
    """One of a site's best targets; `hours` on the clock and `equivalent_h` of its own moonless
    zenith lie between being ready and the window's end."""

    name: str
    train: str
    score: float
    hours: float
    equivalent_h: float
    first_site_h: float


class SiteNight(Document):
    """One site, its night, and what it brings."""

    site: str
    drive_min: float
    arrival_utc: str | None
    arrival_utc_reason: str | None = None
    window_kind: Literal["astronomical", "nautical", "none"]
    window_start_utc: str | None
    window_start_utc_reason: str | None = None
    window_end_utc: str | None
    window_end_utc_reason: str | None = None
    ready_utc: str | None
    ready_utc_reason: str | None = None
    dark_hours: float
    moonless_dark_hours: float
    moon_illuminated_fraction: float
    usable_hours: float
    hours_away: float
    targets: list[SiteTarget]
    worth_h: float | None
    worth_h_reason: str | None = None
    worth_h_per_hour_away: float | None
    worth_h_per_hour_away_reason: str | None = None


class SitesDocument(Document):
    """The sites of the configuration for one evening, best first."""

    date: str
    first_site: str
    sites: list[SiteNight]
    notices: list[str]


def sites_document(found: Sequence[SiteTonight], first_site: str, *, ranked: bool) -> SitesDocument:
    """Put sites into their document; `ranked` says that targets were asked for."""
    notices = dict.fromkeys(notice for one in found for notice in one.night.notices)
    return SitesDocument(
        date=found[0].night.evening.isoformat(),
        first_site=first_site,
        sites=[_site(one, ranked) for one in found],
        notices=list(notices),
    )


def _site(one: SiteTonight, ranked: bool) -> SiteNight:
    night = one.night
    dark = None if night.window_utc_mjd else "no_darkness"
    unranked = None if ranked else "not_asked_for"
    per_hour = one.worth_h / one.away_h if one.away_h > 0.0 else 0.0
    return SiteNight(
        site=night.site.name,
        drive_min=one.config.site.drive_min,
        arrival_utc=_iso(one.arrival_utc_mjd),
        arrival_utc_reason="not_given" if one.arrival_utc_mjd is None else None,
        window_kind=night.window_kind,
        window_start_utc=_iso(night.window_start_utc_mjd),
        window_start_utc_reason=dark,
        window_end_utc=_iso(night.window_end_utc_mjd),
        window_end_utc_reason=dark,
        ready_utc=_iso(one.ready_utc_mjd),
        ready_utc_reason=None if one.ready_utc_mjd is not None else dark or "too_late",
        dark_hours=round(night.dark_hours, 4),
        moonless_dark_hours=round(night.moonless_dark_hours, 4),
        moon_illuminated_fraction=round(night.moon_illuminated_fraction, 4),
        usable_hours=round(one.usable_h, 4),
        hours_away=round(one.away_h, 4),
        targets=[_target(target) for target in one.best],
        worth_h=round(one.worth_h, 3) if ranked else None,
        worth_h_reason=unranked,
        worth_h_per_hour_away=round(per_hour, 4) if ranked else None,
        worth_h_per_hour_away_reason=unranked,
    )


def _target(one: ThereTarget) -> SiteTarget:
    return SiteTarget(
        name=one.ranked.target.name,
        train=one.ranked.train,
        score=round(one.ranked.score, 5),
        hours=round(one.ranked.hours, 3),
        equivalent_h=round(one.ranked.equivalent_h, 3),
        first_site_h=round(one.first_site_h, 3),
    )


def _iso(utc_mjd: float | None) -> str | None:
    return None if utc_mjd is None else utc_iso(utc_mjd)
