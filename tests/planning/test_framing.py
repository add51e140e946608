"""Framing of single fields against counted sky points and cases worked on paper."""

import math
from dataclasses import replace

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord
from astropy.wcs import WCS
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.path import Path

from nightplan.errors import InputError
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.preferences import Goal
from nightplan.model.starter import demo_config
from nightplan.model.target import Target
from nightplan.planning.framing.framing import frame_catalog, frame_group, frame_target
from nightplan.planning.framing.outlines import shape_of
from nightplan.planning.optics.train_optics import train_optics
from nightplan.sky.tangent_plane import deproject


@pytest.fixture(scope="module")
def catalog():
    return load_catalog()


def preferring(config, **changes):
    return config.model_copy(update={"preferences": config.preferences.model_copy(update=changes)})


def with_sensor(config, width_px, height_px):
    camera = config.camera.model_copy(update={"width_px": width_px, "height_px": height_px})
    return config.model_copy(update={"camera": camera})


SINGLE = preferring(demo_config(), mosaic_most_panels=1)


def panel_wcs(panel, optics):
    """TAN header of one panel for astropy.wcs, from the standard's CD matrix."""
    scale = math.degrees(optics.pixel_um / 1000.0 / optics.focal_length_mm)
    up = math.radians(panel.image_up_angle_deg)
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval = [panel.ra_deg, panel.dec_deg]
    wcs.wcs.crpix = [(optics.width_px + 1) / 2, (optics.height_px + 1) / 2]
    wcs.wcs.cd = scale * np.array([[-math.cos(up), math.sin(up)], [math.sin(up), math.cos(up)]])
    wcs.wcs.lonpole = 180.0
    return wcs


def on_sensor(framing, optics, ra, dec):
    """Which places some panel's pixels hold, by astropy.wcs."""
    held = np.zeros(len(ra), dtype=bool)
    for panel in framing.panels:
        x, y = panel_wcs(panel, optics).all_world2pix(ra, dec, 1)
        held |= (np.abs(x - (optics.width_px + 1) / 2) <= optics.width_px / 2) & (
            np.abs(y - (optics.height_px + 1) / 2) <= optics.height_px / 2
        )
    return held


def sky_points(target, count, seed=1):
    """Random places of a target, even over the sphere: the plane's weight is kept by rejection."""
    shape = shape_of(target)
    polygon = shape.polygons[0]
    rng = np.random.default_rng(seed)
    points = rng.uniform(polygon.min(axis=0), polygon.max(axis=0), (count, 2))
    points = points[rng.uniform(size=count) < (1.0 + (points**2).sum(axis=1)) ** -1.5]
    points = points[Path(polygon).contains_points(points)]
    return deproject(points[:, 0], points[:, 1], shape.ra_deg, shape.dec_deg)


def made(ra=200.0, dec=40.0, major=60.0, minor=20.0, angle=30.0, **more):
    return Target("made", ra, dec, major_arcmin=major, minor_arcmin=minor, angle_deg=angle, **more)


CASES = {
    "M 31": None,
    "Cygnus Loop": None,
    "IC 1396": None,
    "NGC 7000 + IC 5070": None,
    "California Nebula": None,
    "dec 85": made(40.0, 85.0, 160.0, 70.0, 70.0),
    "across RA 0": made(0.1, 12.0, 150.0, 90.0, 100.0),
    "north pole": made(10.0, 90.0, 170.0, 60.0, 25.0),
    "south pole near": made(355.0, -89.6, 170.0, 60.0, 25.0),
    "wide": made(80.0, 5.0, 900.0, 500.0, 33.0),
}


@pytest.mark.parametrize("train", ["flattener", "reducer"])
@pytest.mark.parametrize("case", CASES)
def test_coverage_against_pixels_counted_by_astropy_wcs(catalog, case, train):
    target = CASES[case] or catalog.target(catalog.find(case))
    for config in (SINGLE, demo_config()):
        framing = frame_target(config, target, train)
        optics = train_optics(config, train)
        ra, dec = sky_points(target, 60_000)
        counted = on_sensor(framing, optics, ra, dec).mean()
        spread = math.sqrt(max(counted * (1 - counted), 1e-4) / len(ra))
        assert framing.coverage == pytest.approx(counted, abs=4.5 * spread)


