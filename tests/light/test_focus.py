"""Critical focus zones and what temperature does to focus."""

from __future__ import annotations

import math

import pytest

from nightplan.light.focus import (
    measured_shift_um_per_k,
    native_shift_um_per_k,
    refocus_count,
    refocus_step_k,
    sensor_shift_um_per_k,
    zone_airy_um,
    zone_quarter_wave_um,
    zone_seeing_um,
)


def test_zones_by_hand() -> None:
    # 4.88 x 0.51 um x 5^2 = 62 um (the figure that imagers quote for f/5 in green; common
    # practice, no source); quarter wave 4 x 0.55 x 49 = 107.8 um at f/7.
    assert zone_airy_um(5.0, 510.0) == pytest.approx(62.2, abs=0.1)
    assert zone_quarter_wave_um(7.0) == pytest.approx(107.8)
    # seeing zone scales with the seeing and with f-ratio squared times aperture
    base = zone_seeing_um(7.0, 112.0, 2.5)
    assert zone_seeing_um(7.0, 112.0, 5.0) == pytest.approx(2 * base)
    assert zone_seeing_um(3.5, 112.0, 2.5) == pytest.approx(base / 4)


def test_seeing_zone_within_a_factor_of_two_of_goldman_and_megdal() -> None:
    # Goldman & Megdal 2010: 0.00225 x seeing x sqrt(tolerance %) x aperture mm x N^2 um, from
    # memory.
    published = 0.00225 * 2.5 * math.sqrt(10.0) * 112.0 * 49.0
    assert 0.5 < zone_seeing_um(7.0, 112.0, 2.5, 0.1) / published < 2.0


def test_aluminium_tube() -> None:
    # 23.1 um/m/K (handbook value) x 0.784 m = 18.1 um/K; reducer 0.75: x 0.5625.
    native = native_shift_um_per_k(23.1, 784.0)
    assert native == pytest.approx(18.11, abs=0.01)
    assert sensor_shift_um_per_k(native, 0.75) == pytest.approx(10.19, abs=0.01)


def test_reduction_does_not_change_the_threshold() -> None:
    """Zone and shift both go with the square of the f-ratio: only the native beam matters."""
    native = native_shift_um_per_k(23.1, 784.0)
    plain = refocus_step_k(zone_airy_um(7.0), sensor_shift_um_per_k(native, 1.0))
    reduced = refocus_step_k(zone_airy_um(5.25), sensor_shift_um_per_k(native, 0.75))
    assert reduced == pytest.approx(plain)
    # the practice of "every few degrees" (common practice, no source)
    assert 1.0 < plain < 6.0


def test_measured_and_counts() -> None:
    assert measured_shift_um_per_k(-5.0, 4.0) == 20.0
    assert refocus_count(15.0, 9.0, 2.0) == 3
    assert refocus_count(9.0, 15.0, 2.5) == 2
    assert refocus_count(10.0, 10.0, 1.0) == 0
    assert math.isinf(refocus_step_k(50.0, 0.0))
    assert refocus_count(15.0, 5.0, math.inf) == 0
