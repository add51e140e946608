"""Every whole degree at once, against what answers for one; the page without a browser.

Coverage of an ellipse that a rectangle cuts on two sides is checked against the closed form of a
circular segment (any table of integrals).
"""

from __future__ import annotations

import datetime as dt
import json
import re

import numpy as np
import pytest

from nightplan.errors import InputError
from nightplan.model.own_targets import catalog_for
from nightplan.model.star_catalog import star_catalog
from nightplan.model.starter import demo_config
from nightplan.model.target import Target
from nightplan.planning.choosing.frame_answer import frame_answer
from nightplan.planning.framing.angle_sweep import ARCMIN, sweep_angles
from nightplan.planning.framing.framing import frame_target
from nightplan.planning.framing.guide_star import guide_outlook
from nightplan.planning.tonight.night import compute_night
from nightplan.report.page.framing_page import framing_page


@pytest.fixture(scope="module")
def config():
    return demo_config()


@pytest.fixture(scope="module")
def galaxy(config):
    catalog = catalog_for(config)
    return catalog.target(catalog.find("M 33"))


@pytest.fixture(scope="module")
def answer(config, galaxy):
    night = compute_night(config.site, dt.date(2027, 10, 6))
    return frame_answer(config, night, galaxy, catalog_for(config))


@pytest.fixture(scope="module")
def page(config, galaxy, answer):
    return framing_page(config, galaxy, answer, style="red")


def test_sweep_says_what_the_frame_command_says(config, galaxy):
    stars = star_catalog(config)
    for train in config.train:
        sweep = sweep_angles(config, galaxy, train, stars)
        for angle in (0, 17, 90, 143):
            framing = frame_target(config, galaxy, train, angle_deg=float(angle))
            assert sweep.coverage[angle] == pytest.approx(framing.coverage, abs=1e-6)
            assert sweep.margin_arcmin[angle] == pytest.approx(framing.margin_arcmin, abs=1e-6)
            assert sweep.image_up_angle_deg[angle] == framing.image_up_angle_deg
            guide = guide_outlook(config, framing, target=galaxy)
            for side, fainter in (
                (guide.before_meridian, sweep.fainter_before),
                (guide.after_meridian, sweep.fainter_after),
            ):
                assert len(side.stars) + fainter[angle] == pytest.approx(side.expected_count)


def test_sweep_lays_the_panels_of_a_mosaic(config):
    catalog = catalog_for(config)
    wide = catalog.target(catalog.find("M 31"))
    stars = star_catalog(config)
    sweep = sweep_angles(config, wide, "reducer", stars)
    counts = np.diff(sweep.starts)
    assert counts.max() >= 2
    for angle in (0, 36, 90, 143):
        framing = frame_target(config, wide, "reducer", angle_deg=float(angle))
        fields = slice(sweep.starts[angle], sweep.starts[angle + 1])
        panels = framing.panels
        assert sweep.ra_deg[fields] == pytest.approx([panel.ra_deg for panel in panels])
        assert sweep.dec_deg[fields] == pytest.approx([panel.dec_deg for panel in panels])
        laid = sweep.position_angle_deg[fields]
        assert laid == pytest.approx([panel.position_angle_deg for panel in panels])
        assert sweep.coverage[angle] == pytest.approx(framing.coverage)
        assert sweep.margin_arcmin[angle] == pytest.approx(framing.margin_arcmin)
        guide = guide_outlook(config, framing, target=wide)
        for sides, fainter in zip(
            zip(*guide.panels, strict=True),
            (sweep.fainter_before, sweep.fainter_after),
            strict=True,
        ):
            counted = [side.expected_count - len(side.stars) for side in sides]
            assert fainter[fields] == pytest.approx(counted)


def test_sweep_of_a_disc_wider_than_the_field(config):
    disc = Target("Disc", 40.0, 10.0, major_arcmin=90.0, minor_arcmin=90.0)
    alone = config.preferences.model_copy(update={"mosaic_most_panels": 1})
    sweep = sweep_angles(config.model_copy(update={"preferences": alone}), disc, "flattener")
    radius = np.tan(np.radians(45.0 / 60.0))
    cut = sweep.half_short / radius
    assert sweep.half_long > radius > sweep.half_short
    outside = 2.0 * (np.arccos(cut) - cut * np.sqrt(1.0 - cut * cut)) / np.pi
    assert sweep.coverage == pytest.approx(1.0 - outside, abs=3e-4)
    # On the sky, not in the plane: arcs differ by 2e-4 at this size.
    short = np.degrees(np.arctan(sweep.half_short)) * 60.0
    assert sweep.margin_arcmin == pytest.approx(short - 45.0, abs=0.02)
    assert sweep.patch is None
    assert sweep.before_deg.size == 0


def test_page_stands_alone(page):
    assert not re.search(r"https?:|@import|url\((?!#)|<link|<img", page.lower())
    assert "default-src 'none'" in page
    screen = re.sub(r"@media print\{:root\{.*?\}\}", "", page)
    colours = set(re.findall(r"#[0-9a-fA-F]{6}\b", screen))
    assert all(re.fullmatch(r"#[0-9a-f]{2}0000", colour) for colour in colours), colours
    assert len(page) < 400_000
    assert "CC BY-SA 3.0 IGO" in page
    assert "<noscript>" in page


def test_page_carries_the_sweep(page, config, galaxy):
    data = json.loads(re.search(r'id="framing-data">(.*?)</script>', page)[1])
    names = {train["name"] for train in data["trains"]}
    assert names == set(config.train)
    for train in data["trains"]:
        sweep = sweep_angles(config, galaxy, train["name"])
        assert train["along"] == pytest.approx(sweep.half_long * ARCMIN, abs=1e-3)
        assert train["margin"] == pytest.approx(sweep.margin_arcmin, abs=0.006)
        assert len(train["coverage"]) == len(train["fields"]) == 180
    assert data["command"] == (
        'nightplan frame --config nightplan.toml "M 33" --train TRAIN --angle ANGLE --record'
    )


def test_a_rig_without_a_guider_has_a_page_too(config, galaxy):
    bare = config.model_copy(update={"guider": None})
    night = compute_night(config.site, dt.date(2027, 10, 6))
    html = framing_page(bare, galaxy, frame_answer(bare, night, galaxy, catalog_for(bare)))
    assert "Before meridian" not in html
    data = json.loads(re.search(r'id="framing-data">(.*?)</script>', html)[1])
    assert "patch" not in data["trains"][0]


def test_unknown_style(config, galaxy, answer):
    with pytest.raises(InputError, match="day, red, print"):
        framing_page(config, galaxy, answer, style="dark")