@pytest.mark.parametrize("case", ["M 31", "NGC 7000 + IC 5070", "dec 85", "north pole"])
def test_margin_against_nearest_pixels_edge(catalog, case):
    # The nearest of many places along the sensor's edge, made by astropy.wcs, to each place of
    # the outline; those that another panel holds are no edge.
    target = CASES[case] or catalog.target(catalog.find(case))
    for config in (SINGLE, demo_config()):
        framing = frame_target(config, target, "reducer")
        optics = train_optics(config, "reducer")
        edges_ra, edges_dec = [], []
        for panel in framing.panels:
            side = np.linspace(0.0, 1.0, 1500)
            x = np.concatenate([side, side, 0 * side, 0 * side + 1]) * optics.width_px + 0.5
            y = np.concatenate([0 * side, 0 * side + 1, side, side]) * optics.height_px + 0.5
            ra, dec = panel_wcs(panel, optics).all_pix2world(x, y, 1)
            others = replace(framing, panels=tuple(p for p in framing.panels if p != panel))
            edge = ~on_sensor(others, optics, ra, dec)
            edges_ra.append(ra[edge])
            edges_dec.append(dec[edge])
        edge = SkyCoord(np.concatenate(edges_ra), np.concatenate(edges_dec), unit=u.deg)
        shape = shape_of(target)
        points = shape.edge_points(1e-4)
        ra, dec = deproject(points[:, 0], points[:, 1], shape.ra_deg, shape.dec_deg)
        apart = SkyCoord(ra, dec, unit=u.deg).match_to_catalog_sky(edge)[1].to_value(u.arcmin)
        held = on_sensor(framing, optics, ra, dec)
        assert framing.margin_arcmin == pytest.approx(np.where(held, apart, -apart).min(), abs=0.05)


def test_small_target_takes_any_angle(catalog):
    framing = frame_target(demo_config(), catalog.target(catalog.find("M 51")), "flattener")
    assert framing.coverage == 1.0
    assert framing.position_angle_tolerance_deg == 90.0
    assert framing.position_angle_deg in (0.0, 90.0)
    assert (framing.ra_deg, framing.dec_deg) == pytest.approx((202.4696, 47.1952), abs=1e-3)


def test_order_of_preference_among_angles_that_serve():
    # 80' x 20' at 40 deg in 102.6' x 68.4' serves at 0 and 90 too, and at 33 and 120.
    config, target = demo_config(), made(major=80.0, minor=20.0, angle=40.0)

    def choice(**given_angles):
        framing = frame_target(config, target, "flattener", **given_angles)
        return framing.position_angle_deg, framing.angle_choice

    assert choice() == (0.0, "round")
    assert choice(flats_angles=(33.0,)) == (33.0, "flats")
    assert choice(used_angles=(52.5,), flats_angles=(33.0,)) == (52.5, "used")
    # 130 deg lays the long axis across the short side: it does not serve, so it is passed over.
    assert choice(used_angles=(130.0,), flats_angles=(33.0,)) == (33.0, "flats")
    goal = {"made": Goal(position_angle_deg=61.25)}
    config = config.model_copy(update={"goal": goal})
    assert choice(used_angles=(52.5,)) == (61.25, "used")


def test_middle_of_the_band_when_no_named_angle_serves():
    # 88' x 20' at 40 deg: at 0 the extent along the short side is 2 sqrt(44² sin² 40 + 10² cos²
    # 40) = 58.6', 4.9' of room; at 90 more is missing. The band is even about 40.
    framing = frame_target(SINGLE, made(major=88.0, minor=20.0, angle=40.0), "flattener")
    assert framing.angle_choice == "middle"
    assert framing.position_angle_deg == pytest.approx(40.0, abs=0.51)
    assert framing.margin_arcmin >= 5.0


def test_tolerance_by_paper():
    # Room along the short side: sqrt(a² sin² t + b² cos² t) = h - m, so
    # sin² t = ((h - m)² - b²) / (a² - b²).
    config = preferring(SINGLE, margin_arcmin=8.0)
    target = made(major=80.0, minor=20.0, angle=0.0)
    framing = frame_target(config, target, "flattener", used_angles=(0.0,))
    half_short = train_optics(config, "flattener").short_side_arcmin / 2.0
    sine2 = ((half_short - 8.0) ** 2 - 100.0) / (1600.0 - 100.0)
    expected = math.degrees(math.asin(math.sqrt(sine2)))
    assert framing.position_angle_tolerance_deg == pytest.approx(expected, abs=0.02)
    # Off the middle of its band the nearer end counts.
    off = frame_target(config, target, "flattener", angle_deg=10.0)
    assert off.position_angle_tolerance_deg == pytest.approx(expected - 10.0, abs=0.02)


