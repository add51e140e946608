"""Spacing, focus and shadow of a train, against hand-worked numbers and brute force."""

from __future__ import annotations

import numpy as np
import pytest

from nightplan.model.starter import demo_config
from nightplan.plane.disc_rectangle import disc_rectangle_area
from nightplan.planning.optics.beam_shadow import prism_shadow
from nightplan.planning.optics.bolted_train import check_train, plate_shift_mm

CONFIG = demo_config()


def changed(base=CONFIG, **tables):
    """A configuration with some keys of its tables replaced."""
    update = {}
    for name, keys in tables.items():
        if name == "train":
            update["train"] = {n: t.model_copy(update=keys) for n, t in base.train.items()}
        else:
            update[name] = getattr(base, name).model_copy(update=keys)
    return base.model_copy(update=update)


# A rig of round numbers: 10 + 15 + 20 + 17.5 = 62.5 mm and what spacers add.
ROUND = changed(
    optics={"aperture_mm": 100.0, "focal_length_mm": 500.0},
    train={"factor": 1.0, "required_spacing_mm": 65.0, "spacing_tolerance_mm": 0.5,
           "spacers_mm": (3.0,), "filter_glass_counted": False},
    rotator={"thickness_mm": 10.0},
    wheel={"thickness_mm": 20.0, "distance_to_sensor_mm": 27.5},
    camera={"flange_to_sensor_mm": 17.5, "window_counted": True},
    guider={"thickness_mm": 15.0, "prism_to_sensor_mm": 45.0, "prism_to_guide_sensor_mm": 45.0},
)  # fmt: skip


def test_a_plate_moves_the_focus_by_a_third_of_its_thickness():
    """Usual rule for n = 1.5 (common practice, no source): 3 mm of glass, 1 mm of spacing."""
    assert plate_shift_mm(3.0, 1.5) == pytest.approx(1.0)
    assert plate_shift_mm(3.0, 1.0) == 0.0


def test_plate_against_rays_traced_through_it():
    """Snell's law for a ray at 1 milliradian through 2 mm of n = 1.5."""
    slope = 1e-3
    inside = np.tan(np.arcsin(np.sin(slope) / 1.5))
    saved = (np.tan(slope) - inside) * 2.0 / np.tan(slope)
    assert plate_shift_mm(2.0, 1.5) == pytest.approx(saved, rel=1e-5)


def test_back_focus_by_hand():
    """65.5 mm built; 65 + 2 (1 - 1/1.5) = 65.667 mm required: 0.167 mm short."""
    found = check_train(ROUND, "flattener").back_focus
    assert [part.length_mm for part in found.parts] == [3.0, 10.0, 15.0, 20.0, 17.5]
    assert found.built_mm == 65.5
    assert found.required_mm == pytest.approx(65.0 + 2.0 / 3.0)
    assert found.difference_mm == pytest.approx(-1.0 / 6.0)
    assert found.verdict == "right"


@pytest.mark.parametrize(
    ("train", "camera", "difference", "verdict", "words"),
    [
        ({"spacers_mm": (2.0,)}, {}, -1.0 - 1.0 / 6.0, "too_short", "add 1.17 mm"),
        ({"spacers_mm": (2.0, 3.0)}, {}, 2.0 - 1.0 / 6.0, "too_long", "take out 1.83 mm"),
        ({"filter_glass_counted": True}, {}, 0.5, "right", "+0.50 mm is within"),
        # A window of 3 mm and index 1.5 that the flange distance leaves out: 1 mm more.
        (
            {},
            {"window_counted": False, "window_thickness_mm": 3.0},
            -7 / 6,
            "too_short",
            "add 1.17",
        ),
        ({"required_spacing_mm": None}, {}, None, "not_required", "asks for none"),
    ],
)
def test_what_to_add_or_take_out(train, camera, difference, verdict, words):
    checked = check_train(changed(ROUND, train=train, camera=camera), "flattener")
    found = checked.back_focus
    assert found.difference_mm == (None if difference is None else pytest.approx(difference))
    assert found.verdict == verdict
    assert any(words in note for note in checked.notes)
    assert any("Back focus" in note for note in checked.warnings) is verdict.startswith("too")


def test_guide_camera_focus_by_hand():
    """Filter behind the prism: 45 - 0.667 mm; 0.667 mm off at f/5 is 0.1333 mm of blur."""
    found = check_train(ROUND, "flattener").guider_focus
    assert found.needed_mm == pytest.approx(45.0 - 2.0 / 3.0)
    assert found.difference_mm == pytest.approx(2.0 / 3.0)
    assert found.blur_px == pytest.approx(2000.0 / 3.0 / 5.0 / 3.75)
    assert not found.is_sharp
    right = changed(ROUND, guider={"prism_to_guide_sensor_mm": 45.0 - 0.667})
    assert check_train(right, "flattener").guider_focus.is_sharp
    # Filters ahead of the prism lengthen both ways alike.
    ahead = changed(ROUND, wheel={"distance_to_sensor_mm": 60.0})
    assert check_train(ahead, "flattener").guider_focus.difference_mm == pytest.approx(0.0)
    # 6.05 mm of crown glass inside the prism: 6.05 (1 - 1/1.517) = 2.062 mm more.
    glass = changed(ROUND, guider={"prism_glass_mm": 6.05})
    needed = check_train(glass, "flattener").guider_focus.needed_mm
    assert needed == pytest.approx(45.0 - 0.6667 + 2.062, abs=1e-3)


