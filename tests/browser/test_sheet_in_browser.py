"""The field sheet in headless Chromium: four widths, red light, no script, clock, ticks, paper.

Contrast as rendered follows W3C WCAG 2.2, success criterion 1.4.3 (4.5 to 1).
"""

from __future__ import annotations

import datetime as dt
import json
import re
import shutil
import subprocess

import numpy as np
import pytest
from PIL import Image

from nightplan.model.starter import starter_text
from tests.cli.running import run

WIDTHS = (320, 360, 768, 1280)

OVERFLOW = """(doc, win) => {
  const wide = [];
  for (const node of doc.querySelectorAll('body *')) {
    const box = node.getBoundingClientRect();
    if (!node.closest('svg, .skip') && box.width > 0 && box.right > win.innerWidth + 0.5) {
      wide.push(node.tagName + '.' + node.className + ' ' + box.right);
    }
  }
  return {inner: win.innerWidth, scroll: doc.documentElement.scrollWidth, wide: wide,
          chart: doc.querySelector('.chart-night .wide')
            && getComputedStyle(doc.querySelector('.chart-night .wide')).display};
}"""

TARGETS = """(doc, win) => {
  const small = [];
  let count = 0;
  for (const node of doc.querySelectorAll('button, nav a, #ticks-file, #bar, .tick, summary')) {
    const box = node.getBoundingClientRect();
    if (!box.width) { continue; }
    count += 1;
    if (box.width < 43.5 || box.height < 43.5) {
      small.push(node.textContent + ' ' + node.className + ' ' + box.width + 'x' + box.height);
    }
  }
  return {small: small, count: count};
}"""

SHOWN = """
  const el = (id) => doc.getElementById(id);
  const text = (id) => el(id).hidden ? '' : el(id).textContent;
  const rest = (ms) => new Promise((done) => setTimeout(done, ms));
  const at = (utc) => { win.location.hash = 'at=' + utc; return rest(50); };
  const show = () => ({by: text('now-by'), what: text('now-what'), how: text('now-how'),
    next: text('now-next'), turn: text('now-turn'), note: text('now-note')});
"""

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
def layouts(browser, sheets, clock_change_sheet, hard_sheet, tmp_path_factory):
    kinds = {**sheets, "clock change": clock_change_sheet, "hard": hard_sheet}
    folder = tmp_path_factory.mktemp("large")
    for kind in ("red", "clock change", "hard"):
        # Text at 200 %, as a reader's own setting makes it.
        large = folder / f"{kind}.html"
        html = kinds[kind].read_text(encoding="utf-8")
        large.write_text(
            html.replace('<html lang="en">', '<html lang="en" style="font-size:200%">'),
            encoding="utf-8",
        )
        kinds[f"{kind} large"] = large
    pages = {
        f"{kind}{width}": (path.as_uri() + "#at=2027-10-06T21:00Z", width)
        for kind, path in kinds.items()
        for width in WIDTHS
    }
    return browser.measure(pages, OVERFLOW)


@pytest.mark.parametrize(
    "style",
    [
        "day",
        "red",
        "print",
        "clock change",
        "hard",
        "red large",
        "clock change large",
        "hard large",
    ],
)
@pytest.mark.parametrize("width", WIDTHS)
def test_no_width_needs_sideways_scrolling(layouts, style, width):
    layout = layouts[f"{style}{width}"]
    assert layout["inner"] == width
    assert layout["wide"] == []
    assert layout["scroll"] <= width
    if not style.startswith("hard"):
        assert layout["chart"] == ("none" if width < 704 else "block")


