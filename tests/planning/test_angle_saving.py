"""What a known angle would save an elongated target."""

from __future__ import annotations

import math

from nightplan.model.starter import demo_config
from nightplan.model.target import Target
from nightplan.planning.framing.angle_saving import panels_with_an_angle
from nightplan.planning.framing.framing import frame_target
from nightplan.planning.optics.train_optics import train_optics


def test_an_angle_saves_panels_where_the_short_side_counts() -> None:
    """By hand: an ellipse as long as the field less margins, and half as wide as it is high."""
    config = demo_config()
    train = next(iter(config.train))
    optics = train_optics(config, train)
    margin = 2.0 * config.preferences.margin_arcmin
    long_arcmin = optics.field_width_deg * 60.0 - margin - 1.0
    short_arcmin = 0.5 * optics.field_height_deg * 60.0
    target = Target("x", 40.0, 20.0, major_arcmin=long_arcmin, minor_arcmin=short_arcmin)
    assert long_arcmin > optics.field_height_deg * 60.0
    assert panels_with_an_angle(config, target, train) == 1
    # a circle over the long axis is higher than the field
    high = math.ceil((long_arcmin + margin) / (optics.field_height_deg * 60.0))
    assert frame_target(config, target, train).whole_mosaic_panels >= high == 2


def test_nothing_to_save_where_the_angle_is_known_or_none_exists() -> None:
    config = demo_config()
    train = next(iter(config.train))
    for known in (
        Target("x", 40.0, 20.0, major_arcmin=60.0, minor_arcmin=20.0, angle_deg=10.0),
        Target("x", 40.0, 20.0, major_arcmin=60.0, minor_arcmin=60.0),
        Target("x", 40.0, 20.0),
    ):
        assert panels_with_an_angle(config, known, train) is None
