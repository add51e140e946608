"""The terminal's texts: 80 columns, local times with their offset, plain when piped.

Expected local times follow from the IANA time zone database: Europe/Lisbon is UTC+1 until
2027-10-31 01:00 UTC and UTC+0 after it (EU summer time ends on the last Sunday of October, 01:00
UTC: Directive 2000/84/EC).
"""

from __future__ import annotations

import datetime as dt
import itertools
import re
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.model.starter import demo_config
from nightplan.number_forms import number, percent
from nightplan.planning.tonight.night import compute_night
from nightplan.report.documents.plan import PlanDocument
from nightplan.report.texts.night_text import night_text
from nightplan.report.texts.plan_text import plan_text
from nightplan.report.texts.tonight_text import tonight_text
from nightplan.report.wording.local_time import (
    NightClock,
    duration,
    local,
    moment,
    offset_text,
    utc_mjd,
)
from nightplan.report.wording.order_of_work import order_of_work, targets_in_order
from nightplan.report.wording.plan_words import recipe_line
from nightplan.report.wording.screen import Screen, on_screen
from nightplan.report.wording.text_table import paragraph, text_table

LISBON = ZoneInfo("Europe/Lisbon")
WORDS = st.text(st.characters(codec="ascii", categories=("L", "N")), min_size=1, max_size=14)
CELLS = st.lists(WORDS, max_size=12).map(" ".join)


def test_invented_plan_is_a_plan_document(plan):
    fields = set(PlanDocument.model_fields)
    PlanDocument.model_validate({key: plan[key] for key in plan if key in fields})
    total = sum(plan["ledger"].values())
    window = moment(plan["window_end_utc"]) - moment(plan["window_start_utc"])
    assert total == pytest.approx(window.total_seconds() / 60.0, abs=0.02)


def document_of(plan, **changed):
    fields = set(PlanDocument.model_fields)
    rows = {**plan, **changed}
    return PlanDocument.model_validate({key: rows[key] for key in rows if key in fields})


def test_full_plan_fits_80_columns_and_names_every_block(plan):
    text = plan_text(document_of(plan), full=True)
    assert max(map(len, text.splitlines())) <= 80
    assert "\x1b" not in text
    assert "2027-10-06" in text
    assert "20:33 +01:00 to 06:02 +01:00" in text
    for row in plan["blocks"]:
        start = local(row["start_utc"], LISBON)
        line = rf"{start:%H:%M}  \d\d:\d\d  {row['target']} +{row['filter']} +{row['count']} × "
        assert re.search(line, text), line
    assert "within 0.57 % of the best" in text


@pytest.mark.parametrize("width", [40, 60, 80, 120, 200])
def test_plan_in_short_fits_one_screen_in_the_order_of_the_night(plan, width):
    with on_screen(Screen(width)):
        text = plan_text(document_of(plan))
    lines = text.splitlines()
    assert max(map(len, lines)) <= width
    if width >= 80:
        assert len(lines) <= 22
    begun = [line[:5] for line in lines if re.match(r"\d\d:\d\d  ", line)]
    hours = [(int(time[:2]) + 12) % 24 * 60 + int(time[3:]) for time in begun]
    assert hours == sorted(hours)
    assert "set up" in text
    assert "meridian flip" in text
    assert "pack up" in text
    assert "Of the goals then: " in text
    assert "At least 99 % of the best" in " ".join(text.split())


def test_each_goal_says_where_it_comes_from(plan):
    row = document_of(plan).recipes["M 31"]
    told = {
        "ceiling": "(faint: S/N 15 of 30)",
        "floor": "(bright: the least for its kind)",
        "brightness": "(S/N 30)",
        "goal_hours": "(by goal_hours)",
        "target_hours": "(its own goal)",
        "goal": "(its own goal)",
    }
    for origin, words in told.items():
        line = recipe_line("M 31", row.model_copy(update={"goal_from": origin}))
        # The ratio comes first, then the hours and their origin.
        assert re.fullmatch(rf"M 31: LRGB, L : .* = .*, \d+ h {re.escape(words)}", line), line


