"""The page to turn the camera on, in headless Chromium, against the planner's own answers."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import demo_config
from nightplan.planning.choosing.frame_answer import frame_answer
from nightplan.planning.framing.framing import frame_target
from nightplan.planning.framing.guide_star import guide_outlook
from nightplan.planning.tonight.night import compute_night
from nightplan.report.page.framing_page import framing_page
from nightplan.report.wording.words import GUIDE_WORDS, percent

ANGLES = (0, 20, 65, 90, 111, 170)

READ = """(doc, win) => {
  const text = (id) => doc.getElementById(id).textContent;
  const sky = doc.getElementById('sky');
  return {covered: text('covered'), margin: text('margin'), up: text('up'), panels: text('panels'),
          east: text('before'), west: text('after'),
          before: sky.dataset.before, after: sky.dataset.after,
          command: doc.getElementById('command').value, out: text('angle-out'),
          rings: sky.querySelectorAll('.held').length,
          fields: sky.querySelectorAll('.field').length,
          field: sky.querySelector('.field').getAttribute('d'),
          wide: doc.documentElement.scrollWidth, inner: win.innerWidth};
}"""

TURN = """(doc, win) => {
  const press = (label) => [...doc.querySelectorAll('button')]
    .find((b) => b.textContent === label).click();
  const out = () => doc.getElementById('angle-out').textContent;
  const seen = [];
  press('−5°'); seen.push(out());
  press('+1°'); seen.push(out());
  const slider = doc.getElementById('angle');
  slider.value = 45; slider.dispatchEvent(new Event('input')); seen.push(out());
  doc.querySelectorAll('input[name=train]')[1].click();
  seen.push(doc.getElementById('command').value);
  doc.getElementById('copy').click();
  seen.push(doc.getElementById('copied').textContent);
  return seen;
}"""


def page_of(name, folder, styles):
    """Rig, target, trains in the page's order, and the files of its page by style."""
    config = demo_config()
    catalog = catalog_for(config)
    target = catalog.target(catalog.find(name))
    night = compute_night(config.site, dt.date(2027, 10, 6))
    answer = frame_answer(config, night, target, catalog)
    paths = {}
    for style in styles:
        paths[style] = folder / f"{style}.html"
        html = framing_page(config, target, answer, style=style)
        paths[style].write_text(html, encoding="utf-8")
    return config, target, [fit.train for fit in answer.ranking.fits], paths


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return page_of("M 33", tmp_path_factory.mktemp("page"), ("day", "red"))


@pytest.fixture(scope="module")
def mosaic(tmp_path_factory):
    return page_of("M 31", tmp_path_factory.mktemp("mosaic"), ("day",))


def read(browser, made):
    _, _, trains, paths = made
    pages = {
        f"{number} {angle}": (f"{paths['day'].as_uri()}#angle={angle}&train={number}", 360)
        for number in range(len(trains))
        for angle in ANGLES
    }
    return browser.measure(pages, READ)


@pytest.fixture(scope="module")
def readings(browser, made):
    return read(browser, made)


@pytest.fixture(scope="module")
def mosaic_readings(browser, mosaic):
    return read(browser, mosaic)


@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize("number", [0, 1])
def test_page_and_planner_agree(readings, made, number, angle):
    check(readings, made, number, angle)


@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize("number", [0, 1])
def test_page_and_planner_agree_on_mosaics(mosaic_readings, mosaic, number, angle):
    check(mosaic_readings, mosaic, number, angle)


def check(readings, made, number, angle):
    config, target, trains, _ = made
    shown = readings[f"{number} {angle}"]
    framing = frame_target(config, target, trains[number], angle_deg=float(angle))
    assert shown["covered"] == percent(framing.coverage)
    assert float(re.match(r"[−\d.]+", shown["margin"])[0].replace("−", "-")) == pytest.approx(
        framing.margin_arcmin, abs=0.06
    )
    assert shown["up"] == f"{framing.image_up_angle_deg:g}°"
    assert int(re.match(r"\d+", shown["panels"])[0]) == len(framing.panels) == shown["fields"]
    guide = guide_outlook(config, framing, target=target)
    assert shown["before"] == guide.before_meridian.state
    assert shown["after"] == guide.after_meridian.state
    stars = len(guide.before_meridian.stars) + len(guide.after_meridian.stars)
    assert shown["rings"] == stars
    for words, side in (("east", guide.before_meridian), ("west", guide.after_meridian)):
        where = f"panel {side.panel}, the worst off: " if framing.is_mosaic else ""
        if side.stars:
            brightest = min(star.g_mag for star in side.stars)
            assert shown[words].startswith(f"{where}guide star of G {brightest:.1f}")
        else:
            assert shown[words].startswith(f"{where}guide star {GUIDE_WORDS[side.state]}, about")
    assert f"--train {trains[number]} --angle {angle} --record" in shown["command"]
    assert shown["wide"] <= shown["inner"] == 360


def test_field_is_drawn_at_its_angle(readings):
    # The long side of the drawn field lies along the position angle, east to the left.
    import math

    for angle in ANGLES:
        points = [
            (float(x), float(y))
            for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", readings[f"0 {angle}"]["field"])
        ]
        sides = [
            (b[0] - a[0], b[1] - a[1]) for a, b in zip(points, points[1:] + points[:1], strict=True)
        ]
        long = max(sides, key=lambda side: math.hypot(*side))
        drawn = math.degrees(math.atan2(-long[0], -long[1])) % 180.0
        assert abs((drawn - angle + 90.0) % 180.0 - 90.0) < 0.1


def test_buttons_slider_train_and_copy(browser, made):
    _, _, trains, paths = made
    url = paths["day"].as_uri() + "#angle=2&train=0"
    seen = browser.measure({"page": (url, 768)}, TURN)["page"]
    assert seen[:3] == ["177°", "178°", "45°"]
    assert f"--train {trains[1]} --angle 45 --record" in seen[3]
    assert seen[4].startswith(("Copied", "Marked"))


def test_red_page_lights_red_only(browser, made):
    pixels = browser.pixels(made[3]["red"].as_uri(), 800, 1500, "--virtual-time-budget=2000")
    assert pixels[..., 1:].max() == 0
    assert pixels[..., 0].max() == 255
