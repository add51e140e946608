"""A target framed as the imager composes it: centre, panels, angle, train, neighbours."""

import json
import re

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord
from click.testing import CliRunner

import nightplan
from nightplan.cli.main import group
from nightplan.errors import ConfigError, InputError, UnknownKeyError
from nightplan.journal import Journal
from nightplan.library.keeping import place_from_text
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.config import load_config
from nightplan.model.starter import demo_config
from nightplan.model.wishes import FramingWish
from nightplan.planning.choosing.selection import rank_targets
from nightplan.planning.choosing.train_choice import one_train, rank_trains
from nightplan.planning.choosing.wishes import Wishes
from nightplan.planning.framing.framing import frame_target
from nightplan.planning.tonight.night import compute_night
from tests.planning.test_framing import on_sensor, train_optics

CATALOG = load_catalog()


def wishing(name, **wish):
    return demo_config().model_copy(update={"framing": {name: FramingWish(**wish)}})


def target(name):
    return CATALOG.target(CATALOG.find(name))


def test_centre_and_offset_say_the_same():
    """An offset of 20′ east and 30′ south against astropy's own stepping on the sphere."""
    galaxy = target("M 31")
    place = SkyCoord(galaxy.ra_deg * u.deg, galaxy.dec_deg * u.deg)
    # The plane and the sphere differ in third order: a tenth of an arcsecond here.
    away = place.spherical_offsets_by(20 * u.arcmin, -30 * u.arcmin)
    moved = frame_target(wishing("m31", offset_arcmin=(20.0, -30.0)), galaxy, "reducer")
    found = SkyCoord(moved.ra_deg * u.deg, moved.dec_deg * u.deg)
    assert found.separation(away) < 2 * u.arcsec
    assert moved.offset_arcmin == pytest.approx(np.hypot(20.0, 30.0), abs=0.02)
    centre = (moved.ra_deg, moved.dec_deg)
    same = frame_target(wishing("M 31", centre_deg=centre), galaxy, "reducer")
    assert (same.ra_deg, same.dec_deg) == pytest.approx(centre, abs=1e-6)
    assert same.position_angle_deg == moved.position_angle_deg


def test_one_panel_is_one_panel_and_its_cut_is_counted():
    """Coverage of an offset single field against points of the outline counted by astropy.wcs."""
    config = wishing("M 31", offset_arcmin=(15.0, 25.0), panels=1, position_angle_deg=70.0)
    galaxy = target("M 31")
    framing = frame_target(config, galaxy, "reducer")
    assert len(framing.panels) == 1
    assert framing.position_angle_deg == 70.0
    assert framing.angle_choice == "asked"
    rng = np.random.default_rng(7)
    # Points spread evenly over the catalogue's ellipse, laid on the sky by astropy.
    radius, turn = np.sqrt(rng.random(4000)), 2 * np.pi * rng.random(4000)
    major, minor = galaxy.major_arcmin / 2, galaxy.minor_arcmin / 2
    along, across = major * radius * np.cos(turn), minor * radius * np.sin(turn)
    tilt = np.radians(galaxy.angle_deg)
    east = along * np.sin(tilt) - across * np.cos(tilt)
    north = along * np.cos(tilt) + across * np.sin(tilt)
    sky = SkyCoord(galaxy.ra_deg * u.deg, galaxy.dec_deg * u.deg).spherical_offsets_by(
        east * u.arcmin, north * u.arcmin
    )
    held = on_sensor(framing, train_optics(config, "reducer"), sky.ra.deg, sky.dec.deg)
    assert framing.coverage == pytest.approx(held.mean(), abs=0.02)
    assert "the centre is the one you chose" in framing.reason


def test_a_mosaic_about_another_centre_still_holds_the_target():
    config = wishing("M 31", offset_arcmin=(30.0, 30.0))
    framing = frame_target(config, target("M 31"), "flattener")
    assert framing.is_mosaic
    assert framing.coverage > 0.98
    assert framing.offset_arcmin == pytest.approx(np.hypot(30.0, 30.0), abs=0.05)


