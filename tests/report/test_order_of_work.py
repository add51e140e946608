"""Rows between blocks: turns, flats and slews in words, counted by hand.

Position angles run from north through east and east is anticlockwise from north as seen from
behind the camera (the sky from inside): so a growing angle is a turn anticlockwise, and clockwise
behind a mirror.
"""

from __future__ import annotations

import pytest

from nightplan.report.wording.order_of_work import order_of_work, turn_words


def block(target, name, start, end, panel=1, angle=10.0):
    return {
        "target": target, "panel": panel, "filter": name, "train": "reducer",
        "position_angle_deg": angle, "start_utc": f"2027-10-06T{start}:00Z",
        "end_utc": f"2027-10-06T{end}:00Z", "count": 5, "sub_s": 300.0,
    }  # fmt: skip


def event(kind, target, start, end, **more):
    return {"kind": kind, "target": target, "start_utc": f"2027-10-06T{start}:00Z",
            "end_utc": f"2027-10-06T{end}:00Z", **more}  # fmt: skip


def plan(*rows, mirrored=False, panels=1):
    return {
        "blocks": [row for row in rows if "filter" in row],
        "events": [row for row in rows if "kind" in row],
        "targets": [
            {"target": "A", "position_angle_deg": 10.0, "mirrored": mirrored, "panels": panels},
            {"target": "B", "position_angle_deg": 61.0, "mirrored": mirrored, "panels": 1},
        ],
    }


@pytest.mark.parametrize(
    ("up", "mirrored", "words"),
    [
        ((280.0, 331.0), False, "turn the camera 10° → 61°, 51° anticlockwise from behind"),
        ((280.0, 331.0), True, "turn the camera 10° → 61°, 51° clockwise from behind"),
        # The shorter way for a rectangle, across half a turn.
        ((71.0, 331.0), False, "turn the camera 161° → 61°, 80° anticlockwise from behind"),
        ((1.0, 331.0), False, "turn the camera 91° → 61°, 30° clockwise from behind"),
    ],
)
def test_turns(up, mirrored, words):
    row = event("turn", "B", "22:00", "22:05", from_image_up_deg=up[0], to_image_up_deg=up[1])
    assert turn_words(plan(row, mirrored=mirrored), row) == words


def test_a_turn_without_its_angles_is_still_a_turn():
    row = event("turn", "B", "22:00", "22:05")
    assert turn_words(plan(row), row) == "turn the camera"


def test_flats_and_turn_are_rows_of_their_own():
    rows = plan(
        block("A", "Ha", "20:00", "20:30"),
        block("A", "SII", "20:34", "21:00"),
        block("A", "Ha", "21:04", "21:40"),
        event("flats", "B", "21:40", "21:47"),
        event("turn", "B", "21:47", "21:52", from_image_up_deg=280.0, to_image_up_deg=331.0),
        event("slew_centre", "B", "21:52", "21:55"),
        event("focus", "B", "21:55", "21:59"),
        block("B", "L", "21:59", "22:30", angle=61.0),
    )
    words = [item.words for item in order_of_work(rows) if item.block is None]
    assert words == [
        "flats: Ha SII at 10°",
        "turn the camera 10° → 61°, 51° anticlockwise from behind",
        "slew and centre, focus",
    ]


def test_a_slew_inside_a_mosaic_names_its_panel():
    rows = plan(
        block("A", "Ha", "20:00", "20:30", panel=1),
        event("flip", "A", "20:30", "20:33"),
        event("slew_centre", "A", "20:33", "20:36"),
        block("A", "Ha", "20:36", "21:00", panel=2),
        panels=2,
    )
    (between,) = (item for item in order_of_work(rows) if item.block is None)
    assert between.words == "meridian flip, slew to panel 2 and centre"