def test_a_plan_of_eight_targets_and_forty_blocks_stays_on_one_screen(plan):
    # Invented: the blocks of the night cut up over eight names, five filters each.
    start = moment(plan["window_start_utc"])
    blocks: list[dict[str, object]] = []
    events: list[dict[str, object]] = []
    for place in range(40):
        begin = start + dt.timedelta(minutes=14 * place)
        blocks.append(
            {
                **plan["blocks"][0],
                "target": f"NGC {7000 + place // 5}",
                "filter": "LRGBH"[place % 5],
                "start_utc": begin.isoformat().replace("+00:00", "Z"),
                "end_utc": (begin + dt.timedelta(minutes=12)).isoformat().replace("+00:00", "Z"),
            }
        )
    progress = [{**plan["progress"][0], "target": f"NGC {7000 + place}"} for place in range(8)]
    text = plan_text(document_of(plan, blocks=blocks, events=events, progress=progress))
    assert len(text.splitlines()) <= 22
    assert max(map(len, text.splitlines())) <= 80
    for place in range(8):
        assert re.search(rf"^\d\d:\d\d  NGC {7000 + place}  L", text, re.M)


def test_tonight_says_go_the_targets_in_order_and_the_end(plan):
    night = compute_night(demo_config().site, dt.date(2027, 10, 6))
    text = tonight_text(document_of(plan), night, demo_config())
    assert ": go, " in text.splitlines()[0]
    order = [text.index(f"  {name} ") for name in ("NGC 7000", "M 31", "IC 1805")]
    assert order == sorted(order)
    assert "first sub" in text
    assert "pack up" in text
    assert "  nightplan plan --config nightplan.toml --date 2027-10-06" in text.splitlines()
    stay = tonight_text(
        document_of(plan, blocks=[], events=[], blocks_reason="all_goals_are_reached"),
        night,
        demo_config(),
    )
    assert "  nightplan campaign --config nightplan.toml" in stay.splitlines()
    assert "stay at home, every goal is reached already" in stay


def test_bold_goes_to_a_styled_screen_only(plan):
    plain = plan_text(document_of(plan))
    with on_screen(Screen(styled=True)):
        bold = plan_text(document_of(plan))
    assert "\x1b[1m" in bold
    assert re.sub(r"\x1b\[\d+m", "", bold) == plain


def test_plan_without_blocks_says_why(plan):
    empty = document_of(
        plan,
        blocks=[],
        events=[],
        targets=[],
        progress=[],
        blocks_reason="below_minimum_altitude",
    )
    text = plan_text(empty, full=True)
    assert "No block can be placed: below minimum altitude." in plan_text(empty)
    assert "No block can be placed: below minimum altitude." in text
    # Nobody sets up for it, and its minutes need no table.
    assert plan["setup"]
    assert "Setting up" not in text
    assert "Minutes" not in text


def test_plan_without_window(plan):
    none = document_of(
        plan,
        window_kind="none",
        window_start_utc=None,
        window_end_utc=None,
        blocks=[],
        events=[],
        setup=[],
        targets=[],
        progress=[],
        ledger={},
        blocks_reason="no_darkness",
    )
    assert "none: the sun stays too high" in plan_text(none, full=True)
    for full in (True, False):
        assert "No block can be placed: the sun stays too high." in plan_text(none, full=full)


def test_events_that_follow_on_are_one_line(plan):
    items = order_of_work(plan)
    assert [item.block for item in items if item.block is not None] == plan["blocks"]
    assert items[0].kinds == ("slew_centre", "focus")
    assert ("flip", "slew_centre", "focus") in [item.kinds for item in items]
    assert items[-1].kinds == ("idle",)
    assert targets_in_order(items) == ["NGC 7000", "M 31", "IC 1805"]
    for before, after in itertools.pairwise(items):
        assert moment(after.start_utc) >= moment(before.end_utc)


def test_window_across_a_change_of_clocks_shows_both_offsets():
    text = night_text(compute_night(demo_config().site, dt.date(2027, 10, 30)))
    window = next(line for line in text.splitlines() if line.startswith("Window"))
    assert "+01:00 to" in window
    assert "+00:00" in window
    assert re.search(r"sunset +Sat 18:\d\d +\+01:00 +17:\d\d", text)
    assert re.search(r"sunrise +Sun 06:\d\d +\+00:00 +06:\d\d", text)


