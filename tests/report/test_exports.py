"""Exports read back by what is outside: the icalendar package (RFC 5545), Python's csv module,
and jsonschema against the published schema."""

from __future__ import annotations

import csv
import datetime
import io
import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.errors import FileError
from nightplan.report.exports import night_exports as ex
from nightplan.report.exports.calendar import plan_to_icalendar
from nightplan.report.exports.night_exports import CSV_COLUMNS

NASTY = 'M 31; the "big" one, \\ with\nlines — ünïcode 星雲 ' + "long " * 30


def block(**changes):
    return {
        "target": "M 31", "panel": 1, "ra_deg": 10.6847, "dec_deg": 41.269,
        "position_angle_deg": 35.0, "image_up_angle_deg": 305.0, "train": "reducer", "filter": "L",
        "gain": "low", "start_utc": "2027-10-06T21:00:00Z", "end_utc": "2027-10-06T22:00:00Z",
        "sub_s": 120.0, "count": 28, "why": "highest, in the thinnest air",
    } | changes  # fmt: skip


PLAN = {
    "site": "Hollow Ridge", "timezone": "Europe/Lisbon", "date": "2027-10-06", "train": "reducer",
    "setup": [
        {"name": "cooling", "start_utc": "2027-10-06T18:00:00Z", "end_utc": "2027-10-06T18:15:00Z"}
    ],
    "blocks": [
        block(
            target=NASTY, panel=2,
            start_utc="2027-10-31T23:30:00Z", end_utc="2027-11-01T00:30:00Z",
        ),
        block(),
    ],
    "events": [
        {"kind": "focus", "target": None, "start_utc": "2027-10-06T20:56:00Z",
         "end_utc": "2027-10-06T21:00:00Z"},
        {"kind": "flip", "target": "M 31", "start_utc": "2027-10-06T22:00:00Z",
         "end_utc": "2027-10-06T22:00:00Z"},
    ],
}  # fmt: skip
MADE = datetime.datetime(2027, 10, 6, 15, 0, tzinfo=datetime.UTC)


def test_icalendar_is_read_back():
    from icalendar import Calendar

    text = plan_to_icalendar(PLAN, MADE)
    calendar = Calendar.from_ical(text)
    assert str(calendar["VERSION"]) == "2.0"
    assert calendar["PRODID"]
    events = calendar.walk("VEVENT")
    assert len(events) == 5
    assert not [error for event in events for error in event.errors]
    by_start = {event["DTSTART"].dt.isoformat(): event for event in events}
    light = by_start["2027-10-06T21:00:00+00:00"]
    times = light.decoded("DTSTART"), light.decoded("DTEND")
    assert times[1] - times[0] == datetime.timedelta(hours=1)
    assert str(light["SUMMARY"]) == "M 31: L 28 × 120 s"
    assert "thinnest air" in str(light["DESCRIPTION"])
    assert light["DTSTAMP"].dt == MADE
    nasty = by_start["2027-10-31T23:30:00+00:00"]
    assert str(nasty["SUMMARY"]) == f"{NASTY} panel 2: L 28 × 120 s"
    assert len({str(event["UID"]) for event in events}) == 5


def test_icalendar_lines_by_the_standard():
    """RFC 5545 section 3.1: CRLF ends, at most 75 octets a line, UTF-8 never cut."""
    data = plan_to_icalendar(PLAN, MADE).encode("utf-8")
    assert data.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")
    for line in data.split(b"\r\n"):
        assert len(line) <= 75
        line.decode("utf-8")


def events_of(plan, **options):
    from icalendar import Calendar

    text = plan_to_icalendar(plan, MADE, **options)
    return {str(event["UID"]): event for event in Calendar.from_ical(text).walk("VEVENT")}