def test_neighbours_are_held_with_the_margin():
    config = wishing("M 81", with_targets=("M 82", "NGC 3077"))
    framing = frame_target(config, target("M 81"), "flattener")
    assert framing.target == "M 81"
    assert len(framing.panels) == 1
    optics = train_optics(config, "flattener")
    for name in ("M 81", "M 82", "NGC 3077"):
        one = target(name)
        assert on_sensor(framing, optics, [one.ra_deg], [one.dec_deg]).all()
    assert framing.margin_arcmin >= config.preferences.margin_arcmin


def test_the_train_wished_for_is_taken_alone_and_in_a_night():
    plain = rank_trains(demo_config(), target("M 51"))
    other = next(fit.train for fit in plain.fits if fit is not plain.best)
    wished = rank_trains(wishing("M 51", train=other), target("M 51"))
    assert wished.best.train == other
    assert {fit.train for fit in wished.fits} == {fit.train for fit in plain.fits}
    assert wished.of(plain.best.train).score == 0.0
    assert one_train([wished, plain], other).losses[0].share == 0.0


def test_pick_ranks_the_composition():
    night = compute_night(demo_config().site, __import__("datetime").date(2027, 10, 6))
    only = Wishes(names=("M 31",))
    (plain,) = rank_targets(demo_config(), night, CATALOG, only).ranked
    (cut,) = rank_targets(wishing("m 31", panels=1, train="flattener"), night, CATALOG, only).ranked
    assert plain.panels > 1 or plain.train != "flattener"
    assert (cut.panels, cut.train) == (1, "flattener")
    exact = frame_target(wishing("m 31", panels=1), target("M 31"), "flattener")
    assert cut.coverage == pytest.approx(exact.coverage)


def run(config_file, *args):
    found = CliRunner().invoke(
        group,
        [*args, "--config", str(config_file), "--date", "2027-10-06", "--json"],
        catch_exceptions=False,
    )
    assert found.exit_code == 0, found.output
    return json.loads(found.stdout)


def test_a_recorded_composition_is_planned_until_it_is_forgotten(config_file):
    asked = ("frame", "M 33", "--centre", "23.9,30.4", "--angle", "40", "--record")
    framed = run(config_file, *asked)
    (panel,) = framed["panels"]
    assert (panel["ra_deg"], panel["dec_deg"]) == (23.9, 30.4)
    again = run(config_file, "frame", "M 33")
    assert again["panels"] == framed["panels"]
    planned = run(config_file, "plan", "M 33")
    row = planned["targets"][0]
    assert (row["ra_deg"], row["dec_deg"]) == (23.9, 30.4)
    assert row["position_angle_deg"] == 40.0
    assert {(one["ra_deg"], one["dec_deg"]) for one in planned["blocks"]} == {(23.9, 30.4)}
    run(config_file, "frame", "M 33", "--centre", "target", "--record")
    with Journal.of(load_config(config_file)) as journal:
        assert journal.compositions() == {}
    galaxy = target("M 33")
    (panel,) = run(config_file, "frame", "M 33", "--panels", "1")["panels"]
    assert panel["ra_deg"] == pytest.approx(galaxy.ra_deg, abs=1e-5)


def test_a_group_that_frame_proposes_can_be_taken_and_kept(config_file):
    proposed = run(config_file, "frame", "M 81", "--train", "flattener")["groups"][0]
    taken = run(config_file, "frame", "M 81", "--train", "flattener", "--group", "1", "--record")
    (panel,) = taken["panels"]
    for key in ("ra_deg", "dec_deg", "position_angle_deg"):
        assert panel[key] == pytest.approx(proposed[key], abs=1e-4)
    with Journal.of(load_config(config_file)) as journal:
        (kept,) = journal.compositions().values()
    assert list(kept.with_targets) == proposed["targets"][1:]


def test_the_configuration_stands_before_the_journal(config_file):
    run(config_file, "frame", "M 33", "--centre", "23.9,30.4", "--record")
    text = config_file.read_text(encoding="utf-8")
    config_file.write_text(text + '\n[framing."m33"]\ncentre_deg = [23.5, 30.7]\n')
    (panel,) = run(config_file, "frame", "M 33", "--train", "reducer")["panels"]
    assert (panel["ra_deg"], panel["dec_deg"]) == (23.5, 30.7)


