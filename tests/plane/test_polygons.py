"""Polygon numerics against elementary geometry, spherical trigonometry and counted points."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from nightplan.plane.polygons import (
    area,
    clip_convex,
    contains,
    convex_hull,
    densify,
    ellipse_points,
    signed_area,
    solid_angle,
    subtract_convex,
)
from nightplan.plane.rectangles import rectangle_corners

SQUARE = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
# A "C", open to the right: not convex.
HOLLOW = np.array([[0, 0], [3, 0], [3, 1], [1, 1], [1, 2], [3, 2], [3, 3], [0, 3]], dtype=float)


def test_areas_and_sense():
    assert signed_area(SQUARE) == 4.0
    assert signed_area(SQUARE[::-1]) == -4.0
    assert area(HOLLOW) == 7.0


def test_octant_is_an_eighth_of_the_sphere():
    # Spherical excess (Girard): the triangle of three right angles holds 4 pi / 8. Seen from its
    # middle its corners are at arccos(1/sqrt 3), tangent sqrt 2.
    turn = np.radians([0.0, 120.0, 240.0])
    corners = np.sqrt(2.0) * np.stack((np.cos(turn), np.sin(turn)), axis=1)
    assert solid_angle(corners) == pytest.approx(np.pi / 2.0)


def test_rectangle_solid_angle_textbook():
    # Solid angle of a rectangle a x b at distance d, seen from above its middle:
    # 4 arcsin(ab / sqrt((a² + 4d²)(b² + 4d²))) (textbook formula, from memory).
    a, b = 0.6, 0.9
    expected = 4 * np.arcsin(a * b / np.sqrt((a * a + 4) * (b * b + 4)))
    for angle in (0.0, 33.0):
        corners = rectangle_corners(a / 2, b / 2, angle)
        assert solid_angle(corners) == pytest.approx(expected, rel=1e-12)


def test_cap_solid_angle():
    # Area of a cap of half angle r: 2 pi (1 - cos r).
    for half_angle in (0.5, 5.0, 40.0):
        r = np.radians(half_angle)
        polygon = ellipse_points(np.tan(r), np.tan(r), 0.0, 720)
        assert solid_angle(polygon) == pytest.approx(2 * np.pi * (1 - np.cos(r)), rel=2e-5)


def test_ellipse_follows_north_through_east():
    points = ellipse_points(3.0, 1.0, 30.0, 360)
    far = points[np.argmax(points[:, 1])]
    assert np.degrees(np.arctan2(points[0, 0], points[0, 1])) == pytest.approx(30.0)
    assert far[0] > 0
    assert area(points) == pytest.approx(np.pi * 3.0, rel=1e-4)
    assert signed_area(points) > 0


def test_clip_and_subtract_share_out_the_whole():
    window = np.array([[0.5, -1.0], [2.5, -1.0], [2.5, 4.0], [0.5, 4.0]])
    inside = area(clip_convex(HOLLOW, window))
    outside = sum(area(piece) for piece in subtract_convex([HOLLOW], window))
    assert inside == pytest.approx(7.0 - 0.5 * 3.0 - 0.5 * 2.0)
    assert inside + outside == pytest.approx(7.0)


def test_clip_to_nothing():
    assert len(clip_convex(SQUARE, SQUARE + 5.0)) == 0
    assert area(clip_convex(SQUARE, SQUARE[::-1])) == pytest.approx(4.0)


@given(
    st.floats(-2.0, 2.0),
    st.floats(-2.0, 2.0),
    st.floats(0.0, 180.0),
    st.floats(0.2, 2.0),
    st.floats(0.0, 180.0),
)
@settings(max_examples=80, deadline=None)
def test_pieces_always_sum(dx, dy, angle, squash, tilt):
    ellipse = ellipse_points(2.0, squash, tilt, 90)
    window = rectangle_corners(1.5, 0.8, angle) + np.array([dx, dy])
    inside = area(clip_convex(ellipse, window))
    outside = sum(area(piece) for piece in subtract_convex([ellipse], window))
    assert inside + outside == pytest.approx(area(ellipse), rel=1e-9)
    assert inside <= min(area(ellipse), area(window)) * (1 + 1e-12)


def test_hull_agrees_with_scipy():
    points = np.random.default_rng(4).normal(size=(200, 2))
    assert area(convex_hull(points)) == pytest.approx(ConvexHull(points).volume)


def test_contains_a_hollow_shape():
    inside = contains(HOLLOW, [[0.5, 1.5], [2.0, 1.5], [2.0, 0.5], [-1.0, 1.0], [3.5, 0.5]])
    assert inside.tolist() == [True, False, True, False, False]


def test_densify_keeps_the_outline():
    dense = densify(HOLLOW, 0.3)
    assert area(dense) == pytest.approx(7.0)
    steps = np.linalg.norm(np.roll(dense, -1, axis=0) - dense, axis=1)
    assert steps.max() <= 0.3 + 1e-12
