"""Critical focus zones and what temperature does to focus."""

from __future__ import annotations

import math

import pytest

from nightplan.light.focus import (
    measured_shift_um_per_k,
    native_shift_um_per_k,
    refocus_step_k,
    sensor_shift_um_per_k,
    zone_quarter_wave_um,
)


def test_zone_by_hand() -> None:
    # quarter wave: 4 x 0.55 x 49 = 107.8 um at f/7
    assert zone_quarter_wave_um(7.0) == pytest.approx(107.8)


def test_aluminium_tube() -> None:
    # 23.1 um/m/K (handbook value) x 0.784 m = 18.1 um/K; reducer 0.75: x 0.5625.
    native = native_shift_um_per_k(23.1, 784.0)
    assert native == pytest.approx(18.11, abs=0.01)
    assert sensor_shift_um_per_k(native, 0.75) == pytest.approx(10.19, abs=0.01)


def test_reduction_does_not_change_the_threshold() -> None:
    """Zone and shift both go with the square of the f-ratio: only the native beam matters."""
    native = native_shift_um_per_k(23.1, 784.0)
    plain = refocus_step_k(zone_quarter_wave_um(7.0), sensor_shift_um_per_k(native, 1.0))
    reduced = refocus_step_k(zone_quarter_wave_um(5.25), sensor_shift_um_per_k(native, 0.75))
    assert reduced == pytest.approx(plain)
    # the practice of "every few degrees" (common practice, no source)
    assert 1.0 < plain < 6.0


def test_measured_drift_and_a_tube_that_keeps_its_length() -> None:
    assert measured_shift_um_per_k(-5.0, 4.0) == 20.0
    assert math.isinf(refocus_step_k(50.0, 0.0))
