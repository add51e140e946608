"""Where to drive tonight as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from nightplan.number_forms import percent
from nightplan.report.documents.night import SiteNight, SitesDocument
from nightplan.report.wording.local_time import NightClock
from nightplan.report.wording.text_table import paragraph, text_table


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
