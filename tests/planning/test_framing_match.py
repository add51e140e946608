"""Shared area against the closed form and Monte-Carlo, the crop against brute force.

Closed form of two equal rectangles W × H about one middle, one turned by t, worked out here by
elementary geometry: up to t = 2 atan(H / W) the corners that stick out are two pairs of right
triangles; beyond it the common part is a parallelogram of heights H and H, area H² / sin t.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.errors import InputError
from nightplan.planning.returning import framing_match as fm


def closed_form(width, height, turn_deg):
    a, b, t = width / 2, height / 2, math.radians(turn_deg)
    if t == 0.0:
        return 1.0
    if t >= 2.0 * math.atan2(height, width):
        return height / (width * math.sin(t))
    sin, cos, half = math.sin(t), math.cos(t), math.tan(t / 2.0)
    right = (a - (a - b * sin) / cos) * (b - a * half)
    left = (a - b * half) * (b - (b - a * sin) / cos)
    return 1.0 - (right + left) / (4 * a * b)


@settings(max_examples=100, deadline=None)
@given(st.floats(1.0, 10.0), st.floats(0.1, 1.0), st.floats(0.0, 90.0))
def test_same_centre_against_the_closed_form(width, ratio, turn):
    height = width * ratio
    share = fm.shared_area_of_errors(width, height, turn)
    if turn < 89.999:
        assert share == pytest.approx(closed_form(width, height, turn), abs=1e-9)
    assert fm.shared_area_of_errors(width, height, -turn) == pytest.approx(share, abs=1e-9)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_same_angle_is_a_product_of_two_shares(x, y):
    expected = max(0.0, 1 - x / 3.0) * max(0.0, 1 - y / 2.0)
    assert fm.shared_area_of_errors(3.0, 2.0, 0.0, x, y) == pytest.approx(expected, abs=1e-12)


def test_turn_and_step_against_monte_carlo():
    """200,000 points, standard error below 0.0012: within four of them."""
    random = np.random.default_rng(20271006)
    points = random.uniform(-0.5, 0.5, (200_000, 2)) * [3.0, 2.0]
    for turn, x, y in ((7.0, 0.3, -0.2), (40.0, -0.5, 0.4), (120.0, 0.0, 0.9)):
        t = math.radians(turn)
        moved = points - [x, y]
        along = moved @ [math.cos(t), math.sin(t)]
        across = moved @ [-math.sin(t), math.cos(t)]
        hit = np.mean((np.abs(along) <= 1.5) & (np.abs(across) <= 1.0))
        assert fm.shared_area_of_errors(3.0, 2.0, turn, x, y) == pytest.approx(hit, abs=0.005)


def field(ra=10.0, dec=41.0, angle=30.0, long_deg=1.7, short_deg=1.14):
    return fm.Field(
        ra, dec, angle,
        2 * math.tan(math.radians(long_deg / 2)), 2 * math.tan(math.radians(short_deg / 2)),
    )  # fmt: skip


@pytest.mark.parametrize("dec", [0.0, 41.0, -69.0, 88.0])
@pytest.mark.parametrize("turn", [0.0, 2.0, -35.0, 180.0])
def test_on_the_sky_with_the_same_centre(dec, turn):
    ours = fm.shared_area(field(dec=dec), field(dec=dec, angle=(30.0 + turn) % 180.0))
    plane = fm.shared_area_of_errors(1.7, 1.14, turn)
    assert ours == pytest.approx(plane, abs=2e-4)


def test_near_the_pole_north_turns_with_the_centre():
    """At declination 89.9° a step of 2 h of right ascension turns north by 30° · sin 89.9°.

    The centres are 2 asin(sin 15° cos 89.9°) = 0.052° apart, which costs at most
    0.052 / 1.7 + 0.052 / 1.14 of the area.
    """
    reference = field(ra=0.0, dec=89.9, angle=0.0)
    same_number = fm.shared_area(reference, field(ra=30.0, dec=89.9, angle=0.0))
    same_line = fm.shared_area(reference, field(ra=30.0, dec=89.9, angle=30.0))
    assert same_line > 1.0 - 0.052 / 1.7 - 0.052 / 1.14
    assert same_number == pytest.approx(closed_form(1.7, 1.14, 30.0), abs=0.05)


def test_fields_on_opposite_sides_are_refused():
    with pytest.raises(InputError):
        fm.shared_area(field(dec=80.0), field(dec=-80.0))


@settings(max_examples=40, deadline=None)
@given(st.floats(0.3, 1.0), st.floats(0.5, 0.995))
def test_tolerance_keeps_what_it_promises(ratio, keep):
    turn = fm.angle_tolerance_deg(1.0, ratio, keep)
    inside = [closed_form(1.0, ratio, t) for t in np.linspace(0.0, min(turn, 89.99) - 1e-6, 200)]
    assert min(inside) >= keep - 1e-7
    if turn < 90.0:
        assert closed_form(1.0, ratio, turn) == pytest.approx(keep, abs=1e-6)


def test_tolerance_on_paper():
    """3:2 sensor: for small t the share lost is t (W² + H²) / (4 W H) = t · 13/24 (radians)."""
    turn = fm.angle_tolerance_deg(3.0, 2.0, 0.998)
    assert turn == pytest.approx(math.degrees(0.002 * 24 / 13), rel=0.005)
    assert fm.angle_tolerance_deg(3.0, 2.0, 0.98, 0.0, 0.1) == 0.0
    assert fm.angle_tolerance_deg(1.0, 1.0, 0.5) == 90.0  # a square never drops to half


def brute_force_crop(corner_sets, width, height):
    """Largest w × h on a fine grid of sizes that fits at one of a grid of places."""
    steps = np.linspace(-0.1, 0.1, 21)
    places = np.array([[x, y] for x in steps for y in steps])
    best = 0.0
    for w in np.linspace(0.8, 1.0, 41) * width:
        for h in np.linspace(0.8, 1.0, 41) * height:
            if w * h <= best:
                continue
            corners = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2
            fits = np.ones(len(places), dtype=bool)
            for shape in corner_sets:
                for first, second in zip(shape, np.roll(shape, -1, axis=0), strict=True):
                    edge = second - first
                    gap = places[:, None, :] + corners - first
                    fits &= np.all(edge[0] * gap[..., 1] - edge[1] * gap[..., 0] >= 0.0, axis=1)
            if fits.any():
                best = w * h
    return best


def inside(points, shape):
    for first, second in zip(shape, np.roll(shape, -1, axis=0), strict=True):
        side = (second[0] - first[0]) * (points[:, 1] - first[1]) - (second[1] - first[1]) * (
            points[:, 0] - first[0]
        )
        if np.any(side < -1e-9):
            return False
    return True


def turned_rectangle(width, height, turn_deg, x, y):
    t = math.radians(turn_deg)
    corners = np.array([[-width, -height], [width, -height], [width, height], [-width, height]]) / 2
    return corners @ np.array([[math.cos(t), math.sin(t)], [-math.sin(t), math.cos(t)]]) + [x, y]


def test_largest_common_rectangle_against_brute_force():
    shapes = [
        turned_rectangle(3.0, 2.0, 0.0, 0.0, 0.0),
        turned_rectangle(3.0, 2.0, 3.0, 0.05, -0.02),
        turned_rectangle(3.0, 2.0, -2.0, -0.03, 0.06),
    ]
    crop = fm._largest(shapes, 3.0, 2.0)
    brute = brute_force_crop(shapes, 3.0, 2.0)
    assert crop.long_side * crop.short_side >= brute - 1e-9
    assert crop.long_side * crop.short_side == pytest.approx(brute, rel=0.02)
    assert crop.share == pytest.approx(crop.long_side * crop.short_side / 6.0)


def test_largest_common_rectangle_simple_cases():
    assert fm.largest_common_rectangle(field(), []).share == pytest.approx(1.0, abs=1e-6)
    assert fm.largest_common_rectangle(field(), [field()]).share == pytest.approx(1.0, abs=1e-6)
    away = fm.largest_common_rectangle(field(), [field(dec=44.0)])
    assert away.share == 0.0
    # A step of 0.1° along north for a field whose long side lies north: the long side loses it.
    shifted = fm.largest_common_rectangle(field(angle=0.0), [field(angle=0.0, dec=41.1)])
    assert shifted.share == pytest.approx(1 - 0.1 / 1.7, abs=1e-3)
    quarter = fm._largest(
        [turned_rectangle(3.0, 2.0, 0.0, 0, 0), turned_rectangle(3.0, 2.0, 90.0, 0, 0)], 3.0, 2.0
    )
    assert (quarter.long_side, quarter.short_side) == pytest.approx((2.0, 2.0), abs=1e-5)


@settings(max_examples=60, deadline=None)
@given(
    turn=st.floats(0.0, 89.0),
    error=st.floats(0.0, 0.2),
    ratio=st.floats(0.3, 1.0),
    used=st.lists(st.tuples(st.floats(-1, 1), st.floats(0, 1), st.floats(0, 6.28)), max_size=5),
)
def test_crop_within_is_inside_every_such_field(turn, error, ratio, used):
    crop = fm.crop_within(3.0, 3.0 * ratio, turn, error)
    if crop.share == 0.0:
        return
    w, h = crop.long_side, crop.short_side
    corners = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2
    for part, far, way in used:
        step = (error * far * math.cos(way), error * far * math.sin(way))
        assert inside(corners, turned_rectangle(3.0, 3.0 * ratio, part * turn, *step) * (1 + 1e-8))


def test_crop_within_against_a_search():
    """All turns up to the error, sampled; the sizes on a grid."""
    w, h = np.meshgrid(np.linspace(0.01, 3.0, 400), np.linspace(0.01, 2.0, 400))
    for turn in (0.0, 1.5, 10.0, 30.0, 60.0, 90.0):
        fits = np.ones(w.shape, dtype=bool)
        for t in np.radians(np.linspace(0.0, turn, 91)):
            fits &= w * math.cos(t) + h * math.sin(t) <= 2.9
            fits &= w * math.sin(t) + h * math.cos(t) <= 1.9
        crop = fm.crop_within(3.0, 2.0, turn, 0.05)
        assert crop.long_side * crop.short_side == pytest.approx(np.max((w * h)[fits]), rel=0.01)


def test_typical_worst_against_monte_carlo():
    random = np.random.default_rng(1)
    for nights in (1, 3, 10):
        drawn = np.abs(random.normal(0.0, 0.4, (40_000, nights))).max(axis=1)
        assert fm.typical_worst(0.4, nights) == pytest.approx(np.median(drawn), rel=0.02)
    with pytest.raises(InputError):
        fm.typical_worst(1.0, 0)


def test_crop_after_nights_against_simulated_nights():
    """The promise holds for at least half of simulated sets of nights, and is not idle."""
    random = np.random.default_rng(7)
    promised = fm.crop_after_nights(3.0, 2.0, 5, 0.5, 0.02)
    real = []
    for _ in range(12):
        shapes = [turned_rectangle(3.0, 2.0, 0.0, 0.0, 0.0)] + [
            turned_rectangle(3.0, 2.0, random.normal(0, 0.5), *random.normal(0, 0.02, 2))
            for _ in range(5)
        ]
        real.append(fm._largest(shapes, 3.0, 2.0).share)
    assert promised.share <= np.median(real)
    assert promised.share > np.median(real) - 0.06
    shares = [fm.crop_after_nights(3.0, 2.0, n, 0.5, 0.02).share for n in (1, 2, 5, 20)]
    assert shares == sorted(shares, reverse=True)
