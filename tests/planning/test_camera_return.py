"""Rotator law: round trips, paper-checked cases, and a camera simulated as vectors.

The simulation is independent of the module: a camera is two unit vectors in the focal plane,
mirrored by a reflection matrix and turned by a rotation matrix, and sky angles are read from
where its axis 2 points.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from nightplan.errors import InputError
from nightplan.model.equipment import Rotator
from nightplan.planning.returning import camera_return as cr

angles = st.floats(0.0, 359.999)
senses = st.sampled_from([1, -1])


def line_gap(a, b):
    return abs(math.remainder(a - b, 180.0))


def seen_up_deg(turn_anticlockwise_deg, mirrored, flipped=False):
    """Sky angle of axis 2 of a camera turned as seen from behind, by matrices.

    The plane as seen from behind has x to the right, y up. Unmirrored with north up, east is at
    -x. A mirror before the camera reverses x. A flip turns the whole camera by 180 degrees.
    """
    a = math.radians(turn_anticlockwise_deg + (180.0 if flipped else 0.0))
    turn = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
    up = turn @ np.array([0.0, 1.0])
    if mirrored:
        up = np.diag([-1.0, 1.0]) @ up
    east, north = -up[0], up[1]
    return math.degrees(math.atan2(east, north)) % 360.0


@settings(max_examples=100, deadline=None)
@given(
    reading=st.floats(0.0, 360.0),
    start=angles,
    target=st.floats(0.0, 179.99),
    sense=senses,
    mirrored=st.booleans(),
    flip=st.booleans(),
    low=st.floats(-400.0, 0.0),
    span=st.floats(180.0, 720.0),
    cable=st.floats(180.0, 720.0),
)
def test_simulated_rotator_reaches_the_angle(
    reading, start, target, sense, mirrored, flip, low, span, cable
):
    """Turn the simulated camera to the reading asked for: its long side lies on the target."""
    rotator = Rotator(minimum_deg=low, maximum_deg=low + span, cable_free_deg=cable)
    assume(low <= reading <= low + span)
    # A rotator of sense +1 turns the camera anticlockwise, seen from behind, as it counts up.
    now_up = seen_up_deg(start + sense * reading, mirrored)
    now = cr.position_angle_deg(now_up, 6000, 4000)
    move = cr.shorter_move_deg(now, target)
    assert -90.0 <= move < 90.0
    plan = cr.rotator_move(rotator, reading, move, cr.effective_sense(sense, mirrored))
    assert plan.target_deg is not None
    usable = cr.usable_range_deg(rotator)
    assert usable[0] <= plan.target_deg <= usable[1]
    for place in (plan.target_deg, plan.twin_deg):
        if place is not None:
            up = seen_up_deg(start + sense * place, mirrored, flip)
            assert line_gap(cr.position_angle_deg(up, 6000, 4000), target) < 1e-6


@settings(max_examples=100, deadline=None)
@given(reading=st.floats(0.0, 360.0), start=angles, target=st.floats(0.0, 179.99), sense=senses)
def test_no_candidate_inside_is_nearer(reading, start, target, sense):
    rotator = Rotator(minimum_deg=0.0, maximum_deg=360.0, cable_free_deg=360.0)
    move = cr.shorter_move_deg(start % 180.0, target)
    plan = cr.rotator_move(rotator, reading, move, sense)
    others = [reading + sense * move + 180.0 * k for k in range(-4, 5)]
    nearest = min(abs(one - reading) for one in others if -1e-9 <= one <= 360.0 + 1e-9)
    assert abs(plan.move_deg) == pytest.approx(nearest, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(start=angles, turn=st.floats(-89.0, 89.0), mirrored=st.booleans())
def test_hand_turn_as_simulated(start, turn, mirrored):
    """Turning as the words say brings the simulated camera to the angle."""
    now = seen_up_deg(start, mirrored)
    hand = cr.hand_turn(turn, mirrored)
    signed = {"anticlockwise": 1.0, "clockwise": -1.0, "none": 0.0}[hand.way] * hand.degrees
    then = seen_up_deg(start + signed, mirrored)
    assert abs(math.remainder(then - now - turn, 360.0)) < cr.STILL_DEG + 1e-6


@settings(max_examples=100, deadline=None)
@given(
    sense=senses,
    start=angles,
    first=st.floats(0.0, 360.0),
    turned=st.one_of(st.floats(10.5, 169.5), st.floats(190.5, 349.5)),
    noise=st.floats(-1.0, 1.0),
    mirrored=st.booleans(),
    flipped=st.booleans(),
)
def test_sense_is_fitted(sense, start, first, turned, noise, mirrored, flipped):
    # A flip between the two is not told from a reversed sense at a quarter turn: the caller
    # says on which side of the pier it was.
    assume(not flipped or cr._apart(turned, 180.0) > 21.0)
    one = seen_up_deg(start + sense * first, mirrored)
    two = seen_up_deg(start + sense * (first + turned), mirrored, flipped) + noise
    fit = cr.fit_sense(first, one, first + turned, two)
    assert fit.effective_sense == cr.effective_sense(sense, mirrored)
    assert fit.flipped is flipped
    assert fit.misfit_deg <= 1.0 + 1e-9


@settings(max_examples=60, deadline=None)
@given(sense=senses, start=angles, turned=st.one_of(st.floats(10.5, 79.5), st.floats(100.5, 169.5)))
def test_sense_from_lines_only(sense, start, turned):
    one, two = start % 180.0, (start + sense * turned) % 180.0
    assert cr.fit_sense(0.0, one, turned, two, line_only=True).effective_sense == sense


@pytest.mark.parametrize("turned", [0.0, 9.9, -9.9, 171.0, 180.0, 189.0, 355.0])
def test_too_little_to_tell_the_sense(turned):
    with pytest.raises(InputError, match="at least 10 degrees"):
        cr.fit_sense(20.0, 50.0, 20.0 + turned, 50.0 + turned)


@pytest.mark.parametrize("turned", [85.0, 90.0, 95.0])
def test_a_quarter_turn_tells_nothing_about_lines(turned):
    with pytest.raises(InputError, match="every 90"):
        cr.fit_sense(20.0, 50.0, 20.0 + turned, 50.0 + turned, line_only=True)


def test_solutions_that_contradict_the_rotator():
    with pytest.raises(InputError, match="moved by hand"):
        cr.fit_sense(0.0, 10.0, 40.0, 75.0)


@settings(max_examples=100, deadline=None)
@given(
    up=angles,
    reading=st.floats(-360.0, 720.0),
    sense=senses,
    period=st.sampled_from([180.0, 360.0]),
)
def test_offset_round_trip(up, reading, sense, period):
    offset = cr.offset_deg(up, reading, sense, period)
    assert 0.0 <= offset < period
    assert abs(math.remainder(cr.sky_deg(offset, reading, sense, period) - up, period)) < 1e-9


@settings(max_examples=60, deadline=None)
@given(up=angles, size=st.sampled_from([(6000, 4000), (4000, 6000), (4000, 4000)]))
def test_position_angle_and_both_ways_up(up, size):
    line = cr.position_angle_deg(up, *size)
    assert 0.0 <= line < 180.0
    ups = cr.image_up_angles_deg(line, *size)
    assert min(abs(math.remainder(one - up, 360.0)) for one in ups) < 1e-9
    assert cr.position_angle_deg(cr.after_flip_deg(up), *size) == pytest.approx(line, abs=1e-9)


def test_on_paper():
    """Cases worked by hand.

    Image up 100°, reading 350°, sense +1, limits 0 to 360; wanted position angle 30°. The long
    side lies at 190° = 10°, so the move is +20°; reading 370° is past the limit, 190° (the twin
    of it) is not: the rotator runs back by 160°.
    """
    rotator = Rotator()
    now = cr.position_angle_deg(100.0, 6000, 4000)
    assert now == pytest.approx(10.0)
    move = cr.shorter_move_deg(now, 30.0)
    assert move == pytest.approx(20.0)
    plan = cr.rotator_move(rotator, 350.0, move, +1)
    assert (plan.target_deg, plan.move_deg) == pytest.approx((190.0, -160.0))
    assert plan.twin_deg == pytest.approx(10.0)
    # Mirrored: the sky turns the other way, so 330 it is.
    mirrored = cr.rotator_move(rotator, 350.0, move, cr.effective_sense(+1, True))
    assert mirrored.target_deg == pytest.approx(330.0)
    # From 175° to 5° is +10° for a line.
    assert cr.shorter_move_deg(175.0, 5.0) == pytest.approx(10.0)
    # Anticlockwise raises the angle; a mirror reverses it.
    assert cr.hand_turn(20.0, False).way == "anticlockwise"
    assert cr.hand_turn(20.0, True).way == "clockwise"
    assert (
        cr.hand_turn(-20.0, False).words == "turn the camera 20.0° clockwise, seen from behind it"
    )


def test_cable_lies_slack_in_the_middle():
    rotator = Rotator(minimum_deg=0.0, maximum_deg=360.0, cable_free_deg=200.0)
    assert cr.usable_range_deg(rotator) == (80.0, 280.0)
    plan = cr.rotator_move(rotator, 90.0, -20.0, +1)
    assert plan.target_deg == pytest.approx(250.0)
    narrow = Rotator(minimum_deg=0.0, maximum_deg=360.0, cable_free_deg=100.0)
    assert cr.rotator_move(narrow, 180.0, 80.0, +1).reason == "outside_limits"


def test_same_way_up_has_no_twin_to_go_to():
    rotator = Rotator(minimum_deg=-90.0, maximum_deg=90.0)
    move = cr.same_way_up_move_deg(10.0, 200.0)
    assert move == pytest.approx(-170.0)
    assert cr.rotator_move(rotator, 0.0, move, +1, same_way_up=True).reason == "outside_limits"
    assert cr.rotator_move(rotator, 80.0, move, +1, same_way_up=True).target_deg == -90.0


def test_sense_unknown_gives_no_target():
    assert cr.rotator_move(Rotator(), 10.0, 5.0, None).reason == "sense_unknown"


@pytest.mark.parametrize(("given_deg", "inside"), [(350.0, -10.0), (-10.0, -10.0), (530.0, 170.0)])
def test_reading_is_taken_onto_the_limits_scale(given_deg, inside):
    rotator = Rotator(minimum_deg=-180.0, maximum_deg=180.0)
    assert cr.reading_in_limits(rotator, given_deg) == pytest.approx(inside)


@pytest.mark.parametrize("reading", [200.0, math.nan, math.inf])
def test_reading_outside_the_limits(reading):
    with pytest.raises(InputError, match="rotator"):
        cr.reading_in_limits(Rotator(minimum_deg=0.0, maximum_deg=90.0), reading)


def test_figures_by_hand() -> None:
    """Small sums on paper: each line is arithmetic of the definitions, no more."""
    # A landscape sensor's image up is a quarter turn from the long side's line; a portrait's is it.
    assert cr.image_up_angles_deg(30.0, 6000, 4000) == (120.0, 300.0)
    assert cr.image_up_angles_deg(30.0, 4000, 6000) == (30.0, 210.0)
    # Offset = sky − sense × reading, in the circle: 20 − 50 = −30, and back at a reading of 60.
    assert cr.offset_deg(20.0, 50.0, 1) == 330.0
    assert cr.sky_deg(330.0, 60.0, 1) == 30.0
    assert cr.offset_deg(20.0, 50.0, -1) == 70.0
    assert cr.sky_deg(70.0, 60.0, -1) == 10.0
    assert cr.offset_deg(20.0, 50.0, 1, 180.0) == 150.0


@pytest.mark.parametrize(("misfit", "fits"), [(2.9, True), (3.1, False), (-2.9, True)])
@pytest.mark.parametrize("line_only", [False, True])
def test_two_solutions_may_differ_by_three_degrees(misfit, fits, line_only):
    # A quarter turn and a bit, so that the wrong sense and a flip are far from fitting; in lines
    # the change comes back through 180°.
    args = (0.0, 170.0, 40.0, (210.0 + misfit) % (180.0 if line_only else 360.0))
    if fits:
        fit = cr.fit_sense(*args, line_only=line_only)
        assert fit.effective_sense == 1
        assert fit.misfit_deg == pytest.approx(abs(misfit), abs=1e-9)
    else:
        with pytest.raises(InputError, match="sky angle change"):
            cr.fit_sense(*args, line_only=line_only)


@pytest.mark.parametrize(("turn", "way"), [(0.04, "none"), (0.06, "anticlockwise")])
def test_a_turn_of_a_twentieth_of_a_degree_is_none(turn, way):
    assert cr.hand_turn(turn, False).way == way


def test_limits_belong_to_the_range() -> None:
    rotator = Rotator(minimum_deg=0.0, maximum_deg=180.0)
    # The ends themselves are readings, also where whole turns bring one there.
    assert [cr.reading_in_limits(rotator, one) for one in (0.0, 180.0, 540.0)] == [0.0, 180.0, 180]
    # Half a turn from 40 lies at 220, outside: of 40 + k 180 only 40 is inside, so no twin.
    assert cr.rotator_move(rotator, 10.0, 30.0, 1).twin_deg is None
    # To the very end, and the other end is its twin.
    found = cr.rotator_move(rotator, 150.0, 30.0, 1)
    assert (found.target_deg, found.move_deg, found.twin_deg) == (180.0, 30.0, 0.0)
    # With the same way up, whole turns alone come back to it: 100 + 300 is 40 a turn back.
    wide = Rotator(minimum_deg=0.0, maximum_deg=360.0)
    same = cr.rotator_move(wide, 100.0, 300.0, 1, same_way_up=True)
    assert (same.target_deg, same.move_deg) == (40.0, -60.0)
