"""A night's plan for other programs: iCalendar (RFC 5545), CSV (RFC 4180), JSON.

Each takes the plan document as a mapping (of `nightplan plan --json`), so a file that was saved
earlier can be exported too.
"""

from __future__ import annotations

import csv
import datetime
import io
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from nightplan.errors import FileError
from nightplan.files import write_whole
from nightplan.report.wording.order_of_work import event_told
from nightplan.report.wording.words import event_words, subs

Plan = Mapping[str, Any]

ENDINGS = (".ics", ".csv", ".json")

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


def plan_to_csv(plan: Plan) -> str:
    """The night as CSV by RFC 4180, one header line; the columns are `CSV_COLUMNS`.

    Text that a spreadsheet would run as a formula is marked with an apostrophe.
    """
    page = io.StringIO()
    writer = csv.writer(page, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    for row in rows_of_plan(plan):
        writer.writerow([_cell(row.get(key)) for key in CSV_COLUMNS])
    return page.getvalue()


def plan_to_json(plan: Plan) -> str:
    """The plan document itself; `plan_schema` describes it."""
    return json.dumps(dict(plan), indent=2, ensure_ascii=False) + "\n"


def plan_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the plan document."""
    from nightplan.report.documents.plan import PlanDocument

    # The validation schema: that of serialization stops at the hook that leaves reasons out.
    schema = PlanDocument.model_json_schema(mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def check_export(path: str | os.PathLike[str]) -> str:
    """The ending of an export's file name.

    Raises
    ------
    FileError
        It is none of `ENDINGS`.
    """
    ending = Path(path).suffix.lower()
    if ending not in ENDINGS:
        raise FileError(path, "an export's name must end in .ics, .csv or .json")
    return ending


def save_export(path: str | os.PathLike[str], plan: Plan, before: Plan | None = None) -> None:
    """Write the plan whole or not at all; the ending (.ics, .csv, .json) sets the format.

    `before` is the plan that a re-plan took the place of: a calendar cancels what fell away.

    Raises
    ------
    FileError
        The ending is another one, or the file cannot be written.
    """
    ending = check_export(path)
    if ending == ".ics":
        from nightplan.report.exports.calendar import plan_to_icalendar

        text = plan_to_icalendar(plan, before=before)
    else:
        text = plan_to_csv(plan) if ending == ".csv" else plan_to_json(plan)
    write_whole(path, text.encode("utf-8"))


def _span(row: Mapping[str, Any], zone: datetime.tzinfo) -> dict[str, str]:
    return {
        "start_utc": row["start_utc"],
        "end_utc": row["end_utc"],
        "start_local": _moment(row["start_utc"]).astimezone(zone).isoformat(),
        "end_local": _moment(row["end_utc"]).astimezone(zone).isoformat(),
    }


def _moment(text: str) -> datetime.datetime:
    return datetime.datetime.fromisoformat(text).astimezone(datetime.UTC)


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return value
