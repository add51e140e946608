"""Panel grids: no hole, fewest panels, parallel sides, at any declination."""

import itertools
import math

import numpy as np
import pytest
from astropy.wcs import WCS
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.path import Path

from nightplan.model.catalog_reading import load_catalog
from nightplan.model.starter import demo_config
from nightplan.model.target import Target
from nightplan.model.wishes import FramingWish
from nightplan.planning.framing.field_search import Field
from nightplan.planning.framing.framing import frame_target
from nightplan.planning.framing.mosaic import (
    _least_overlaps,
    _serpentine,
    build_grid,
    fewest_panels,
    panels_needed,
    plan_grid,
)
from nightplan.planning.framing.outlines import shape_of
from nightplan.planning.framing.panel_grid import grid_tolerance_deg, measure_panels
from nightplan.sky.angles import wrap_180_deg
from nightplan.sky.tangent_plane import deproject

# 23.4 mm x 15.6 mm behind 588 mm and behind a 135 mm lens.
REDUCER = Field(11.7 / 588.0, 7.8 / 588.0)
LENS = Field(11.7 / 135.0, 7.8 / 135.0)
MARGIN = math.radians(5.0 / 60.0)


def ellipse(ra=200.0, dec=40.0, major=300.0, minor=150.0, angle=20.0):
    target = Target("made", ra, dec, major_arcmin=major, minor_arcmin=minor, angle_deg=angle)
    return shape_of(target)


def held_by_panels(grid, field, ra, dec):
    """Which places lie in some panel, by astropy.wcs: a plane of one 'pixel' per half side."""
    held = np.zeros(len(ra), dtype=bool)
    for panel_ra, panel_dec, angle in zip(
        grid.panel_ra_deg, grid.panel_dec_deg, grid.panel_angle_deg, strict=True
    ):
        turn = math.radians(angle)
        wcs = WCS(naxis=2)
        wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
        wcs.wcs.crval = [panel_ra, panel_dec]
        wcs.wcs.crpix = [0.0, 0.0]
        wcs.wcs.lonpole = 180.0
        # Axis 1 along the long side; the parity is of no consequence.
        wcs.wcs.cd = np.degrees(
            [
                [field.half_long * math.sin(turn), -field.half_short * math.cos(turn)],
                [field.half_long * math.cos(turn), field.half_short * math.sin(turn)],
            ]
        )
        x, y = wcs.all_world2pix(ra, dec, 0)
        held |= (np.abs(x + 1.0) <= 1.0 + 1e-9) & (np.abs(y + 1.0) <= 1.0 + 1e-9)
    return held


def places_of(shape, count=3000, seed=3):
    polygon = shape.polygons[0]
    rng = np.random.default_rng(seed)
    points = rng.uniform(polygon.min(axis=0), polygon.max(axis=0), (count, 2))
    points = np.concatenate([points[Path(polygon).contains_points(points)], polygon * 0.999999])
    return deproject(points[:, 0], points[:, 1], shape.ra_deg, shape.dec_deg)


@given(
    ra=st.floats(0.0, 359.99),
    dec=st.one_of(st.floats(-90.0, 90.0), st.sampled_from([90.0, -90.0, 85.0, 0.0])),
    major=st.floats(60.0, 420.0),
    ratio=st.floats(0.2, 1.0),
    tilt=st.floats(0.0, 179.9),
    angle=st.one_of(st.none(), st.floats(0.0, 179.9)),
    overlap=st.sampled_from([0.0, 0.1, 0.15, 0.3]),
)
@settings(max_examples=60, deadline=None)
def test_grids_cover_with_no_hole(ra, dec, major, ratio, tilt, angle, overlap):
    shape = ellipse(ra, dec, major, major * ratio, tilt)
    grid = plan_grid(shape, REDUCER, overlap, MARGIN, 40, angle)
    assert grid is not None
    assert grid.coverage == pytest.approx(1.0, abs=1e-9)
    assert grid.margin_rad >= MARGIN - 2e-7
    assert held_by_panels(grid, REDUCER, *places_of(shape)).all()


@pytest.mark.parametrize("dec", [0.0, 60.0, 85.0, 89.0, 90.0, -88.0])
@pytest.mark.parametrize("field", [REDUCER, LENS], ids=["reducer", "lens"])
def test_no_hole_anywhere_between_panels(dec, field):
    # Not only over the target: every place well inside the grid's outer edge is held.
    shape = ellipse(dec=dec)
    columns, rows = 4, 3
    grid = build_grid(shape, field, 33.0, columns, rows, 0.1)
    assert grid.overlap >= 0.1 - 1e-9
    assert grid.overlap < 0.13
    reach_u = field.half_long * (1.0 + (columns - 1) * 0.9) * 0.97
    reach_v = field.half_short * (1.0 + (rows - 1) * 0.9) * 0.97
    u, v = np.meshgrid(np.linspace(-reach_u, reach_u, 90), np.linspace(-reach_v, reach_v, 70))
    sin, cos = math.sin(math.radians(33.0)), math.cos(math.radians(33.0))
    places = deproject((u * sin - v * cos).ravel(), (u * cos + v * sin).ravel(), 200.0, dec)
    assert held_by_panels(grid, field, *places).all()


