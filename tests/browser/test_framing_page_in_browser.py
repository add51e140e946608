"""The page to turn the camera on, in headless Chromium, against the planner's own answers."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import demo_config
from nightplan.number_forms import percent
from nightplan.planning.choosing.frame_answer import frame_answer
from nightplan.planning.framing.framing import frame_target
from nightplan.planning.framing.guide_star import guide_outlook
from nightplan.planning.tonight.night import compute_night
from nightplan.report.page.framing_page import framing_page
from nightplan.report.wording.words import GUIDE_WORDS

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
  press('+0.1°'); seen.push(out());
  press('−0.1°');
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
        where = f"panel {side.panel}: " if framing.is_mosaic else ""
        if side.stars:
            brightest = min(star.g_mag for star in side.stars)
            assert shown[words].startswith(f"{where}star of G {brightest:.1f}")
        else:
            assert shown[words].startswith(f"{where}{GUIDE_WORDS[side.state]}, about")
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
    assert seen[:4] == ["177°", "178°", "45°", "45.1°"]
    assert f"--train {trains[1]} --angle 45 --record" in seen[4]
    assert seen[5].startswith(("Copied", "Marked"))


# A finger on the rim, then on the field, then keys; the knob sits at the camera's angle.
DRAG = """(doc, win) => {
  const sky = doc.getElementById('sky'), box = sky.getBoundingClientRect();
  const side = Math.min(box.width, box.height);
  const text = (id) => doc.getElementById(id).textContent;
  const at = (kind, element, x, y) => element.dispatchEvent(new win.PointerEvent(kind, {
    bubbles: true, cancelable: true, pointerId: 1,
    clientX: box.left + box.width / 2 + x * side, clientY: box.top + box.height / 2 + y * side}));
  const grip = doc.getElementById('grip'), field = doc.getElementById('field');
  for (const each of [grip, field]) { each.setPointerCapture = () => {}; }
  const rad = Math.PI / 180;
  const polar = (deg) => [-0.43 * Math.sin(deg * rad), -0.43 * Math.cos(deg * rad)];
  const seen = {};
  at('pointerdown', grip, ...polar(20)); at('pointermove', grip, ...polar(50.5));
  at('pointerup', grip, ...polar(50.5)); at('pointermove', grip, ...polar(90));
  seen.turned = text('angle-out');
  at('pointerdown', field, 0, 0); at('pointermove', field, -0.02, 0.03);
  at('pointerup', field, -0.02, 0.03);
  seen.shift = text('shift'); seen.share = text('covered'); seen.margin = text('margin');
  seen.command = doc.getElementById('command').value;
  seen.arcmin = parseFloat(sky.getAttribute('viewBox').split(' ')[2]) / side;
  seen.side = side;
  const key = (element, name) => element.dispatchEvent(
    new win.KeyboardEvent('keydown', {key: name, bubbles: true}));
  key(grip, 'ArrowUp'); key(grip, 'ArrowLeft'); seen.keys = text('angle-out');
  seen.now = grip.getAttribute('aria-valuenow');
  key(field, 'Enter'); seen.back = text('shift');
  key(field, 'ArrowUp'); seen.north = text('shift');
  return seen;
}"""


def test_the_rim_turns_and_the_field_shifts(browser, made):
    config, target, trains, paths = made
    url = paths["day"].as_uri() + "#angle=20&train=0"
    seen = browser.measure({"page": (url, 768)}, DRAG)["page"]
    assert seen["turned"] == "50.5°"
    east, north = 0.02 * seen["side"] * seen["arcmin"], -0.03 * seen["side"] * seen["arcmin"]
    south, to_east = re.match(r"([\d.]+)′ south, ([\d.]+)′ east", seen["shift"]).groups()
    assert float(south) == pytest.approx(-north, abs=0.06)
    assert float(to_east) == pytest.approx(east, abs=0.06)
    # The place in the command is that shift on the sky, by astropy's own offsets.
    from astropy import units as u
    from astropy.coordinates import SkyCoord

    ra, dec = map(float, re.search(r"--centre ([\d.]+),(-?[\d.]+)", seen["command"]).groups())
    middle = frame_target(config, target, trains[0], angle_deg=50.0).panels[0]
    at = SkyCoord(middle.ra_deg * u.deg, middle.dec_deg * u.deg)
    moved = at.spherical_offsets_to(SkyCoord(ra * u.deg, dec * u.deg))
    assert moved[0].arcmin == pytest.approx(float(to_east), abs=0.2)
    assert moved[1].arcmin == pytest.approx(-float(south), abs=0.2)
    assert "--angle 50.5 " in seen["command"]
    assert (seen["keys"], seen["now"]) == ("51.6°", "51.6")
    assert (seen["back"], seen["north"]) == ("none", "1.0′ north")


def test_share_and_margin_of_a_shifted_field_are_the_planners(browser, made):
    # The planner frames the shifted composition by itself, with the panel at that centre.
    from nightplan.library.keeping import Composition, composed

    config, target, trains, paths = made
    catalog = catalog_for(config)
    url = paths["day"].as_uri() + "#angle=20&train=0"
    seen = browser.measure({"page": (url, 768)}, DRAG)["page"]
    ra, dec = map(float, re.search(r"--centre ([\d.]+),(-?[\d.]+)", seen["command"]).groups())
    asked = Composition(centre_deg=(ra, dec), own_middle=False, panels=1, group=None)
    shifted = composed(config, target, catalog, asked, angle_deg=50.5, train=trains[0])
    framing = frame_target(shifted, target, trains[0], angle_deg=50.5)
    assert framing.panels[0].ra_deg == pytest.approx(ra, abs=1e-3)
    margin = float(re.match(r"[−\d.]+", seen["margin"])[0].replace("−", "-"))
    assert margin == pytest.approx(framing.margin_arcmin, abs=0.3)
    assert float(seen["share"].split()[-2]) == pytest.approx(100.0 * framing.coverage, abs=1.1)


def test_red_page_lights_red_only(browser, made):
    pixels = browser.pixels(made[3]["red"].as_uri(), 800, 1500, "--virtual-time-budget=2000")
    assert pixels[..., 1:].max() == 0
    assert pixels[..., 0].max() == 255
