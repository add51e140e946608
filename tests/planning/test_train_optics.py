"""Optics of a train against textbook formulas and common practice."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.errors import InputError
from nightplan.model.starter import demo_config
from nightplan.planning.optics.train_optics import (
    all_train_optics,
    filter_clearance,
    sampling_word,
    train_optics,
)


def rig(focal_mm, aperture_mm, factor, width_px=6000, height_px=4000, pixel_um=3.9, **optics):
    config = demo_config()
    camera = config.camera.model_copy(
        update={"width_px": width_px, "height_px": height_px, "pixel_um": pixel_um}
    )
    return config.model_copy(
        update={
            "camera": camera,
            "optics": config.optics.model_copy(
                update={"focal_length_mm": focal_mm, "aperture_mm": aperture_mm, **optics}
            ),
            "train": {"only": config.train["reducer"].model_copy(update={"factor": factor})},
        }
    )


def test_reducer_check_values():
    # Common practice, no source: 952 mm x 0.6 = 571 mm, f/7.5 -> f/4.5.
    native = train_optics(rig(952.0, 952.0 / 7.5, 1.0), "only")
    reduced = train_optics(rig(952.0, 952.0 / 7.5, 0.6), "only")
    assert native.f_ratio == pytest.approx(7.5)
    assert round(reduced.focal_length_mm) == 571
    assert reduced.f_ratio == pytest.approx(4.5)


def test_scale_and_field_by_textbook_formula():
    # Image scale = 206265 x pixel / focal length, field = 2 atan(size / 2f): textbook optics.
    optics = train_optics(demo_config(), "flattener")
    assert optics.image_scale_arcsec_px == pytest.approx(206.265 * 3.9 / 784.0, rel=1e-6)
    assert optics.field_width_deg == pytest.approx(2 * math.degrees(math.atan(11.7 / 784.0)))
    assert optics.field_height_deg == pytest.approx(2 * math.degrees(math.atan(7.8 / 784.0)))
    assert optics.long_side_arcmin == pytest.approx(60 * optics.field_width_deg)
    assert optics.short_side_arcmin == pytest.approx(60 * optics.field_height_deg)


def test_field_is_exact_not_small_angle():
    # A 36 mm side behind a 50 mm lens: 39.6 deg, the photographer's figure (common practice, no
    # source); the small-angle formula would give 41.3.
    optics = train_optics(rig(50.0, 25.0, 1.0, 9000, 6000, 4.0), "only")
    assert optics.field_width_deg == pytest.approx(39.6, abs=0.05)


def test_portrait_sensor_keeps_axes_apart():
    optics = train_optics(rig(784.0, 112.0, 1.0, 4000, 6000), "only")
    assert optics.field_height_deg > optics.field_width_deg
    assert optics.long_side_arcmin == pytest.approx(60 * optics.field_height_deg)


def test_filter_sizes_of_common_practice():
    # Common practice, no source: full frame (36 x 24 mm) wants 2-inch filters (some 46 mm clear
    # or more), APS-C (23.5 x 15.6 mm) is served by 36 mm ones (some 33.5 mm clear).
    full_frame, apsc = math.hypot(36.0, 24.0), math.hypot(23.5, 15.6)
    for f_ratio in (5.0, 7.0):
        assert filter_clearance("36", 33.5, apsc, 25.0, f_ratio).corner_illumination > 0.99
        assert filter_clearance("36", 33.5, full_frame, 25.0, f_ratio).corner_illumination == 0
        assert filter_clearance("2in", 46.0, full_frame, 20.0, f_ratio).corner_illumination > 0.8


def test_needed_aperture_is_where_the_loss_begins():
    needed = filter_clearance("x", 30.0, 28.0, 30.0, 5.0).needed_mm
    assert needed == pytest.approx(28.0 + 30.0 / 5.0)
    assert filter_clearance("x", needed, 28.0, 30.0, 5.0).corner_illumination == 1.0
    assert filter_clearance("x", needed - 0.1, 28.0, 30.0, 5.0).corner_illumination < 1.0


@pytest.mark.parametrize("obstruction", [0.0, 0.4])
def test_corner_loss_against_monte_carlo(obstruction):
    # The independent route: rays drawn over the beam, counted through the filter's opening.
    rng = np.random.default_rng(5)
    radius = 25.0 / 5.0 / 2.0
    r = radius * np.sqrt(rng.uniform(obstruction**2, 1.0, 400_000))
    turn = rng.uniform(0.0, 2.0 * math.pi, r.size)
    x, y = 14.06 + r * np.cos(turn), r * np.sin(turn)
    for clear in (26.0, 28.5, 31.0):
        counted = np.mean(np.hypot(x, y) < clear / 2.0)
        share = filter_clearance("x", clear, 28.12, 25.0, 5.0, obstruction).corner_illumination
        assert share == pytest.approx(counted, abs=0.004)


@given(st.floats(20.0, 40.0), st.floats(0.0, 10.0), st.floats(3.0, 12.0))
@settings(max_examples=60, deadline=None)
def test_a_larger_filter_never_costs_light(clear, more, f_ratio):
    small = filter_clearance("a", clear, 28.0, 25.0, f_ratio).corner_illumination
    large = filter_clearance("a", clear + more, 28.0, 25.0, f_ratio).corner_illumination
    assert 0.0 <= small <= large + 1e-12 <= 1.0 + 1e-9


def test_demo_rig_is_sound():
    flattener, reducer = all_train_optics(demo_config())
    assert flattener.circle_covers
    assert reducer.corner_illumination == 1.0
    assert flattener.sampling == "well sampled"
    assert reducer.sampling == "slightly undersampled"
    assert reducer.circle_share == 1.0


def test_small_image_circle_is_told():
    config = rig(784.0, 112.0, 1.0)
    tight = config.train["only"].model_copy(update={"image_circle_mm": 22.0})
    optics = train_optics(config.model_copy(update={"train": {"only": tight}}), "only")
    rng = np.random.default_rng(1)
    x, y = rng.uniform(-11.7, 11.7, 200_000), rng.uniform(-7.8, 7.8, 200_000)
    assert not optics.circle_covers
    assert optics.circle_share == pytest.approx(np.mean(np.hypot(x, y) < 11.0), abs=0.004)


def test_sampling_words_have_no_gap():
    assert [sampling_word(x) for x in (0.5, 1.2, 2.0, 3.5, 99.0)] == [
        "strongly undersampled",
        "slightly undersampled",
        "well sampled",
        "oversampled",
        "oversampled",
    ]


def test_unknown_train_is_one_clear_line():
    with pytest.raises(InputError, match=r"train = 'reducr'.*flattener, reducer.*nearest: reducer"):
        train_optics(demo_config(), "reducr")