def test_a_replan_moves_what_the_calendar_has():
    """RFC 5545 section 3.8.4.7 (UID stays), 3.8.7.4 (SEQUENCE rises), 3.8.1.11 (CANCELLED)."""
    first = events_of(PLAN)
    assert {int(event["SEQUENCE"]) for event in first.values()} == {0}
    assert set(events_of(PLAN)) == set(first)
    moved = PLAN | {
        "blocks": [block(start_utc="2027-10-06T21:05:00Z", count=26)],
        "from_utc": "2027-10-06T21:05:00Z",
    }
    again = events_of(moved, before=PLAN)
    assert set(again) == set(first)
    by_name = {str(event["SUMMARY"]): event for event in again.values()}
    light = by_name["M 31: L 26 × 120 s"]
    assert first[str(light["UID"])]["DTSTART"].dt.hour == 21
    assert light["DTSTART"].dt == datetime.datetime(2027, 10, 6, 21, 5, tzinfo=datetime.UTC)
    gone = by_name[f"{NASTY} panel 2: L 28 × 120 s"]
    assert str(gone["STATUS"]) == "CANCELLED"
    assert not gone.walk("VALARM")
    later = events_of(moved | {"from_utc": "2027-10-06T22:05:00Z"})
    for uid, event in later.items():
        assert int(event["SEQUENCE"]) > int(again[uid]["SEQUENCE"]) > int(first[uid]["SEQUENCE"])


def test_the_phone_rings_before_what_must_not_be_missed():
    """RFC 5545 section 3.6.6: ACTION, TRIGGER and DESCRIPTION of a display alarm."""
    plan = PLAN | {
        "events": [
            *PLAN["events"],
            {"kind": "turn", "target": "M 31", "start_utc": "2027-10-06T20:40:00Z",
             "end_utc": "2027-10-06T20:43:00Z", "from_image_up_deg": 0.0, "to_image_up_deg": 305.0},
            {"kind": "flats", "target": "M 31", "start_utc": "2027-10-06T22:10:00Z",
             "end_utc": "2027-10-06T22:20:00Z"},
        ]
    }  # fmt: skip
    rings = {}
    for event in events_of(plan).values():
        alarms = event.walk("VALARM")
        assert len(alarms) <= 1
        if alarms:
            (alarm,) = alarms
            assert str(alarm["ACTION"]) == "DISPLAY"
            assert str(alarm["DESCRIPTION"]).endswith(str(event["SUMMARY"]))
            rings[str(event["CATEGORIES"].cats[0])] = alarm["TRIGGER"].dt.total_seconds() / -60.0
    assert rings == {"setup": 15.0, "block": 10.0, "flip": 10.0, "turn": 10.0, "flats": 5.0}


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=200))
def test_any_name_survives_the_calendar(name):
    from icalendar import Calendar

    plan = PLAN | {"blocks": [block(target="x" + name)], "events": [], "setup": []}
    text = plan_to_icalendar(plan, MADE)
    (event,) = Calendar.from_ical(text).walk("VEVENT")
    kept = "".join(sign for sign in name if sign == "\n" or (sign >= " " and sign != "\x7f"))
    assert str(event["SUMMARY"]) == f"x{kept}: L 28 × 120 s"


def test_csv_is_read_back():
    text = ex.plan_to_csv(PLAN)
    assert text.count("\r\n") >= 6
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert list(rows[0]) == list(CSV_COLUMNS)
    assert [row["kind"] for row in rows] == ["setup", "focus", "block", "flip", "block"]
    light = rows[2]
    assert (light["filter"], light["count"], float(light["sub_s"])) == ("L", "28", 120.0)
    # Portugal counts UTC+1 until the last Sunday of October, which is the 31st in 2027.
    assert light["start_local"] == "2027-10-06T22:00:00+01:00"
    assert rows[4]["start_local"] == "2027-10-31T23:30:00+00:00"
    assert rows[4]["target"] == NASTY
    assert rows[0]["target"] == ""


def test_csv_holds_no_formula():
    plan = PLAN | {"blocks": [block(target="=HYPERLINK(1)", dec_deg=-5.0)]}
    row = next(
        row for row in csv.DictReader(io.StringIO(ex.plan_to_csv(plan))) if row["kind"] == "block"
    )
    assert row["target"] == "'=HYPERLINK(1)"
    assert row["dec_deg"] == "-5.0"


def test_files_by_their_ending(tmp_path):
    for name in ("a.ics", "b.CSV", "c.json"):
        ex.save_export(tmp_path / name, PLAN)
        assert (tmp_path / name).stat().st_size > 100
    assert json.loads((tmp_path / "c.json").read_text(encoding="utf-8")) == PLAN
    with pytest.raises(FileError, match=r"\.ics, \.csv or \.json"):
        ex.save_export(tmp_path / "d.txt", PLAN)


def test_the_schema_is_one():
    """That real plans keep to it is checked with `nightplan plan --export`."""
    import jsonschema

    schema = ex.plan_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    assert "blocks" in schema["properties"]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"site": 3}, schema)
