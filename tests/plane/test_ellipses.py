"""Ellipses in rectangles against clipped polygons and limits."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.plane.ellipses import area_share, half_extents, room
from nightplan.plane.polygons import area, clip_convex, ellipse_points
from nightplan.plane.rectangles import rectangle_corners


@given(
    st.floats(0.05, 5.0),
    st.floats(0.02, 1.0),
    st.floats(-180.0, 180.0),
    st.floats(0.1, 3.0),
    st.floats(0.1, 3.0),
)
@settings(max_examples=100, deadline=None)
def test_share_agrees_with_clipping(major, ratio, turn, wide, high):
    points = ellipse_points(major, major * ratio, turn, 2000)
    expected = area(clip_convex(points, rectangle_corners(wide, high, 0.0))) / area(points)
    assert area_share(major, major * ratio, turn, wide, high) == pytest.approx(expected, abs=2e-5)


def test_limits():
    assert area_share(1.0, 0.5, 40.0, 2.0, 2.0) == pytest.approx(1.0)
    tiny = area_share(100.0, 100.0, 0.0, 1.0, 0.5)
    assert tiny == pytest.approx(2.0 / (np.pi * 1e4), rel=1e-6)
    # A circle's strip of half width d holds (2/pi)(arcsin d + d sqrt(1 - d²)) of it.
    d = 0.4
    strip = 2 / np.pi * (np.arcsin(d) + d * np.sqrt(1 - d * d))
    assert area_share(1.0, 1.0, 12.0, 5.0, d) == pytest.approx(strip)


def test_extents_against_points():
    points = ellipse_points(3.0, 1.0, 25.0, 20_000)
    along, across = half_extents(3.0, 1.0, 25.0)
    assert points[:, 1].max() == pytest.approx(float(along), abs=1e-6)
    assert points[:, 0].max() == pytest.approx(float(across), abs=1e-6)
    assert room(3.0, 1.0, 25.0, 4.0, 1.2) == pytest.approx(min(4.0 - along, 1.2 - across))


def test_broadcasts_over_targets_trains_and_angles():
    turn = np.linspace(0.0, 90.0, 7)
    shares = area_share(
        np.ones((4, 1, 1)), 0.5 * np.ones((4, 1, 1)), turn, np.array([[0.8], [1.1]]), 0.6
    )
    assert shares.shape == (4, 2, 7)
    assert np.all((shares > 0) & (shares <= 1))