@pytest.mark.parametrize("dec", [0.0, 70.0, 85.0, 89.5])
def test_sides_stay_parallel_on_the_sky(dec):
    # A panel's long side, prolonged as a great circle, meets its row's next panel: its direction
    # seen in the next panel's own plane is that panel's own, to a few hundredths of a degree.
    grid = build_grid(ellipse(dec=dec), REDUCER, 25.0, 3, 2, 0.15)
    places = _serpentine(3, 2)
    row = [index for index, place in enumerate(places) if place[1] == 0]
    for first, second in itertools.pairwise(row):
        wcs = WCS(naxis=2)
        wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
        wcs.wcs.crval = [grid.panel_ra_deg[second], grid.panel_dec_deg[second]]
        wcs.wcs.crpix = [1.0, 1.0]
        wcs.wcs.cdelt = [1.0, 1.0]
        wcs.wcs.lonpole = 180.0
        step = np.array([-1.0, 1.0]) * REDUCER.half_long
        turn = math.radians(grid.panel_angle_deg[first])
        ends = deproject(
            step * math.sin(turn),
            step * math.cos(turn),
            grid.panel_ra_deg[first],
            grid.panel_dec_deg[first],
        )
        x, y = wcs.all_world2pix(*ends, 0)
        seen = math.degrees(math.atan2(x[1] - x[0], y[1] - y[0]))
        off = float(wrap_180_deg(2.0 * (seen - grid.panel_angle_deg[second]))) / 2.0
        assert abs(off) < 0.05


def test_panel_angles_differ_by_the_convergence_of_meridians():
    # Along a parallel at declination d, north turns by (difference of RA) x sin d (spherical
    # trigonometry, small steps).
    grid = build_grid(ellipse(dec=85.0), REDUCER, 90.0, 2, 1, 0.15)
    turn = abs(float(wrap_180_deg(grid.panel_angle_deg[1] - grid.panel_angle_deg[0])))
    apart = abs(float(wrap_180_deg(grid.panel_ra_deg[1] - grid.panel_ra_deg[0])))
    assert turn == pytest.approx(apart * math.sin(math.radians(85.0)), rel=0.02)
    assert turn > 15.0


def test_panels_needed_by_paper():
    # Side 10, overlap 0.2: spans 10, 18, 26.
    found = panels_needed(np.array([3.0, 10.0, 10.1, 18.0, 18.1, 26.0]), 10.0, 0.2)
    assert found.tolist() == [1, 1, 2, 2, 3, 3]


def test_fewest_panels_over_all_angles():
    # 250' x 20' along 137' x 91' fields: 2 along the long side if the grid lies along it.
    shape = ellipse(major=240.0, minor=20.0, angle=50.0)
    free = plan_grid(shape, REDUCER, 0.15, MARGIN, 6)
    fixed = plan_grid(shape, REDUCER, 0.15, MARGIN, 6, 5.0)
    assert free is not None
    assert free.count == 2
    assert abs(free.angle_deg - 50.0) < 20.0
    assert fixed is not None
    assert fixed.count > 2
    assert fewest_panels(shape, REDUCER, 0.15, MARGIN) == 2


def test_preferred_angle_among_equals_is_taken():
    shape = ellipse(major=200.0, minor=20.0, angle=50.0)
    grid = plan_grid(shape, REDUCER, 0.15, MARGIN, 6, None, [140.0, 44.0, 90.0])
    assert grid is not None
    assert grid.angle_deg == 44.0


def test_a_limit_on_panels_is_kept():
    shape = ellipse(major=400.0, minor=300.0)
    assert plan_grid(shape, REDUCER, 0.15, MARGIN, 6) is None
    assert fewest_panels(shape, REDUCER, 0.15, MARGIN) > 6


@pytest.mark.parametrize(("columns", "rows"), [(3, 2), (2, 3), (4, 4), (1, 5)])
def test_serpentine_steps_to_a_neighbour(columns, rows):
    places = _serpentine(columns, rows)
    assert sorted(map(tuple, places.tolist())) == sorted(
        itertools.product(range(columns), range(rows))
    )
    steps = np.abs(np.diff(places, axis=0)).sum(axis=1)
    assert np.all(steps == 1)


def test_overlap_is_the_wanted_one_on_the_equator():
    grid = build_grid(ellipse(dec=0.0), REDUCER, 90.0, 2, 2, 0.2)
    along, across = _least_overlaps(grid, REDUCER, _serpentine(2, 2))
    assert along == pytest.approx(0.2, abs=2e-3)
    assert across == pytest.approx(0.2, abs=2e-3)