@pytest.mark.parametrize("width", [320, 768])
def test_every_target_is_a_fingertip(browser, sheets, hard_sheet, width):
    pages = {"red": sheets["red"], "hard": hard_sheet}
    url = {kind: (path.as_uri() + "#at=2027-10-06T21:00Z", width) for kind, path in pages.items()}
    for kind, found in browser.measure(url, TARGETS).items():
        assert found["small"] == [], kind
        assert found["count"] > 30


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
    ("moment", "shown", "row"),
    [
        # Local time is UTC+1; the plan has S II from 20:46 to 21:27 UTC, the flip at 00:08.
        ("2027-10-06T21:00Z",
         {"what": "NGC 7000, SII", "how": "8 × 300 s, until 22:27: 6 left, 27 min",
          "next": "Next: Change filter, focus (NGC 7000) at 22:27, in 27 min"}, "w3"),
        # Before the window: the next step of setting up.
        ("2027-10-06T18:30Z",
         {"what": "Nothing to do yet", "next": "Next: Polar alignment at 19:43, in 13 min"}, None),
        ("2027-10-06T18:44Z", {"what": "Polar alignment"}, "s1"),
        ("2027-10-07T08:00Z", {"what": "Over"}, None),
    ],
)  # fmt: skip
def test_the_first_screen_follows_the_clock(browser, sheets, moment, shown, row):
    script = (
        "async (doc, win) => {"
        + SHOWN
        + """
      await rest(50);
      const current = doc.querySelector('[aria-current]');
      const button = el('done').getBoundingClientRect();
      return {...show(), row: current && current.id, button: [button.width, button.bottom]};
    }"""
    )
    found = browser.measure({"it": (sheets["day"].as_uri() + "#at=" + moment, 360)}, script)["it"]
    assert {key: found[key] for key in shown} == shown
    assert found["by"] in ("by the clock", "")
    assert found["row"] == row
    if row is not None:
        width, bottom = found["button"]
        assert width > 320
        assert bottom < 400


@pytest.fixture(scope="module")
def lived(browser, sheets):
    """One night on the phone: ticks, lateness, the flip's minute, clouds, undo, a reload."""
    script = (
        "async (doc, win, frame) => {"
        + SHOWN
        + """
      win.localStorage.clear();
      const seen = {};
      const press = (id) => { el(id).click(); return rest(20); };
      await at('2027-10-06T19:40Z');
      seen.clock = show();
      await press('done');
      seen.ticked = show();
      seen.checked = [...doc.querySelectorAll('input:checked')].map((tick) => tick.id);
      await at('2027-10-06T20:50Z');
      await press('done');
      await press('fewer'); seen.fewer = text('done');
      await at('2027-10-06T21:47Z');
      await press('done');
      seen.late = show();
      seen.rows = ['w4', 'w5'].map((id) => el(id).querySelector('.when').textContent);
      await press('later');
      seen.later = show();
      await press('undo');
      seen.undone = show();
      await at('2027-10-07T00:01Z');
      await press('catch-up');
      await rest(20);
      seen.behind = show();
      const kept = JSON.parse(JSON.stringify(show()));
      frame.contentWindow.location.reload();
      await new Promise((done) => frame.addEventListener('load', done, {once: true}));
      await rest(50);
      const again = frame.contentDocument;
      seen.reloaded = {before: kept, after: again.getElementById('now-what').textContent,
        checked: again.querySelectorAll('input:checked').length,
        file: decodeURIComponent(again.getElementById('ticks-file').href)};
      return seen;
    }"""
    )
    return browser.measure({"it": (sheets["red"].as_uri() + "#at=2027-10-06T19:40Z", 360)}, script)[
        "it"
    ]


def test_ticks_drive_the_first_screen(lived):
    assert lived["clock"]["by"] == "by the clock"
    assert lived["ticked"]["by"].startswith("by your ticks")
    assert lived["ticked"]["what"] != lived["clock"]["what"]
    assert len(lived["checked"]) == 1
    assert lived["fewer"] == "Done: 7 of 8"


def test_lateness_moves_what_follows_and_can_be_undone(lived):
    # S II was to end at 21:27 UTC and was ticked at 21:47: twenty minutes late.
    assert lived["late"]["by"] == "by your ticks, 20 min late"
    assert lived["rows"][0].split() == ["22:47", "22:51"]
    later = lived["later"]
    assert later["by"] == "by your ticks, 30 min late"
    assert lived["undone"] == lived["late"]
    assert "Change filter" in lived["late"]["what"]


def test_ticks_survive_a_reload_and_leave_as_a_file(lived):
    reloaded = lived["reloaded"]
    assert reloaded["after"] == reloaded["before"]["what"]
    assert reloaded["checked"] >= 4
    head, _, text = reloaded["file"].partition(",")
    assert head.startswith("data:application/json")
    page = json.loads(text)
    assert (page["document"], page["site"], page["date"]) == ("ticks", "Hollow Ridge", "2027-10-06")
    assert page["rig"]
    by_filter = {row["filter"]: row for row in page["shot"]}
    assert by_filter["SII"]["count"] == 7
    assert all(row["start_utc"] < row["end_utc"] for row in page["shot"])