@pytest.mark.parametrize("case", ["M 31", "NGC 7000 + IC 5070", "dec 85", "across RA 0"])
def test_tolerance_is_where_it_is_lost(catalog, case):
    target = CASES[case] or catalog.target(catalog.find(case))
    framing = frame_target(SINGLE, target, "reducer")
    tolerance = framing.position_angle_tolerance_deg
    assert 0.0 < tolerance < 90.0
    assert framing.margin_arcmin < 5.0

    points = sky_points(target, 120_000, seed=7)

    def coverage(turn):
        panel = framing.panels[0]
        moved = replace(panel, image_up_angle_deg=panel.image_up_angle_deg + turn)
        return on_sensor(
            replace(framing, panels=(moved,)), train_optics(SINGLE, "reducer"), *points
        ).mean()

    kept = coverage(0.0)
    at_ends = [coverage(way * tolerance) for way in (1.0, -1.0)]
    assert kept - min(at_ends) == pytest.approx(0.02, abs=0.003)
    for inside in (0.4, 0.8):
        for way in (1.0, -1.0):
            assert coverage(way * inside * tolerance) > kept - 0.02 - 0.003


def test_widest_angle_is_best_of_a_brute_search(catalog):
    target = catalog.target(catalog.find("M 31"))
    best = frame_target(SINGLE, target, "flattener")
    tried = [
        frame_target(SINGLE, target, "flattener", angle_deg=float(angle)).coverage
        for angle in range(0, 180, 3)
    ]
    assert best.coverage >= max(tried) - 1e-4


def test_lopsided_outline_is_centred_to_give_the_margin():
    # A right triangle whose stated position is its right angle: centred there it would stick out.
    triangle = ((0.0, 0.0), (80.0, 0.0), (0.0, 50.0))
    target = made(dec=0.0, outline=triangle, major=80.0, minor=50.0, angle=90.0)
    framing = frame_target(SINGLE, target, "flattener", angle_deg=90.0)
    optics = train_optics(SINGLE, "flattener")
    expected = min(optics.long_side_arcmin - 80.0, optics.short_side_arcmin - 50.0) / 2.0
    assert framing.margin_arcmin == pytest.approx(expected, abs=0.05)
    assert framing.offset_arcmin == pytest.approx(math.hypot(40.0, 25.0), abs=0.1)
    assert framing.coverage == 1.0


def test_lopsided_outline_too_large_moves_to_where_most_is():
    # A block of 60' x 60' with a thin tail of 200': the field belongs over the block.
    outline = ((0, 0), (60, 0), (60, 60), (0, 60), (0, 32), (-200, 32), (-200, 28), (0, 28))
    target = made(outline=outline, major=260.0, minor=60.0, angle=90.0)
    framing = frame_target(SINGLE, target, "flattener", angle_deg=90.0)
    # The block and 42.6' of the tail out of 200'.
    long_side = train_optics(SINGLE, "flattener").long_side_arcmin
    expected = (3600.0 + 4.0 * (long_side - 60.0)) / (3600.0 + 800.0)
    assert framing.coverage == pytest.approx(expected, abs=0.005)


def test_unknown_angle_keeps_room_all_round():
    target = replace(made(major=50.0, minor=20.0), angle_deg=None)
    framing = frame_target(SINGLE, target, "flattener")
    short_side = train_optics(SINGLE, "flattener").short_side_arcmin
    assert framing.margin_arcmin == pytest.approx((short_side - 50.0) / 2.0, abs=0.02)
    assert framing.position_angle_tolerance_deg == 90.0
    assert "angle is unknown" in framing.reason
    assert "unknown" not in frame_target(SINGLE, made(), "flattener").reason


def test_unknown_size_is_a_point_and_says_so():
    target = Target("spark", 100.0, 20.0)
    framing = frame_target(SINGLE, target, "flattener")
    assert framing.coverage == 1.0
    assert "size is unknown" in framing.reason


def test_sensor_shapes_follow_the_conventions():
    # Landscape: position angle = (image up + 90) mod 180. Portrait: the long side is axis 2, so
    # position angle = image up mod 180. Square: axis 1.
    target = made(major=90.0, minor=20.0, angle=25.0)
    wide = frame_target(SINGLE, target, "reducer", angle_deg=25.0)
    tall = frame_target(with_sensor(SINGLE, 4000, 6000), target, "reducer", angle_deg=25.0)
    square = frame_target(with_sensor(SINGLE, 5000, 5000), target, "reducer", angle_deg=25.0)
    assert (wide.image_up_angle_deg + 90.0) % 180.0 == pytest.approx(25.0)
    assert tall.image_up_angle_deg % 180.0 == pytest.approx(25.0)
    assert (square.image_up_angle_deg + 90.0) % 180.0 == pytest.approx(25.0)
    assert tall.margin_arcmin == pytest.approx(wide.margin_arcmin)
    assert tall.coverage == pytest.approx(wide.coverage)
    # Top nearest to north; the twin is the other way round.
    assert wide.image_up_angle_deg == pytest.approx(295.0)
    assert wide.twin().image_up_angle_deg == pytest.approx(115.0)
    assert wide.twin().panels[0].image_up_angle_deg == pytest.approx(115.0)


