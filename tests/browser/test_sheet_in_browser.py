"""The field sheet in headless Chromium: three widths, red light, no script, the clock, paper.

Contrast as rendered follows W3C WCAG 2.2, success criterion 1.4.3 (4.5 to 1).
"""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest

WIDTHS = (360, 768, 1280)

OVERFLOW = """(doc, win) => {
  const wide = [];
  for (const node of doc.querySelectorAll('body *')) {
    const box = node.getBoundingClientRect();
    if (!node.closest('svg, .skip') && box.width > 0 && box.right > win.innerWidth + 0.5) {
      wide.push(node.tagName + '.' + node.className + ' ' + box.right);
    }
  }
  return {inner: win.innerWidth, scroll: doc.documentElement.scrollWidth, wide: wide,
          chart: getComputedStyle(doc.querySelector('.chart-night .wide')).display};
}"""

CONTRAST = """(doc, win) => {
  const light = (text) => {
    const part = text.match(/[\\d.]+/g).slice(0, 3).map((v) => v / 255)
      .map((c) => c <= 0.04045 ? c / 12.92 : Math.pow((c + 0.055) / 1.055, 2.4));
    return 0.2126 * part[0] + 0.7152 * part[1] + 0.0722 * part[2];
  };
  const ground = (node) => {
    for (let at = node; at; at = at.parentElement) {
      const fill = win.getComputedStyle(at).backgroundColor;
      if (!/^rgba.*, 0\\)$/.test(fill)) { return fill; }
    }
    return 'rgb(255, 255, 255)';
  };
  let least = 99, where = '', count = 0;
  const walk = doc.createTreeWalker(doc.body, 4);
  while (walk.nextNode()) {
    const node = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || node.closest('script, style, svg')) { continue; }
    const pair = [light(win.getComputedStyle(node).color), light(ground(node))];
    const ratio = (Math.max(...pair) + 0.05) / (Math.min(...pair) + 0.05);
    count += 1;
    if (ratio < least) { least = ratio; where = walk.currentNode.data; }
  }
  return {least: least, where: where, count: count};
}"""


@pytest.fixture(scope="module")
def layouts(browser, sheets, clock_change_sheet):
    kinds = {**sheets, "clock change": clock_change_sheet}
    pages = {
        f"{kind}{width}": (path.as_uri(), width) for kind, path in kinds.items() for width in WIDTHS
    }
    return browser.measure(pages, OVERFLOW)


@pytest.mark.parametrize("style", ["day", "red", "print", "clock change"])
@pytest.mark.parametrize("width", WIDTHS)
def test_no_width_needs_sideways_scrolling(layouts, style, width):
    layout = layouts[f"{style}{width}"]
    assert layout["inner"] == width
    assert layout["wide"] == []
    assert layout["scroll"] <= width
    assert layout["chart"] == ("none" if width < 704 else "block")


def test_all_text_can_be_read(browser, sheets):
    found = browser.measure(
        {style: (path.as_uri(), 360) for style, path in sheets.items()}, CONTRAST
    )
    for style, result in found.items():
        assert result["count"] > 150
        assert result["least"] >= 4.5, (style, result["where"])


@pytest.mark.parametrize("width", [500, 1280])
def test_red_sheet_lights_no_green_and_no_blue(browser, sheets, width):
    url = sheets["red"].as_uri() + "#at=2027-10-06T21:00Z"
    pixels = browser.pixels(url, width, 5600 if width < 600 else 3600)
    assert pixels[..., 1].max() == 0
    assert pixels[..., 2].max() == 0
    assert pixels[..., 0].max() == 255
    assert (pixels[..., 0] > 200).mean() < 0.15


def test_day_sheet_shows_filters_in_colour(browser, sheets):
    pixels = browser.pixels(sheets["day"].as_uri(), 1280, 1000)
    assert (pixels[..., 1] != pixels[..., 0]).any()