def test_the_minute_of_the_flip(browser, sheets, report_data):
    flip = next(row for row in report_data.read_document("plan")["events"] if row["kind"] == "flip")
    script = (
        "async (doc, win) => {"
        + SHOWN
        + """
      win.localStorage.clear();
      await at('BEFORE'); const before = show();
      await at('DURING'); const during = show();
      const row = doc.querySelector('[aria-current]');
      return {before: before, during: during, loud: row.className};
    }"""
    )
    start = dt.datetime.fromisoformat(flip["start_utc"])
    before = (start - dt.timedelta(minutes=3)).strftime("%Y-%m-%dT%H:%M:%SZ")
    script = script.replace("BEFORE", before).replace("DURING", flip["start_utc"])
    found = browser.measure({"it": (sheets["red"].as_uri(), 360)}, script)["it"]
    local = (start + dt.timedelta(hours=1, seconds=30)).strftime("%H:%M")
    assert found["before"]["turn"] == f"Meridian flip at {local}, in 3 min"
    assert found["during"]["turn"].endswith(": now")
    assert "flip" in found["loud"].split()


def test_two_taps_show_the_rest_after_clouds(browser, sheets, report_data):
    block = report_data.read_document("plan")["blocks"][1]
    script = (
        "async (doc, win) => {"
        + SHOWN
        + """
      win.localStorage.clear();
      await at('NOW');
      el('clouds').click(); await rest(20);
      const offered = [...el('losses').querySelectorAll('button')];
      const words = offered.map((button) => button.textContent);
      offered.find((button) => button.textContent === '60 min').click(); await rest(20);
      const seen = {words: words, ...show(), head: el('again-h').textContent,
        shown: !el('again').hidden, rows: el('again-rows').children.length,
        old: el('w3').hidden, first: el('w1').hidden};
      el('undo').click(); await rest(20);
      seen.back = el('again').hidden && !el('w3').hidden;
      return seen;
    }"""
    )
    script = script.replace("NOW", block["start_utc"])
    found = browser.measure({"it": (sheets["red"].as_uri(), 360)}, script)["it"]
    assert found["words"] == ["15 min", "30 min", "60 min", "90 min", "120 min"]
    assert found["shown"]
    assert found["rows"] > 10
    assert found["old"]
    assert not found["first"]
    assert found["back"]
    assert found["what"] == "Clouds until 22:46"
    assert found["head"] == found["note"] == "Planned anew: nothing shot from 21:46 to 22:46."


def test_clouds_amid_a_block_and_again(browser, sheets, report_data, tmp_path):
    """No answer was solved for them: what was lost is left out, and nothing is moved."""
    page = tmp_path / "quick.html"
    html = sheets["red"].read_text(encoding="utf-8")
    page.write_text(re.sub(r'"losses":\[.*\]\}</script>', '"losses":[]}</script>', html), "utf-8")
    block = report_data.read_document("plan")["blocks"][1]
    start = dt.datetime.fromisoformat(block["start_utc"])
    each = (dt.datetime.fromisoformat(block["end_utc"]) - start) / block["count"]
    first = (start + 1.5 * each).strftime("%Y-%m-%dT%H:%M:%SZ")
    script = (
        "async (doc, win) => {"
        + SHOWN
        + """
      const list = () => [...el('again-rows').children].map((row) => row.innerText.split(/\\n+/));
      const lose = async (words) => {
        el('clouds').click(); await rest(20);
        [...el('losses').querySelectorAll('button')].find((b) => b.textContent === words).click();
        await rest(20);
      };
      win.localStorage.clear();
      await at('FIRST');
      await lose('15 min');
      const seen = {once: show(), list: list(), head: el('again-h').textContent};
      await at('SECOND');
      await lose('60 min');
      seen.twice = {...show(), list: list(), head: el('again-h').textContent};
      el('undo').click(); await rest(20);
      seen.back = list();
      // Ticked, the three subs before the clouds go into the file.
      el('again-rows').querySelector('input').click(); await rest(20);
      seen.file = JSON.parse(decodeURIComponent(el('ticks-file').href.split(',')[1])).shot;
      seen.after = show();
      return seen;
    }"""
    )
    second = (start + 7 * each).strftime("%Y-%m-%dT%H:%M:%SZ")
    script = script.replace("FIRST", first).replace("SECOND", second)
    found = browser.measure({"it": (page.as_uri(), 360)}, script)["it"]
    one = (
        "Nothing shot from 21:54 to 22:09: those subs are left out, the rest keeps its times (not "
    )
    assert found["head"] == one + "solved anew)."
    assert found["once"]["what"] == "Clouds until 22:09"
    blocks = [row for row in found["list"] if any("×" in part for part in row)]
    assert any("1 × 300 s" in part for part in blocks[0])
    # From 22:09 seven minutes to slew, centre and focus; the subs after them go on as planned.
    assert any(part.startswith("Slew and centre, focus (NGC 7000)") for part in found["list"][1])
    assert any(re.fullmatch(r"2 × 300 s", part) for part in blocks[1])
    assert blocks[1][1] == "22:27"
    assert found["twice"]["head"].startswith(one)
    assert found["twice"]["head"].count("Nothing shot") == 2
    assert len(found["twice"]["list"]) < len(found["list"])
    assert ["".join(row) for row in found["back"]] == ["".join(row) for row in found["list"]]
    (shot,) = found["file"]
    assert (shot["filter"], shot["count"]) == (block["filter"], 1)
    assert shot["start_utc"] == block["start_utc"]
    assert found["after"]["by"].startswith("by your ticks")


