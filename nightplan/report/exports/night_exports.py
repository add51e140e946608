"""A night's plan for other programs: iCalendar (RFC 5545), CSV (RFC 4180), JSON.

Each takes the plan document as a mapping (of `nightplan plan --json`), so a file that was saved
earlier can be exported too.
"""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from nightplan.errors import FileError
from nightplan.files import write_whole
from nightplan.report.exports.calendar import plan_to_icalendar
from nightplan.report.exports.plan_rows import CSV_COLUMNS, rows_of_plan

Plan = Mapping[str, Any]


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
    """The ending of an export's file name. Raises FileError (it is none of `WRITERS`)."""
    ending = Path(path).suffix.lower()
    if ending not in WRITERS:
        *most, last = WRITERS
        raise FileError(path, f"an export's name must end in {', '.join(most)} or {last}")
    return ending


def save_export(path: str | os.PathLike[str], plan: Plan, before: Plan | None = None) -> None:
    """Write the plan whole or not at all; the ending, one of `WRITERS`, sets the format.

    `before` is the plan that a re-plan took the place of: a calendar cancels what fell away. Raises
    FileError (the ending is another one, or the file cannot be written).
    """
    text = WRITERS[check_export(path)](plan, before)
    write_whole(path, text.encode("utf-8"))


WRITERS: dict[str, Callable[[Plan, Plan | None], str]] = {
    ".ics": lambda plan, before: plan_to_icalendar(plan, before=before),
    ".csv": lambda plan, before: plan_to_csv(plan),
    ".json": lambda plan, before: plan_to_json(plan),
}
"""What writes each kind of file, from the plan and the one before it: a new kind is one entry."""


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return value