@pytest.mark.parametrize(
    ("rotator", "free", "frame", "angle"),
    [
        ({"minimum_deg": 0.0, "maximum_deg": 360.0, "cable_free_deg": 360.0}, True, True, True),
        ({"minimum_deg": -90.0, "maximum_deg": 120.0}, True, True, False),
        ({"minimum_deg": 0.0, "maximum_deg": 400.0, "cable_free_deg": 380.0}, False, True, True),
        ({"minimum_deg": 0.0, "maximum_deg": 170.0}, True, False, False),
    ],
)
def test_rotator_cable(rotator, free, frame, angle):
    cable = check_train(changed(ROUND, rotator=rotator), "flattener").cable
    assert (cable.is_free, cable.every_frame, cable.every_angle) == (free, frame, angle)


def test_shadow_by_hand():
    """f/5, f = 500 mm, prism 8 x 6 mm with its middle at 45 mm: its front edge is 48 mm off.

    Beam there 9.6 mm wide; the sensor's edge at 7.8 mm has its beam's middle at 7.8 x 0.904 =
    7.0512; so it reaches to 11.8512. The inner edge is at 16 x 0.91 - 3 = 11.56.
    """
    guider = {"offset_mm": 16.0, "prism_width_mm": 8.0, "prism_height_mm": 6.0}
    found = prism_shadow(changed(ROUND, guider=guider), "flattener")
    assert found.intrusion_mm == pytest.approx(11.8512 - 11.56)
    assert found.clear_offset_mm == pytest.approx((11.8512 + 3.0) / 0.91)
    # Circular segment (elementary): r = 4.8, cut at 4.8 - 0.2912 from the middle.
    half = np.arccos((4.8 - 0.2912) / 4.8)
    assert found.worst_loss == pytest.approx((half - np.sin(half) * np.cos(half)) / np.pi)
    clear = changed(ROUND, guider={**guider, "offset_mm": found.clear_offset_mm + 1e-6})
    assert prism_shadow(clear, "flattener").is_clear
    assert prism_shadow(clear, "flattener").worst_loss == 0.0


def test_shadow_against_rays():
    """Rays from pixels to random points of the aperture, stopped by the prism's front face."""
    guider = {"offset_mm": 13.0, "prism_width_mm": 8.0, "prism_height_mm": 6.0, "side": "left"}
    config = changed(
        ROUND, guider=guider, camera={"width_px": 4000, "height_px": 4000},
        optics={"obstruction_mm": 40.0},
    )  # fmt: skip
    found = prism_shadow(config, "flattener")
    rng = np.random.default_rng(8)
    r = np.sqrt(rng.uniform(20.0**2, 50.0**2, 200_000))
    turn = rng.uniform(0, 2 * np.pi, r.size)
    share = 48.0 / 500.0
    y = 7.8 + share * (r * np.cos(turn) - 7.8)
    x = 0.0 + share * (r * np.sin(turn))
    middle = 13.0 * (1 - 45.0 / 500.0)
    stopped = (np.abs(y - middle) <= 3.0) & (np.abs(x) <= 4.0)
    assert found.worst_loss == pytest.approx(stopped.mean(), abs=0.004)
    assert found.depth_px > 0
    assert 0.0 < found.shaded_share < 0.5


def test_disc_and_rectangle_against_counting():
    rng = np.random.default_rng(2)
    x, y = rng.uniform(-1, 1, (2, 400_000))
    keep = x * x + y * y <= 1.0
    x, y = x[keep], y[keep]
    for _ in range(40):
        cx, cy, r = rng.uniform(-2, 2), rng.uniform(-2, 2), rng.uniform(0.2, 2)
        x_range = tuple(sorted(rng.uniform(-2, 2, 2)))
        y_range = tuple(sorted(rng.uniform(-2, 2, 2)))
        px, py = cx + r * x, cy + r * y
        inside = (px > x_range[0]) & (px < x_range[1]) & (py > y_range[0]) & (py < y_range[1])
        expected = inside.mean() * np.pi * r * r
        found = disc_rectangle_area(cx, cy, r, x_range, y_range)
        assert found == pytest.approx(expected, abs=0.012 * r * r)


def test_disc_and_rectangle_in_plain_cases():
    assert disc_rectangle_area(0, 0, 1, (-2, 2), (-2, 2)) == pytest.approx(np.pi)
    assert disc_rectangle_area(0, 0, 1, (0, 2), (0, 2)) == pytest.approx(np.pi / 4)
    assert disc_rectangle_area(0, 0, 1, (-0.1, 0.1), (-0.2, 0.2)) == pytest.approx(0.08)
    assert disc_rectangle_area(5, 0, 1, (-2, 2), (-2, 2)) == pytest.approx(0.0)
    assert disc_rectangle_area(0, 0, 0, (-2, 2), (-2, 2)) == 0.0


def test_distances_that_do_not_fit_are_named():
    assert check_train(ROUND, "flattener").warnings[-1].startswith("Prism:")
    wrong = changed(
        ROUND, guider={"prism_to_sensor_mm": 70.0, "offset_mm": 9.0},
        wheel={"distance_to_sensor_mm": 5.0},
    )  # fmt: skip
    text = " ".join(check_train(wrong, "flattener").warnings)
    assert "wheel.distance_to_sensor_mm is 5" in text
    assert "guider.prism_to_sensor_mm is 70" in text
    assert "guider.offset_mm is 9" in text


def test_without_guider_and_rotator():
    bare = CONFIG.model_copy(update={"guider": None, "rotator": None})
    found = check_train(bare, "flattener")
    assert (found.guider_focus, found.shadow, found.cable) == (None, None, None)
    assert found.back_focus.built_mm == pytest.approx(2.3 + 12.0 + 12.5)
