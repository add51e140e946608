"""Rectangles: overlap against its closed form, areas and margins against independent routes."""

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.plane.polygons import area, clip_convex, ellipse_points
from nightplan.plane.rectangles import (
    area_inside,
    overlap_share,
    rectangle_corners,
    sky_margin,
    to_rectangle_axes,
)
from nightplan.sky.tangent_plane import deproject


def turned_overlap(width, height, delta_deg):
    """Common area of two equal rectangles about one middle, by hand.

    Small turns cut four right triangles off the first rectangle's corners, two with the leg
    (h - w t) / 2 and two with (w - h t) / 2, t = tan(delta / 2); past t = h / w the common part is
    a parallelogram h² / sin(delta). (Elementary geometry, derived for this test; the square at
    45 degrees gives the regular octagon 2 / (1 + sqrt 2).)
    """
    w, h = max(width, height), min(width, height)
    delta = np.radians(abs(delta_deg))
    t = np.tan(delta / 2)
    if t <= h / w:
        return w * h - np.tan(delta) * ((h - w * t) ** 2 + (w - h * t) ** 2) / 4
    return h * h / np.sin(delta)


@pytest.mark.parametrize(("width", "height"), [(1.0, 1.0), (3.0, 2.0), (2.0, 3.0), (5.0, 1.0)])
def test_overlap_of_turned_rectangles_closed_form(width, height):
    for delta in (0.0, 0.5, 3.0, 10.0, 33.0, 45.0, 60.0, 67.0, 68.0, 89.0):
        expected = turned_overlap(width, height, delta) / (width * height)
        assert overlap_share(width, height, delta) == pytest.approx(expected, abs=1e-12)
        assert overlap_share(width, height, -delta) == pytest.approx(expected, abs=1e-12)
    assert overlap_share(width, height, 90.0) == pytest.approx(
        min(width, height) ** 2 / (width * height)
    )
    assert overlap_share(width, height, 180.0) == pytest.approx(1.0)


def test_regular_octagon():
    assert overlap_share(1.0, 1.0, 45.0) == pytest.approx(2.0 / (1.0 + np.sqrt(2.0)))


def test_overlap_of_shifted_rectangles():
    shift = np.array([0.0, 0.5, 1.0, 3.5])
    np.testing.assert_allclose(overlap_share(3.0, 2.0, 0.0, shift, 0.0), [1, 5 / 6, 4 / 6, 0])
    assert overlap_share(3.0, 2.0, 0.0, 0.6, -0.5) == pytest.approx(2.4 * 1.5 / 6.0)


@given(st.floats(-180.0, 180.0), st.floats(-4.0, 4.0), st.floats(-4.0, 4.0), st.floats(0.3, 3.0))
@settings(max_examples=100, deadline=None)
def test_overlap_agrees_with_clipping(delta, dx, dy, height):
    # Second route: clip one rectangle's polygon by the other's.
    turn = np.radians(delta)
    cos, sin = np.cos(turn), np.sin(turn)
    base = np.array(
        [[-1.5, -height / 2], [1.5, -height / 2], [1.5, height / 2], [-1.5, height / 2]]
    )
    moved = base @ np.array([[cos, sin], [-sin, cos]]) + np.array([dx, dy])
    expected = area(clip_convex(moved, base)) / (3.0 * height)
    assert overlap_share(3.0, height, delta, dx, dy) == pytest.approx(expected, abs=1e-7)


def test_area_inside_many_angles_agrees_with_clipping():
    hollow = np.array([[0, 0], [3, 0], [3, 1], [1, 1], [1, 2], [3, 2], [3, 3], [0, 3]]) - 1.4
    angles = np.arange(0.0, 180.0, 7.0)
    found = area_inside(*to_rectangle_axes(hollow, angles), 1.3, 0.9)
    for angle, value in zip(angles, found, strict=True):
        corners = rectangle_corners(1.3, 0.9, angle)
        assert value == pytest.approx(area(clip_convex(hollow, corners)), abs=1e-12)


def test_long_axis_points_at_the_angle():
    along, across = to_rectangle_axes([[0.5, np.sqrt(3) / 2]], 30.0)
    assert along[0] == pytest.approx(1.0)
    assert across[0] == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize(("semi", "wide"), [(0.01, 0.02), (0.15, 0.2), (0.25, 0.2)])
def test_margin_against_astropy_separations(semi, wide):
    # Outline and edge as dense rows of places on the sky; the least of all separations is taken
    # with astropy. Seen from outside the edge, the farthest place's nearest distance counts.
    ra, dec = 200.0, 60.0
    high = wide * 0.7
    outline = ellipse_points(semi, semi * 0.5, 20.0, 240)
    angle = 25.0
    margin = float(sky_margin(*to_rectangle_axes(outline, angle), wide, high))
    corners = rectangle_corners(wide, high, angle)
    share = np.linspace(0.0, 1.0, 4000, endpoint=False)[:, None]
    edge = np.concatenate(
        [p + share * (q - p) for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    )
    edge_sky = SkyCoord(*deproject(edge[:, 0], edge[:, 1], ra, dec), unit=u.deg)
    out_sky = SkyCoord(*deproject(outline[:, 0], outline[:, 1], ra, dec), unit=u.deg)
    nearest = out_sky.match_to_catalog_sky(edge_sky)[1].to_value(u.arcmin)
    along, across = to_rectangle_axes(outline, angle)
    inside = (np.abs(along) <= wide) & (np.abs(across) <= high)
    expected = np.min(np.where(inside, nearest, -nearest))
    assert np.degrees(margin) * 60 == pytest.approx(expected, abs=0.02)
