"""Angles as printed, and the choice of the twin."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightplan.errors import InputError
from nightplan.model.starter import demo_config
from nightplan.planning.framing.camera_angle import (
    check_position_angle,
    default_image_up_deg,
    printed_axis_deg,
    printed_direction_deg,
    twin_deg,
)
from nightplan.planning.optics.train_optics import train_optics


@given(st.floats(-1e4, 1e4), st.integers(0, 6))
def test_printed_angles_stay_in_range(angle, digits):
    axis, direction = printed_axis_deg(angle, digits), printed_direction_deg(angle, digits)
    assert 0.0 <= axis < 180.0
    assert 0.0 <= direction < 360.0
    assert float(f"{axis:.{digits}f}") < 180.0
    assert float(f"{direction:.{digits}f}") < 360.0
    assert abs((direction - angle + 180.0) % 360.0 - 180.0) <= 0.5 * 10.0**-digits + 1e-9


def test_rounding_up_to_the_end_starts_again():
    assert printed_axis_deg(179.996) == 0.0
    assert printed_direction_deg(359.996) == 0.0
    assert printed_axis_deg(-0.001) == 0.0


@pytest.mark.parametrize(
    ("position_angle", "up"), [(90.0, 0.0), (0.0, 90.0), (45.0, 315.0), (135.0, 45.0), (1.0, 271.0)]
)
def test_the_top_nearer_to_north_is_taken(position_angle, up):
    optics = train_optics(demo_config(), "flattener")
    assert default_image_up_deg(position_angle, optics) == pytest.approx(up)
    assert twin_deg(up) == pytest.approx((up + 180.0) % 360.0)


@pytest.mark.parametrize("angle", [180.0, -0.1, math.inf, math.nan])
def test_out_of_range_is_refused(angle):
    with pytest.raises(InputError, match=r"angle = .*from 0 to below 180"):
        check_position_angle(angle)