def test_the_row_in_force_is_on_the_first_screen(browser, sheets):
    script = (
        "async (doc, win) => {"
        + SHOWN
        + """
      win.localStorage.clear();
      const seen = [];
      const look = () => {
        const row = doc.querySelector('[aria-current]').getBoundingClientRect();
        seen.push([row.top, row.bottom, el('done').getBoundingClientRect().bottom, win.scrollY]);
      };
      for (const utc of ['2027-10-06T18:44Z', '2027-10-06T21:00Z', '2027-10-07T02:00Z']) {
        await at(utc); look();
      }
      el('done').click(); await rest(20); look();
      el('earlier').click(); await rest(20);
      return {seen: seen, all: doc.querySelectorAll('.row:not([hidden])').length,
        shown: [...doc.querySelectorAll('#setup .row, #work .group .row')]
          .filter((row) => row.getBoundingClientRect().height).length};
    }"""
    )
    found = browser.measure({"it": (sheets["red"].as_uri(), 360)}, script)["it"]
    for top, bottom, button, scrolled in found["seen"]:
        # 640 pixels are a small phone's screen.
        assert button < top
        assert bottom < 640
        assert scrolled == 0
    assert found["shown"] > 15


def test_ticks_outlive_a_plan_made_anew(browser, sheets, report_data, tmp_path):
    """The sheet of the re-plan, at another address or the same, holds what was ticked, and what
    its plan took as shot; both go into the file."""
    from nightplan.report.sheet.render_sheet import SheetSite, render_sheet

    plan = report_data.read_document("plan")
    begin = plan["blocks"][3]["start_utc"]
    anew = {**plan, "from_utc": begin}
    anew["blocks"] = [row for row in plan["blocks"] if row is not plan["blocks"][4]]
    html = render_sheet(
        report_data.read_document("night"), anew, {},
        site=SheetSite("Europe/Lisbon", report_data.ROLES),
    )  # fmt: skip
    page = sheets["red"].parent / "anew.html"
    page.write_text(html, encoding="utf-8")
    later = plan["blocks"][4]
    script = (
        "async (doc, win, frame) => {"
        + SHOWN
        + """
      win.localStorage.clear();
      await at('FIRST');
      const tick = (row) => { el('t-' + row).click(); return rest(20); };
      const items = JSON.parse(el('night-data').textContent).items;
      const row = (start) => items.find((one) => one.shot && one.shot.start_utc === start).id;
      await tick(row('FIRST'));
      await at('ENDED');
      await tick(row('LATER'));
      const go = async (url) => {
        win.location.href = url;
        await new Promise((done) => frame.addEventListener('load', done, {once: true}));
        await rest(50);
        return frame.contentDocument;
      };
      const next = await go('ANEW#at=2027-10-07T01:00Z');
      const seen = {checked: next.querySelectorAll('.block input:checked').length,
        what: next.getElementById('now-what').textContent,
        file: decodeURIComponent(next.getElementById('ticks-file').href.split(',')[1])};
      return seen;
    }"""
    )
    script = script.replace("FIRST", plan["blocks"][0]["start_utc"])
    script = script.replace("LATER", later["start_utc"]).replace("ANEW", page.as_uri())
    script = script.replace("ENDED", later["end_utc"])
    found = browser.measure({"it": (sheets["red"].as_uri(), 360)}, script)["it"]
    shot = json.loads(found["file"])["shot"]
    kept = [row["start_utc"] for row in plan["blocks"][:3]]
    assert found["checked"] == 3
    assert {row["start_utc"] for row in shot} >= {*kept[1:], later["start_utc"]}
    assert [row["filter"] for row in shot] == [
        row["filter"] for row in [*plan["blocks"][:3], later]
    ]
    assert found["what"]


