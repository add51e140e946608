"""The field sheet's HTML without a browser: what it says, how it is built, its colours.

Contrast follows W3C WCAG 2.2, success criteria 1.4.3 (text, 4.5 to 1) and 1.4.11 (boundaries of
controls, 3 to 1); the formula is checked against the ratios that the W3C gives for black on
white (21) and for #767676 on white (4.54).
"""

from __future__ import annotations

import itertools
import json
import re
from html.parser import HTMLParser
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.errors import InputError
from nightplan.report.looks.contrast import contrast
from nightplan.report.page.page_style import PAPER_COLOURS, SHEET_COLOURS
from nightplan.report.sheet.framing_cards import dec_text, ra_text
from nightplan.report.sheet.render_sheet import SHEET_STYLES, SheetSite, render_sheet
from nightplan.report.sheet.svg_embed import embed_svg, red_of

ROLES = {"L": "luminance", "R": "red", "G": "green", "B": "blue", "Ha": "H-alpha",
         "OIII": "O III", "SII": "S II"}  # fmt: skip
SITE = SheetSite(
    "Europe/Lisbon",
    ROLES,
    sensor_temperature_c=-10.0,
    battery_wh=1000.0,
    reserve_share=0.2,
    draw_w=45.0,
)
CHART = (
    '<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg" width="9pt" viewBox="0 0 9 9">'
    '<defs><path id="m" d="M 0.123456 1.0 L 2.0 3.0"/></defs>'
    '<use href="#m" style="fill: #00ff00; stroke: blue"/></svg>'
)
VOID = {"meta", "input", "br", "link", "img", "hr"}