@pytest.mark.parametrize("latitude_deg", [-78.0, -35.0, 0.0, 55.0, 70.0])
@pytest.mark.parametrize("month", [6, 12])
def test_night_text_fits_and_leaves_no_event_out(latitude_deg, month):
    site = demo_config().site.model_copy(update={"latitude_deg": latitude_deg})
    night = compute_night(site, dt.date(2027, month, 20))
    with on_screen(Screen(rules=True)):
        text = night_text(night)
    assert max(map(len, text.splitlines())) <= 80
    for name, event in night.events.items():
        assert name.replace("_", " ") in text
        if event.utc_mjd is not None:
            assert f"{local(event.utc_mjd, night.zone):%a %H:%M}" in text
    if latitude_deg == 70.0 and month == 6:
        assert "Window: none." in text


@settings(deadline=None, max_examples=60)
@given(
    st.integers(2, 7).flatmap(
        lambda n: st.lists(st.lists(CELLS, min_size=n, max_size=n), min_size=1, max_size=6)
    ),
    st.booleans(),
)
def test_tables_fit_and_lose_no_word(table, rules):
    text = text_table(table[0], table[1:], rules=rules)
    assert all(len(line) <= 80 and line == line.rstrip() for line in text.splitlines())
    letters = sorted(re.sub(r"[\s-]", "", text))
    assert letters == sorted("".join("".join(row) for row in table).replace(" ", ""))


def test_designations_and_units_stay_on_one_line():
    filled = paragraph(
        "The flattener would cut M 31 and NGC 7000 down by 30 % in 9 h 26 min", width=26
    )
    for whole in ("M 31", "NGC 7000", "30 %", "9 h", "26 min"):
        assert any(whole in line for line in filled.splitlines()), filled
    assert "\N{NO-BREAK SPACE}" not in filled


def test_clock_says_the_offset_once_unless_it_changes():
    steady = NightClock(LISBON, ["2027-10-06T19:00:00Z", "2027-10-07T05:00:00Z"])
    assert steady.heading == "local (UTC+01:00)"
    assert steady.clock("2027-10-06T20:30:00Z") == "21:30"
    change = NightClock(LISBON, ["2027-10-30T19:00:00Z", "2027-10-31T05:00:00Z"])
    # 01:30 on the wall comes twice; the offset tells which.
    assert change.clock("2027-10-31T00:30:00Z") == "01:30 +01:00"
    assert change.clock("2027-10-31T01:30:00Z") == "01:30 +00:00"


def test_offsets_of_odd_zones():
    when = moment("2027-10-06T12:00:00Z")
    # From the IANA database: Nepal +05:45, Marquesas -09:30.
    assert offset_text(when.astimezone(ZoneInfo("Asia/Kathmandu"))) == "+05:45"
    assert offset_text(when.astimezone(ZoneInfo("Pacific/Marquesas"))) == "-09:30"


def test_minutes_are_rounded_not_cut():
    assert f"{local('2027-10-06T19:32:40Z', LISBON):%H:%M}" == "20:33"
    assert f"{local('2027-10-06T23:59:31Z', ZoneInfo('UTC')):%d %H:%M}" == "07 00:00"


def test_mjd_of_a_known_date():
    # Meeus, Astronomical Algorithms, 2nd ed., ch. 7: JD 2451545.0 is 2000 January 1.5.
    assert utc_mjd("2000-01-01T12:00:00Z") == 2451545.0 - 2400000.5


@settings(deadline=None)
@given(st.floats(0.0, 1.0))
def test_percent_claims_nothing_too_round(share):
    text = percent(share)
    if text == "100 %":
        assert share >= 0.9995
    if text == "0 %":
        assert share == 0.0


def test_numbers_and_durations():
    assert [number(v) for v in (300.0, 4.5, -0.01, -3.0)] == ["300", "4.5", "0", "−3"]
    assert [duration(m) for m in (0.5, 1.0, 59.6, 569.66)] == ["30 s", "1 min", "1 h 00 min",
                                                              "9 h 30 min"]  # fmt: skip