def test_a_mirrored_train_frames_the_same():
    trains = {
        "plain": SINGLE.train["reducer"],
        "mirror": SINGLE.train["reducer"].model_copy(update={"mirrored": True}),
    }
    config = SINGLE.model_copy(update={"train": trains})
    plain, mirror = (frame_target(config, made(), name) for name in trains)
    assert replace(mirror, train="plain") == plain


@given(
    st.floats(0.0, 359.9),
    st.floats(-90.0, 90.0),
    st.floats(0.5, 300.0),
    st.floats(0.1, 1.0),
    st.floats(0.0, 179.999),
)
@settings(max_examples=60, deadline=None)
def test_ranges_hold_everywhere(ra, dec, major, ratio, angle):
    target = made(ra, dec, major, major * ratio, angle)
    framing = frame_target(SINGLE, target, "reducer")
    assert 0.0 <= framing.position_angle_deg < 180.0
    assert 0.0 <= framing.image_up_angle_deg < 360.0
    assert round(framing.position_angle_deg, 2) < 180.0
    assert 0.0 < framing.coverage <= 1.0
    assert (framing.margin_arcmin >= 0.0) <= (framing.coverage == 1.0)
    assert 0.0 <= framing.position_angle_tolerance_deg <= 90.0
    # The same target anywhere on the sky is framed as well as on the equator.
    there = frame_target(SINGLE, made(10.0, 0.0, major, major * ratio, angle), "reducer")
    assert framing.coverage == pytest.approx(there.coverage, abs=1e-9)
    assert framing.margin_arcmin == pytest.approx(there.margin_arcmin, abs=1e-6)


@pytest.mark.parametrize("angle", [-1.0, 180.0, math.nan, 400.0])
def test_bad_angle_is_one_clear_line(angle):
    with pytest.raises(InputError, match="angle"):
        frame_target(demo_config(), made(), "reducer", angle_deg=angle)


def test_group_keeps_all_members_inside(catalog):
    members = catalog.targets([catalog.find("M 81"), catalog.find("M 82")])
    framing = frame_group(demo_config(), members, "flattener")
    assert framing.coverage == 1.0
    assert framing.margin_arcmin > 5.0
    optics = train_optics(demo_config(), "flattener")
    for member in members:
        assert on_sensor(framing, optics, *sky_points(member, 2000)).all()


def test_catalogue_framing_agrees_with_single_ones(catalog):
    config = preferring(SINGLE, margin_arcmin=5.0)
    rows = np.flatnonzero(catalog.major_arcmin > 25.0)
    rows = rows[[catalog.outline[row] is None for row in rows]][::4]
    some = catalog.subset(rows)
    found = frame_catalog(config, some)
    for index, target in enumerate(some.targets(range(len(some)))):
        for column, train in enumerate(found.trains):
            one = frame_target(config, target, train)
            assert found.coverage[index, column] == pytest.approx(one.coverage, abs=0.01)
            assert found.fits[index, column] == (one.margin_arcmin >= 5.0 - 1e-3)
            if one.angle_choice == "round" and one.margin_arcmin >= 0.0:
                margin = pytest.approx(one.margin_arcmin, abs=0.1)
                assert found.margin_arcmin[index, column] == margin
            elif one.angle_choice == "middle":
                # Alone it takes the middle of the band, here the angle of most room.
                assert found.margin_arcmin[index, column] >= one.margin_arcmin - 0.01


def test_catalogue_framing_has_a_value_for_every_object(catalog):
    found = frame_catalog(demo_config(), catalog)
    assert found.coverage.shape == (len(catalog), 2)
    assert np.all((found.coverage > 0.0) & (found.coverage <= 1.0))
    assert np.all(np.isfinite(found.margin_arcmin))
    assert np.all((found.position_angle_deg >= 0.0) & (found.position_angle_deg < 180.0))
    assert np.all(found.panels[found.fits] == 1)
    assert np.all(found.panels[~found.fits] >= 1)
