"""Circle areas against known cases and counted points."""

import numpy as np
import pytest

from nightplan.plane.circles import (
    annulus_share_inside,
    circle_overlap_area,
    rectangle_share_inside_circle,
)


def test_lens_of_two_unit_circles():
    # Vesica piscis: two unit circles one radius apart share 2 pi/3 - sqrt(3)/2 (Euclid I.1).
    assert circle_overlap_area(1, 1, 1) == pytest.approx(2 * np.pi / 3 - np.sqrt(3) / 2)


def test_inside_apart_and_touching():
    areas = circle_overlap_area([1.0, 1.0, 0.0, 2.0], [3.0, 1.0, 1.0, 2.0], [1.5, 2.0, 0.3, 0.0])
    np.testing.assert_allclose(areas, [np.pi, 0.0, 0.0, 4 * np.pi])


def test_ring_needs_its_hole_left_out():
    assert annulus_share_inside(2.0, 1.0, 5.0, 1.0) == pytest.approx(1.0)
    assert annulus_share_inside(2.0, 1.0, 1.0, 0.0) == pytest.approx(0.0)
    assert annulus_share_inside(2.0, 0.0, 1.0, 0.0) == pytest.approx(0.25)


@pytest.mark.parametrize("diameter", [1.0, 2.2, 3.0, 3.5, 4.0])
def test_rectangle_in_circle_counted(diameter):
    rng = np.random.default_rng(2)
    x, y = rng.uniform(-1.5, 1.5, 300_000), rng.uniform(-1.0, 1.0, 300_000)
    counted = np.mean(np.hypot(x, y) < diameter / 2)
    assert rectangle_share_inside_circle(3.0, 2.0, diameter) == pytest.approx(counted, abs=0.004)
    assert rectangle_share_inside_circle(2.0, 3.0, diameter) == pytest.approx(counted, abs=0.004)
