"""A plan document as rows in order of time: set-up steps, events and blocks."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from nightplan.report.wording.local_time import moment
from nightplan.report.wording.order_of_work import event_told
from nightplan.report.wording.words import event_words, subs

Plan = Mapping[str, Any]

CSV_COLUMNS: dict[str, str] = {
    "kind": "`block`, `setup`, or the kind of event: slew_centre, focus, filter_change, flip, ...",
    "name": "what it is called on the page",
    "target": "target's name; empty where none",
    "panel": "panel of a mosaic, from 1",
    "ra_deg": "ICRS right ascension of the panel's centre, degrees",
    "dec_deg": "ICRS declination of the panel's centre, degrees",
    "position_angle_deg": "line of the sensor's long side, north through east, 0 to below 180",
    "image_up_angle_deg": "direction of rising FITS axis 2, 0 to below 360",
    "train": "how the rig is bolted together",
    "filter": "filter of the wheel",
    "gain": "gain setting of the camera",
    "start_utc": "start, ISO 8601 UTC",
    "end_utc": "end, ISO 8601 UTC",
    "start_local": "start, ISO 8601 in the site's civil time with its offset",
    "end_local": "end, the same",
    "sub_s": "length of a sub, seconds",
    "count": "number of subs",
    "why": "why then",
}
"""Columns of the CSV export, in order, with their meaning. Cells that do not apply are empty."""


def rows_of_plan(plan: Plan) -> list[dict[str, Any]]:
    """Set-up steps, events and blocks in order of time, with the keys of `CSV_COLUMNS`."""
    from zoneinfo import ZoneInfo

    zone = ZoneInfo(str(plan.get("timezone") or "UTC"))
    rows: list[dict[str, Any]] = []
    for step in plan.get("setup", ()):
        rows.append({"kind": "setup", "name": step["name"], **_span(step, zone)})
    for event in plan.get("events", ()):
        rows.append(
            {
                "kind": event["kind"],
                "name": event_told(plan, event) or event_words(event["kind"]),
                "target": event.get("target"),
                **_span(event, zone),
            }
        )
    for block in plan.get("blocks", ()):
        known = {key: block[key] for key in CSV_COLUMNS if key in block}
        name = f"{block['filter']} {subs(int(block['count']), float(block['sub_s']))}"
        rows.append({**known, "kind": "block", "name": name, **_span(block, zone)})
    return sorted(rows, key=lambda row: (row["start_utc"], row["end_utc"]))


def _span(row: Mapping[str, Any], zone: datetime.tzinfo) -> dict[str, str]:
    return {
        "start_utc": row["start_utc"],
        "end_utc": row["end_utc"],
        "start_local": moment(row["start_utc"]).astimezone(zone).isoformat(),
        "end_local": moment(row["end_utc"]).astimezone(zone).isoformat(),
    }