def test_idle_panels_are_left_out():
    # An outline like an L leaves the fourth corner of a 2 x 2 grid empty.
    corner = ((-115, -75), (115, -75), (115, -35), (-75, -35), (-75, 75), (-115, 75))
    target = Target(
        "bent", 200.0, 0.0, major_arcmin=230.0, minor_arcmin=150.0, angle_deg=90.0, outline=corner
    )
    grid = plan_grid(shape_of(target), REDUCER, 0.15, MARGIN, 6, 90.0)
    assert grid is not None
    assert (grid.columns, grid.rows, grid.count) == (2, 2, 3)
    assert grid.coverage == pytest.approx(1.0)
    assert grid.margin_rad >= MARGIN - 2e-7


def test_tolerance_is_where_the_grid_fails():
    shape = ellipse(major=220.0, minor=120.0, angle=90.0)
    grid = plan_grid(shape, REDUCER, 0.15, MARGIN, 9, 90.0)
    assert grid is not None
    tolerance = grid_tolerance_deg(shape, REDUCER, grid, MARGIN)
    assert 0.5 < tolerance < 45.0

    def keeps(turn):
        coverage, margin = measure_panels(
            shape, REDUCER, grid.panel_ra_deg, grid.panel_dec_deg,
            grid.panel_angle_deg + turn, grid.ra_deg, grid.dec_deg,
        )  # fmt: skip
        return margin >= MARGIN - 1e-6 and coverage > 1.0 - 1e-5

    for turn in np.linspace(0.0, tolerance, 7):
        assert keeps(turn)
        assert keeps(-turn)
    assert not (keeps(tolerance + 0.1) and keeps(-tolerance - 0.1))


def test_mosaic_framing_of_showpieces():
    config, catalog = demo_config(), load_catalog()
    two = config.model_copy(update={"framing": {"M 31": FramingWish(panels=2)}})
    framing = frame_target(two, catalog.target(catalog.find("M 31")), "reducer")
    assert framing.is_mosaic
    assert len(framing.panels) <= config.preferences.mosaic_most_panels
    assert framing.coverage == pytest.approx(1.0, abs=1e-9)
    assert framing.margin_arcmin >= 5.0 - 1e-3
    ups = {round(panel.image_up_angle_deg) % 360 for panel in framing.panels}
    assert len(ups) == 1
    loop = frame_target(config, catalog.target(catalog.find("Barnard's Loop")), "reducer")
    assert not loop.is_mosaic
    assert loop.whole_mosaic_panels > 20
    assert str(loop.whole_mosaic_panels) in loop.reason


def test_a_mosaic_is_weighed_against_one_field_with_its_hours():
    # Each further panel takes the hours anew and leaves 0.8: two panels pay where one field holds
    # less than sqrt(0.8) = 0.894 of the target, four where it holds less than 0.8^1.5 = 0.716.
    config, catalog = demo_config(), load_catalog()
    seen = set()
    for name in ("M 31", "M 45", "M 44", "NGC 7000", "IC 1396", "IC 1805", "Sh2-129", "IC 1848"):
        target = catalog.target(catalog.find(name))
        for train in config.train:
            framing = frame_target(config, target, train)
            one = config.model_copy(update={"framing": {name: FramingWish(panels=1)}})
            single = frame_target(one, target, train)
            assert not single.is_mosaic
            if framing.is_mosaic:
                least = 0.8 ** ((len(framing.panels) - 1) / 2.0)
                assert single.coverage < least * framing.coverage + 1e-6
            elif framing.coverage < 0.99:
                assert framing.coverage == pytest.approx(single.coverage, abs=1e-6)
                assert framing.coverage >= 0.8 ** ((framing.whole_mosaic_panels - 1) / 2.0) - 1e-6
                assert "and their hours" in framing.reason
            seen.add((framing.is_mosaic, framing.coverage < 0.99))
    assert {(True, False), (False, True)} <= seen


@pytest.mark.parametrize("dec", [85.0, 89.9])
def test_panels_near_the_pole_keep_one_way_up(dec):
    target = Target("polar", 10.0, dec, major_arcmin=300.0, minor_arcmin=60.0, angle_deg=60.0)
    framing = frame_target(demo_config(), target, "flattener")
    assert framing.is_mosaic
    for panel in framing.panels:
        # The panel's up, carried along the great circle to the mosaic's centre, is the mosaic's.
        assert (panel.image_up_angle_deg + 90.0) % 180.0 == pytest.approx(
            panel.position_angle_deg % 180.0, abs=1e-6
        )
        up = math.radians(panel.image_up_angle_deg)
        step = 1e-4
        tips = deproject(
            np.array([0.0, step * math.sin(up)]),
            np.array([0.0, step * math.cos(up)]),
            panel.ra_deg,
            panel.dec_deg,
        )
        wcs = WCS(naxis=2)
        wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
        wcs.wcs.crval = [framing.ra_deg, framing.dec_deg]
        wcs.wcs.crpix = [1.0, 1.0]
        wcs.wcs.cdelt = [1.0, 1.0]
        wcs.wcs.lonpole = 180.0
        x, y = wcs.all_world2pix(*tips, 0)
        seen = math.degrees(math.atan2(x[1] - x[0], y[1] - y[0]))
        assert abs(float(wrap_180_deg(seen - framing.image_up_angle_deg))) < 0.2
