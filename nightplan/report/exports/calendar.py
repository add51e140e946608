"""A night's plan as iCalendar (RFC 5545), so that the phone rings before what must not be missed.

A step keeps its UID through re-plans, and SEQUENCE rises with each, so that a calendar program
moves what it has instead of showing it twice.
"""

from __future__ import annotations

import datetime
import json
import uuid
from collections import Counter
from collections.abc import Mapping
from typing import Any

from nightplan.report.exports.plan_rows import rows_of_plan
from nightplan.report.wording.local_time import moment

Plan = Mapping[str, Any]
Row = Mapping[str, Any]

_NAMESPACE = uuid.UUID("6f1e7a4e-6f0b-5e0e-9a51-6e6967687470")
_FOLD_OCTETS = 75

RINGS_MIN = {"flip": 10, "turn": 10, "flats": 5}
"""Minutes before these kinds at which the phone rings (common practice, no source)."""
SETUP_RING_MIN = 15
FIRST_RING_MIN = 10
"""Before the first step of setting up, and before the first block of each target."""


def plan_to_icalendar(
    plan: Plan, made: datetime.datetime | None = None, before: Plan | None = None
) -> str:
    """The night of a plan document as iCalendar: a VEVENT for each set-up step, event and block.

    `made` is when (DTSTAMP, section 3.8.7.2), aware, else now. What has fallen away since the plan
    `before` is there as cancelled (3.8.1.11).
    """
    stamp = _utc(made or datetime.datetime.now(datetime.UTC))
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//nightplan//night plan//EN",
        "CALSCALE:GREGORIAN",
    ]
    now = _steps(plan)
    sequence = _sequence(plan)
    rings = _rings(now)
    for uid, row in now.items():
        lines += _event(uid, row, plan, stamp, sequence, rings.get(uid))
    for uid, row in ({} if before is None else _steps(before)).items():
        if uid not in now:
            lines += _event(uid, row, plan, stamp, max(sequence, 1), None, cancelled=True)
    lines.append("END:VCALENDAR")
    return "".join(_folded(line) + "\r\n" for line in lines)


def _steps(plan: Plan) -> dict[str, Row]:
    """What has a length, and flips and turns however short, by UID and in order of time.

    The UID follows from what a step is and how many of its like came before, not from its time.
    """
    found: dict[str, Row] = {}
    count: Counter[str] = Counter()
    for row in rows_of_plan(plan):
        lasts = moment(row["end_utc"]) > moment(row["start_utc"])
        if row["kind"] == "idle" or not (lasts or row["kind"] in RINGS_MIN):
            continue
        key = [plan.get("site"), plan.get("date"), row["kind"], row.get("target")]
        key += [row.get("panel"), row.get("filter")]
        if row["kind"] == "setup":
            key.append(row["name"])
        text = json.dumps(key)
        count[text] += 1
        found[str(uuid.uuid5(_NAMESPACE, json.dumps([*key, count[text]])))] = row
    return found


def _sequence(plan: Plan) -> int:
    """0 for the plan of the whole night; for a re-plan the minute of the night that it is from,
    counted from noon UTC of the evening, so that a later one is higher (3.8.7.4)."""
    begin = plan.get("from_utc")
    if not begin:
        return 0
    noon = datetime.datetime.fromisoformat(f"{plan['date']}T00:00:00+00:00")
    return max(1, round((moment(begin) - noon) / datetime.timedelta(minutes=1)))


def _rings(steps: Mapping[str, Row]) -> dict[str, int]:
    """Minutes before a step at which the phone rings, for those that want it."""
    found: dict[str, int] = {}
    seen: set[Any] = set()
    for uid, row in steps.items():
        kind = row["kind"]
        if kind in RINGS_MIN:
            found[uid] = RINGS_MIN[kind]
        first = "setup" if kind == "setup" else row.get("target") if kind == "block" else None
        if first is not None and first not in seen:
            seen.add(first)
            found[uid] = SETUP_RING_MIN if kind == "setup" else FIRST_RING_MIN
    return found


def _event(
    uid: str,
    row: Row,
    plan: Plan,
    stamp: str,
    sequence: int,
    ring_min: int | None,
    cancelled: bool = False,
) -> list[str]:
    start, end = moment(row["start_utc"]), moment(row["end_utc"])
    lines = [
        "BEGIN:VEVENT",
        f"UID:{uid}",
        f"DTSTAMP:{stamp}",
        f"SEQUENCE:{sequence}",
        f"DTSTART:{_utc(start)}",
        # Without an end it ends when it begins (3.6.1).
        *([f"DTEND:{_utc(end)}"] if end > start else []),
        f"SUMMARY:{_text(_summary(row))}",
        f"LOCATION:{_text(str(plan.get('site') or ''))}",
        f"CATEGORIES:{_text(str(row['kind']).replace('_', ' '))}",
    ]
    about = _description(row)
    if about:
        lines.append(f"DESCRIPTION:{_text(about)}")
    if cancelled:
        lines.append("STATUS:CANCELLED")
    if ring_min is not None:
        lines += [
            "BEGIN:VALARM",
            "ACTION:DISPLAY",
            f"TRIGGER:-PT{ring_min}M",
            f"DESCRIPTION:{_text(f'In {ring_min} min: {_summary(row)}')}",
            "END:VALARM",
        ]
    return [*lines, "END:VEVENT"]


def _summary(row: Mapping[str, Any]) -> str:
    target = row.get("target")
    panel = f" panel {row['panel']}" if (row.get("panel") or 1) > 1 else ""
    return f"{target}{panel}: {row['name']}" if target else str(row["name"])


def _description(row: Mapping[str, Any]) -> str:
    if row["kind"] != "block":
        return ""
    return "\n".join(
        [
            f"Train {row['train']}, gain {row['gain']}",
            f"RA {row['ra_deg']:.5f}°, Dec {row['dec_deg']:+.5f}° (ICRS)",
            f"Position angle {row['position_angle_deg']:.2f}°, "
            f"image up {row['image_up_angle_deg']:.2f}°",
            str(row.get("why") or ""),
        ]
    ).strip()


def _utc(when: datetime.datetime) -> str:
    """Form 2 of DATE-TIME, section 3.3.5."""
    return when.astimezone(datetime.UTC).strftime("%Y%m%dT%H%M%SZ")


def _text(value: str) -> str:
    """TEXT with its escapes, section 3.3.11; control characters have no place in it."""
    plain = "".join(sign for sign in value if sign == "\n" or (sign >= " " and sign != "\x7f"))
    for sign, escaped in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        plain = plain.replace(sign, escaped)
    return plain


def _folded(line: str) -> str:
    """Content lines of at most 75 octets, section 3.1; a character is never cut in two."""
    parts, part, used = [], "", 0
    for sign in line:
        size = len(sign.encode("utf-8"))
        if used + size > _FOLD_OCTETS:
            parts.append(part)
            part, used = "", 1  # the blank that opens a continuation counts
        part += sign
        used += size
    parts.append(part)
    return "\r\n ".join(parts)