def test_a_turn_is_announced(browser, hard_sheet):
    script = (
        "async (doc, win) => {"
        + SHOWN
        + """
      win.localStorage.clear(); await at('2027-10-06T21:00Z'); return show(); }"""
    )
    found = browser.measure({"it": (hard_sheet.as_uri(), 360)}, script)["it"]
    assert found["turn"].startswith(
        "Turn the camera 0° → 37°, 37° anticlockwise from behind (M 31) at "
    )


def test_now_line_stands_where_the_hour_is(browser, sheets):
    dom = browser.dom(sheets["day"].as_uri() + "#at=2027-10-07T00:17:30Z")
    left = float(re.search(r'id="now-line" style="left: ([\d.]+)%', dom)[1])
    # Window 19:32:40 to 05:02:20 UTC: half of it is over at 00:17:30.
    assert left == pytest.approx(50.0, abs=0.01)


def test_on_another_day_the_line_stays_away(browser, sheets):
    dom = browser.dom(sheets["day"].as_uri() + "#at=2027-11-20T21:00Z")
    assert re.search(r'<section id="now"[^>]* hidden', dom)


SOUTH = ("LMC", "NGC 253", "NGC 55", "NGC 300", "NGC 2070", "NGC 1365", "NGC 7293", "NGC 3372")


@pytest.fixture(scope="module")
def southern(tmp_path_factory):
    """A real night at 30° south of eight wanted targets, large ones among them."""
    folder = tmp_path_factory.mktemp("south")
    text = starter_text().replace("latitude_deg = 38.60", "latitude_deg = -30.2")
    text = text.replace("longitude_deg = -7.55", "longitude_deg = -70.8")
    text = text.replace("Europe/Lisbon", "America/Santiago").replace("Hollow Ridge", "Dry Pan")
    (folder / "nightplan.toml").write_text(text, encoding="utf-8")
    done = run("sheet", *SOUTH, "--date", "2027-12-03", "--output", "south.html", "--style", "red",
               "--save", "plan.json", folder=folder)  # fmt: skip
    assert done.returncode == 0, done.stderr
    return folder / "south.html"


def test_a_southern_night_of_eight_targets(browser, southern):
    url = southern.as_uri() + "#at=2027-12-04T03:00Z"
    pages = {str(width): (url, width) for width in WIDTHS}
    for width, layout in browser.measure(pages, OVERFLOW).items():
        assert layout["wide"] == [], width
        assert layout["scroll"] <= int(width)
    html = southern.read_text(encoding="utf-8")
    plan = json.loads((southern.parent / "plan.json").read_text(encoding="utf-8"))
    assert html.count('<article class="card"') == len(plan["targets"]) >= 2
    assert html.count('class="row block"') == len(plan["blocks"])
    assert html.count("instead of") >= len(plan["blocks"]) - 3
    assert len(html) < 600_000
    script = "async (doc, win) => {" + SHOWN + " await rest(50); return show(); }"
    found = browser.measure({"it": (url, 320)}, script)["it"]
    assert found["what"]
    assert found["next"].startswith("Next: ")


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
        assert line.search(pages[0]), "the order of work is on the first page"
        # A short reason is on the same page as its block; a long one stays on the screen.
        why = row["why"][1:20] if len(row["why"]) <= 60 else ""
        assert any(line.search(sheet) and why in sheet for sheet in pages)
    assert "Never point telescope" in layout
    assert "Skip to" not in layout
    assert "If you lose an hour" in layout


def test_the_red_sheet_prints_black_on_white(browser, sheets):
    if shutil.which("pdftoppm") is None:
        pytest.skip("no pdftoppm (Debian's poppler-utils) on this machine")
    pdf = browser.pdf(sheets["red"].as_uri())
    subprocess.run(["pdftoppm", "-r", "50", "-png", pdf, pdf.with_suffix("")], check=True)
    pages = [np.asarray(Image.open(p).convert("RGB")).astype(int)
             for p in sorted(pdf.parent.glob(pdf.stem + "-*.png"))]  # fmt: skip
    assert len(pages) >= 2
    for page in pages:
        assert (page.min(axis=2) > 200).mean() > 0.6
    dark = pages[0][pages[0].max(axis=2) < 120]
    assert len(dark) > 100
    assert (dark.max(axis=1) - dark.min(axis=1)).mean() < 12.0