def test_without_scripts_only_the_live_line_is_missing(browser, sheets, report_data, tmp_path):
    html = sheets["day"].read_text(encoding="utf-8")
    silent = tmp_path / "silent.html"
    # Headless Chromium cannot switch scripts off by itself, but the page's own policy can.
    silent.write_text(re.sub(r"script-src '[^']+'", "script-src 'none'", html), encoding="utf-8")
    shown = """(doc, win) => ({text: doc.body.innerText, height: doc.body.offsetHeight,
                 live: win.getComputedStyle(doc.getElementById('now')).display,
                 current: doc.querySelectorAll('[aria-current]').length})"""
    found = browser.measure(
        {
            "silent": (silent.as_uri() + "#at=2027-10-06T21:00Z", 768),
            "speaking": (sheets["day"].as_uri() + "#at=2027-11-20T21:00Z", 768),
        },
        shown,
    )
    silent_page, speaking = found["silent"], found["speaking"]
    assert silent_page["live"] == "none"
    assert silent_page["current"] == 0
    assert silent_page["text"] == speaking["text"]
    assert silent_page["height"] == speaking["height"]
    for row in report_data.read_document("plan")["blocks"]:
        assert f"{row['count']} × {row['sub_s']:g} s" in silent_page["text"]
    assert "Driving tired." in silent_page["text"]


@pytest.mark.parametrize(
    ("moment", "what", "then", "row"),
    [
        # Local time is UTC+1; the plan has S II from 20:46 to 21:27 UTC.
        ("2027-10-06T21:00Z", "NGC 7000, SII, 8 × 300 s, until 22:27",
         "Now 22:00. 27 min left. Next: Change filter, focus (NGC 7000) at 22:27, in 27 min.",
         True),
        ("2027-10-06T18:30Z", "Nothing to do yet",
         "Now 19:30. Next: Polar alignment at 19:43, in 13 min.", False),
        ("2027-10-07T06:00Z", "The plan is over", "Now 07:00.", False),
    ],
)  # fmt: skip
def test_the_line_on_top_follows_the_clock(browser, sheets, moment, what, then, row):
    dom = browser.dom(sheets["day"].as_uri() + "#at=" + moment)
    assert re.search(r'id="now-what"[^>]*>(.*?)<', dom)[1] == what
    assert re.search(r'id="now-then"[^>]*>(.*?)<', dom)[1] == then
    assert ('aria-current="time"' in dom) == row


def test_now_line_stands_where_the_hour_is(browser, sheets):
    dom = browser.dom(sheets["day"].as_uri() + "#at=2027-10-07T00:17:30Z")
    left = float(re.search(r'id="now-line" style="left: ([\d.]+)%', dom)[1])
    # Window 19:32:40 to 05:02:20 UTC: half of it is over at 00:17:30.
    assert left == pytest.approx(50.0, abs=0.01)


def test_on_another_day_the_line_stays_away(browser, sheets):
    dom = browser.dom(sheets["day"].as_uri() + "#at=2027-11-20T21:00Z")
    assert re.search(r'<div id="now" hidden', dom)


@pytest.mark.parametrize(("size", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_paper(browser, sheets, report_data, tmp_path, size, points):
    if shutil.which("pdfinfo") is None or shutil.which("pdftotext") is None:
        pytest.skip("no pdfinfo and pdftotext (Debian's poppler-utils) on this machine")
    page = tmp_path / f"{size}.html"
    html = sheets["print"].read_text(encoding="utf-8")
    page.write_text(
        html.replace("</head>", f"<style>@page{{size:{size}}}</style></head>"), encoding="utf-8"
    )
    pdf = browser.pdf(page.as_uri())
    info = subprocess.run(["pdfinfo", pdf], capture_output=True, text=True, check=True).stdout
    width, height = (float(v) for v in re.search(r"Page size: +([\d.]+) x ([\d.]+)", info).groups())
    assert (width, height) == pytest.approx(points, abs=1.0)
    assert 2 <= int(re.search(r"Pages: +(\d+)", info)[1]) <= 4
    layout = subprocess.run(
        ["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True
    ).stdout
    pages = layout.split("\f")
    for row in report_data.read_document("plan")["blocks"]:
        line = re.compile(rf"{row['filter']} +{row['count']} × {row['sub_s']:g} s +{row['gain']}")
        assert any(line.search(sheet) for sheet in pages), row
        # A short reason is on the same page as its block; a long one stays on the screen.
        why = row["why"][1:20] if len(row["why"]) <= 60 else ""
        assert any(line.search(sheet) and why in sheet for sheet in pages)
    assert "Never point telescope" in layout
    assert "Skip to" not in layout
