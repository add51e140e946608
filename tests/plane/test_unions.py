"""Edges of unions on cases that can be drawn on paper."""

import numpy as np
import pytest

from nightplan.plane.unions import boundary_segments, inside_any, union_margin


def box(x0, x1, y0, y1):
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=float)


def edge_length(polygons):
    start, end = boundary_segments(polygons)
    return np.linalg.norm(end - start, axis=1).sum()


def test_edge_of_two_crossing_boxes():
    # A plus sign of two 3 x 1 bars: its edge is 12 long.
    plus = [box(-1.5, 1.5, -0.5, 0.5), box(-0.5, 0.5, -1.5, 1.5)]
    assert edge_length(plus) == pytest.approx(12.0)


def test_hole_has_an_edge_of_its_own():
    ring = [box(0, 3, 0, 1), box(0, 3, 2, 3), box(0, 1, 0, 3), box(2, 3, 0, 3)]
    start, end = boundary_segments(ring)
    middle = (start + end) / 2
    hole = np.abs(middle - 1.5).max(axis=1) <= 0.5 + 1e-9
    assert np.linalg.norm((end - start)[hole], axis=1).sum() == pytest.approx(4.0)
    assert inside_any([[1.5, 1.5], [0.5, 0.5]], ring).tolist() == [False, True]


def test_margin_ignores_seams():
    # Two small fields side by side with overlap: the seam is no edge.
    scale = 1e-3
    pair = [scale * box(-2, 0.2, -1, 1), scale * box(-0.2, 2, -1, 1)]
    assert union_margin(scale * np.array([[0.0, 0.5], [0.3, 0.0]]), pair) == pytest.approx(
        0.5 * scale, rel=1e-5
    )
    assert union_margin(scale * np.array([[0.0, 0.0], [2.5, 0.0]]), pair) == pytest.approx(
        -0.5 * scale, rel=1e-5
    )


def test_margin_sees_a_hole():
    scale = 1e-3
    boxes = (box(0, 3, 0, 1), box(0, 3, 2, 3), box(0, 1, 0, 3), box(2, 3, 0, 3))
    ring = [scale * each for each in boxes]
    for place, expected in (((1.5, 1.5), -0.5), ((1.5, 0.7), 0.3)):
        found = union_margin(scale * np.array([place]), ring)
        assert found == pytest.approx(expected * scale, rel=1e-5)
