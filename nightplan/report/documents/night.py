"""The documents of `nightplan night`: one site's dark window, and several sites compared."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from nightplan.planning.choosing.where_tonight import SiteTonight
from nightplan.planning.tonight.night import Night
from nightplan.report.documents.base import Day, Document, To3, To4, To5, Utc


class NightDocument(Document):
    """Events between local noon and the next, and the one window of the night."""

    site: str
    date: Day
    sunset_utc: Utc | None
    sunset_utc_reason: str | None = None
    civil_dusk_utc: Utc | None
    civil_dusk_utc_reason: str | None = None
    nautical_dusk_utc: Utc | None
    nautical_dusk_utc_reason: str | None = None
    astronomical_dusk_utc: Utc | None
    astronomical_dusk_utc_reason: str | None = None
    astronomical_dawn_utc: Utc | None
    astronomical_dawn_utc_reason: str | None = None
    nautical_dawn_utc: Utc | None
    nautical_dawn_utc_reason: str | None = None
    civil_dawn_utc: Utc | None
    civil_dawn_utc_reason: str | None = None
    sunrise_utc: Utc | None
    sunrise_utc_reason: str | None = None
    moonrise_utc: Utc | None
    moonrise_utc_reason: str | None = None
    moonset_utc: Utc | None
    moonset_utc_reason: str | None = None
    moon_illuminated_fraction: To4
    dark_hours: To4
    moonless_dark_hours: To4
    window_kind: Literal["astronomical", "nautical", "none"]
    window_start_utc: Utc | None
    window_start_utc_reason: str | None = None
    window_end_utc: Utc | None
    window_end_utc_reason: str | None = None
    notices: list[str]


def night_document(night: Night) -> NightDocument:
    """Put a `Night` into its document."""
    values: dict[str, object] = {}
    for name, event in night.events.items():
        values |= {f"{name}_utc": event.utc_mjd, f"{name}_utc_reason": event.reason}
    dark = None if night.window_utc_mjd else "no_darkness"
    return NightDocument.of(
        night,
        **values,
        site=night.site.name,
        date=night.evening,
        window_start_utc_reason=dark,
        window_end_utc_reason=dark,
    )


class SiteTarget(Document):
    """One of a site's best targets; `hours` on the clock and `equivalent_h` of its own moonless
    zenith lie between being ready and the window's end."""

    name: str
    train: str
    score: To5
    hours: To3
    equivalent_h: To3
    first_site_h: To3


class SiteNight(Document):
    """One site, its night, and what it brings."""

    site: str
    drive_min: float
    arrival_utc: Utc | None
    arrival_utc_reason: str | None = None
    window_kind: Literal["astronomical", "nautical", "none"]
    window_start_utc: Utc | None
    window_start_utc_reason: str | None = None
    window_end_utc: Utc | None
    window_end_utc_reason: str | None = None
    ready_utc: Utc | None
    ready_utc_reason: str | None = None
    dark_hours: To4
    moonless_dark_hours: To4
    moon_illuminated_fraction: To4
    usable_hours: To4
    hours_away: To4
    targets: list[SiteTarget]
    worth_h: To3 | None
    worth_h_reason: str | None = None
    worth_h_per_hour_away: To4 | None
    worth_h_per_hour_away_reason: str | None = None


class SitesDocument(Document):
    """The sites of the configuration for one evening, best first."""

    date: Day
    first_site: str
    sites: list[SiteNight]
    notices: list[str]


def sites_document(found: Sequence[SiteTonight], first_site: str, *, ranked: bool) -> SitesDocument:
    """Put sites into their document; `ranked` says that targets were asked for."""
    notices = dict.fromkeys(notice for one in found for notice in one.night.notices)
    return SitesDocument.of(
        date=found[0].night.evening,
        first_site=first_site,
        sites=[_site(one, ranked) for one in found],
        notices=list(notices),
    )


def _site(one: SiteTonight, ranked: bool) -> SiteNight:
    night = one.night
    dark = None if night.window_utc_mjd else "no_darkness"
    unranked = None if ranked else "not_asked_for"
    per_hour = one.worth_h / one.away_h if one.away_h > 0.0 else 0.0
    return SiteNight.of(
        night,
        site=night.site.name,
        drive_min=one.config.site.drive_min,
        arrival_utc=one.arrival_utc_mjd,
        arrival_utc_reason="not_given" if one.arrival_utc_mjd is None else None,
        window_start_utc_reason=dark,
        window_end_utc_reason=dark,
        ready_utc=one.ready_utc_mjd,
        ready_utc_reason=None if one.ready_utc_mjd is not None else dark or "too_late",
        usable_hours=one.usable_h,
        hours_away=one.away_h,
        targets=[
            SiteTarget.of(each.ranked, name=each.ranked.target.name, first_site_h=each.first_site_h)
            for each in one.best
        ],
        worth_h=one.worth_h if ranked else None,
        worth_h_reason=unranked,
        worth_h_per_hour_away=per_hour if ranked else None,
        worth_h_per_hour_away_reason=unranked,
    )