@pytest.mark.parametrize(
    ("lines", "error", "words"),
    [
        ("centre_deg = [400.0, 3.0]", ConfigError, "centre_deg = [400.0, 3.0]"),
        ("centre_deg = [4.0, 3.0]\noffset_arcmin = [1.0, 1.0]", ConfigError, "offset_arcmin"),
        ("offset_arcmin = [1.0]", ConfigError, "offset_arcmin"),
        ("offset_arcmin = [1.0, 9999.0]", ConfigError, "-3000 to 3000"),
        ("panels = 0", ConfigError, "from 1 to 100"),
        ("position_angle_deg = 180.0", ConfigError, "position_angle_deg"),
        ('train = "lens"', ConfigError, "flattener, reducer"),
        ("center_deg = [4.0, 3.0]", UnknownKeyError, "centre_deg"),
    ],
)
def test_faulty_wishes_name_key_and_range(config_file, lines, error, words):
    text = config_file.read_text(encoding="utf-8")
    config_file.write_text(f'{text}\n[framing."M 33"]\n{lines}\n')
    with pytest.raises(error) as caught:
        load_config(config_file)
    assert words in str(caught.value)
    assert "framing.M 33" in str(caught.value)


def test_places_are_read_in_degrees_and_hours():
    assert place_from_text("10.5, -41.25") == pytest.approx((10.5, -41.25))
    assert place_from_text("00:42:00,+41:15:00") == pytest.approx((10.5, 41.25))
    assert place_from_text("target") is None
    for text in ("", "12", "12,100", "a,b", "nan,3", "1,2,3"):
        with pytest.raises(InputError, match="centre"):
            place_from_text(text)


def test_plan_campaign_and_sheet_keep_the_composition():
    """Centre, panels, angle and train of one wish, from the same configuration, in all three."""
    wish = {"offset_arcmin": (12.0, -8.0), "panels": 1, "position_angle_deg": 37.0}
    config = wishing("M 33", **wish, train="flattener")
    framed = frame_target(config, target("M 33"), "flattener")
    place = SkyCoord(framed.ra_deg * u.deg, framed.dec_deg * u.deg)
    assert framed.offset_arcmin == pytest.approx(np.hypot(12.0, 8.0), abs=0.02)

    coming = nightplan.campaign(config, ["M 33"], "2027-10-06", 2)
    planned = coming.campaign.plan
    nights = coming.document.nights
    assert {row.train for row in nights} == {"flattener"}
    # Every later night is worked through in the framing that its train was ranked with.
    assert coming.campaign.found is not None
    (ranking,) = coming.campaign.found.rankings
    own = [planned.framing("M 33"), ranking.of("flattener").framing]

    tonight = nightplan.plan(config, "2027-10-06", ["M 33"])
    (row,) = tonight.document.targets
    assert (row.train, row.panels, row.position_angle_deg) == ("flattener", 1, 37.0)
    framings = [(one.ra_deg, one.dec_deg, one.position_angle_deg) for one in own]
    for ra_deg, dec_deg, angle_deg in (*framings, (row.ra_deg, row.dec_deg, 37.0)):
        there = SkyCoord(ra_deg * u.deg, dec_deg * u.deg)
        assert there.separation(place) < 1 * u.arcsec
        assert angle_deg == 37.0
    assert [len(one.panels) for one in own] == [1, 1]
    for block in tonight.document.blocks:
        there = SkyCoord(block.ra_deg * u.deg, block.dec_deg * u.deg)
        assert there.separation(place) < 1 * u.arcsec
        assert (block.train, block.position_angle_deg) == ("flattener", 37.0)

    told = re.sub(r"<[^>]+>", " ", tonight.sheet(quick=True))
    told = " ".join(told.split())
    assert "Camera 37° ± 11°, image up 307°, train flattener." in told
    assert f"Centre {place.to_string('hmsdms', precision=0, sep='hms')[:9]}" in told