class Reader(HTMLParser):
    """Collects elements, ids and text, and holds that tags close in order."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text: list[str] = []
        self.faults: list[str] = []

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: Any) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.faults.append(tag)

    def handle_data(self, data: str) -> None:
        if not {"style", "script"} & set(self.open):
            self.text.append(data)

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.elements if name == tag]


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    reader.close()
    return reader


@pytest.fixture
def sheet(document):
    def render(style: str = "day", **changes: Any) -> str:
        given_plan = changes.pop("plan", document("plan"))
        options: dict[str, Any] = {
            "site": SITE,
            "calibration_owed": document("calibration"),
            "charts": {"M 31": CHART, "NGC 7000": CHART},
            "night_chart": CHART,
            "night_chart_narrow": CHART,
        }
        return render_sheet(
            changes.pop("night", document("night")),
            given_plan,
            changes.pop("frames", document("frames")),
            style=style,
            **(options | changes),
        )

    return render


@pytest.mark.parametrize("style", SHEET_STYLES)
def test_page_is_well_formed_and_marked_up(sheet, style):
    page = read(sheet(style))
    assert page.faults == []
    assert page.open == []
    assert page.all("html")[0]["lang"] == "en"
    for landmark in ("header", "nav", "main", "footer", "h1"):
        assert len(page.all(landmark)) == 1, landmark
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch(r"h[1-6]", tag)]
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    ids = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    for attrs in page.all("th"):
        assert attrs.get("scope") in {"col", "row"}
    for attrs in page.all("input"):
        assert attrs.get("aria-label")
    for attrs in page.all("svg"):
        assert attrs.get("role") == "img"
        assert attrs.get("aria-label")
    for tag, attrs in page.elements:
        for name in ("aria-labelledby", "href"):
            value = attrs.get(name) or ""
            if name == "aria-labelledby" and value:
                assert value in ids
            if tag == "a":
                assert (attrs.get("href") or "").lstrip("#") in ids


@pytest.mark.parametrize("style", SHEET_STYLES)
def test_nothing_is_fetched(sheet, style):
    html = sheet(style)
    assert not re.search(r"https?:|//[a-z]|@import|url\((?!#)|<link|<img|<iframe", html.lower())
    assert "default-src 'none'" in html
    assert len(html) < 70_000


def test_every_block_event_and_owed_frame_is_there(sheet, plan, document):
    html = sheet()
    text = " ".join("".join(read(html).text).split())
    for row in plan["blocks"]:
        assert f"{row['count']} × {row['sub_s']:g} s" in text
        assert row["why"].split(",")[0].lower() in text.lower()
    assert html.count('class="row block"') == len(plan["blocks"])
    for words in ("Meridian flip, slew and centre, focus", "Change filter, focus"):
        assert words in text
    for frame in document("frames").values():
        held = re.search(rf"Camera {frame['position_angle_deg']:g}°(, or any| ± ([\d.]+)°),", text)
        assert held is not None
        tolerance = frame["position_angle_tolerance_deg"]
        assert float(held[2] or 90.0) == pytest.approx(tolerance, abs=0.51)
    assert "guide star of G 8.4" in text
    assert "guide star unlikely, about 0.8 by local density" in text
    assert "B L G R, reducer, angle 37°, gain low, −10 °C" in text
    assert "Never point telescope, finder or guider at the sun" in text
    for word in ("Lift.", "Counterweight.", "Battery.", "Lasers and aircraft.", "Driving tired."):
        assert word in text
    assert "Local rules come first." in text
    # 45 W from 19:05 (cooling) to 06:00:18 (last sub): 10.9 h.
    assert "492 Wh of 800 Wh" in text
    assert "20:33 +01:00 to 06:02 +01:00" in text


def test_names_from_the_configuration_cannot_break_the_page(sheet, plan):
    evil = '<script>alert("x")</script>'
    text = json.dumps(plan).replace("IC 1805", "EVIL")
    hostile = json.loads(text.replace("EVIL", json.dumps(evil)[1:-1]))
    html = sheet(plan=hostile, charts={evil: CHART}, frames={})
    page = read(html)
    assert page.faults == []
    assert [attrs.get("id") for attrs in page.all("script")] == ["night-data", None]
    assert evil in "".join(page.text)


def test_a_night_without_blocks_still_makes_a_sheet(sheet, plan):
    bare = {**plan, "blocks": [], "events": [], "targets": [], "blocks_reason": "no_darkness",
            "window_start_utc": None, "window_end_utc": None, "setup": []}  # fmt: skip
    page = read(sheet(plan=bare, frames={}, charts={}, calibration_owed=()))
    text = "".join(page.text)
    assert page.faults == []
    assert "No window in the night of Wednesday 6 October 2027: the sun stays too high" in text
    assert page.all("figure") == page.all("script") == page.all("li")[8:] == []
    assert "Never point telescope" in text


def test_a_night_with_a_window_and_no_block_says_why(sheet, plan):
    bare = {**plan, "blocks": [], "events": [], "blocks_reason": "never_up"}
    text = "".join(read(sheet(plan=bare, calibration_owed=())).text)
    assert "No block can be placed: never above the limits." in text
    assert "nightplan plan" not in text


def test_mosaic_lists_its_panels(sheet, document, plan):
    frames = document("frames")
    first = frames["M 31"]["panels"][0]
    frames["M 31"]["panels"] = [first, {**first, "ra_deg": 12.0, "position_angle_deg": 37.8}]
    for row in plan["blocks"]:
        if row["filter"] == "R":
            row["panel"] = 2
    text = " ".join("".join(read(sheet(plan=plan, frames=frames)).text).split())
    assert "00h48m00s" in text
    assert "37.8°" in text
    assert re.search(r"R panel 2 \d+ × \d+ s", text)
    # Of a mosaic the slew names the panel that it leads to.
    assert "slew to panel 1 and centre" in text.lower()


def test_clock_change_gives_every_time_its_offset(sheet, document, plan):
    moved = json.loads(
        json.dumps(plan).replace("2027-10-06", "2027-10-30").replace("2027-10-07", "2027-10-31")
    )
    night = json.loads(
        json.dumps(document("night"))
        .replace("2027-10-06", "2027-10-30")
        .replace("2027-10-07", "2027-10-31")
    )
    html = sheet(plan=moved, night=night)
    data = json.loads(re.search(r'id="night-data">(.*?)</script>', html)[1])
    # Summer time ends 2027-10-31 01:00 UTC (Directive 2000/84/EC).
    assert data["offsets"] == [[0.0, 60.0], [1824944400000, 0.0]]
    assert "20:40 +01:00" in html
    assert "04:38 +00:00" not in html
    assert "05:00 +00:00" in html


def test_idle_time_makes_no_target_of_its_own(sheet, plan):
    first = plan["events"][0]
    early = {"kind": "idle", "target": None, "start_utc": "2027-10-06T19:20:00Z",
             "end_utc": first["start_utc"]}  # fmt: skip
    html = sheet(plan={**plan, "events": [early, *plan["events"]]})
    assert html.count('<div class="group">') == 3
    assert "No target" not in html
    assert html.count(">Nothing planned<") == 2


def test_unknown_style_is_refused(sheet):
    with pytest.raises(InputError, match="one of day, red, print"):
        sheet("sepia")


def test_contrast_formula():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("style", SHEET_STYLES)
def test_colours_can_be_read(style):
    for colours in (SHEET_COLOURS[style], PAPER_COLOURS[style]):
        for ground in ("paper", "panel"):
            back = "#ffffff" if colours[ground] == "transparent" else colours[ground]
            for text in ("ink", "faint"):
                assert contrast(colours[text], back) >= 4.5, (style, text, ground)
        back = "#ffffff" if colours["paper"] == "transparent" else colours["paper"]
        assert contrast(colours["line"], back) >= 3.0


def test_red_sheet_names_no_other_colour(sheet):
    # Paper has its own colours.
    html = re.sub(r"@media print\{.*?\n\}\n", "", sheet("red"), flags=re.DOTALL)
    colours = set(re.findall(r"#[0-9a-fA-F]{6}\b|#[0-9a-fA-F]{3}\b(?![\w-])", html))
    colours = {colour for colour in colours if f'href="{colour}' not in html}
    assert colours
    assert all(re.fullmatch(r"#[0-9a-f]{2}0000", colour) for colour in colours), colours
    assert not re.search(r"\b(rgb|hsl|hwb|lab|oklch|color)\(", html)
    assert not re.search(r":\s*(white|gr[ae]y|green|blue|yellow|orange)\b", html)


@settings(deadline=None)
@given(st.integers(0, 255), st.integers(0, 255), st.integers(0, 255))
def test_reddening_keeps_order_of_brightness(red, green, blue):
    colour = red_of(f"#{red:02x}{green:02x}{blue:02x}")
    assert re.fullmatch(r"#[0-9a-f]{2}0000", colour)
    assert red_of(f"rgb({red}, {green}, {blue})") == colour
    brighter = red_of(f"#{min(red + 9, 255):02x}{min(green + 9, 255):02x}{min(blue + 9, 255):02x}")
    if green or blue:
        assert int(brighter[1:3], 16) >= int(colour[1:3], 16)


def test_embedded_svg():
    out = embed_svg(CHART, "a-", 'A "chart" <1>', red_only=True)
    assert out.startswith('<svg viewBox="0 0 9 9" role="img"')
    assert 'aria-label="A &quot;chart&quot; &lt;1&gt;"' in out
    assert 'id="a-m"' in out
    assert 'href="#a-m"' in out
    assert "#b60000" in out  # 0.7152 × 255 = 182
    assert "#120000" in out  # 0.0722 × 255 = 18
    assert "0.123456" not in out
    assert 'd="M0.1 1L2 3"' in out
    lettered = embed_svg("<svg><text x='1.2345'>M 31 at 1.2345, L 2</text></svg>", "a-", "x")
    assert ">M 31 at 1.2345, L 2<" in lettered
    with pytest.raises(ValueError, match="image of dots"):
        embed_svg("<svg><image/></svg>", "a-", "x", red_only=True)
    with pytest.raises(ValueError, match="not an SVG"):
        embed_svg("<p>", "a-", "x")
    hostile = '<svg onload="x()"><script>x()</script><g/></svg>'
    assert "x()" not in embed_svg(hostile, "a-", "x")


def test_sexagesimal():
    # Meeus, Astronomical Algorithms, 2nd ed., ex. 12.b neighbours: Venus at 23h09m16.641s,
    # -6 43 11.61 (ex. 13.b).
    assert ra_text(347.3193375) == "23h09m17s"
    assert dec_text(-6.719892) == "−06°43′12″"
    assert ra_text(359.9999) == "00h00m00s"
    assert dec_text(-0.0001) == "+00°00′00″"
