"""Mount, rotator, guider, focuser and battery: what moves the rig and what it costs."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from nightplan.model.section import KeyedValueError, Section


class Mount(Section):
    """A German equatorial mount.

    Tracking stops `stop_before_meridian_min` ahead of the meridian, or goes on
    `track_past_meridian_min` beyond it (at most one of the two is above zero); the other side
    can be reached once the target has crossed. No sub crosses the stop. The meridian is meant
    above the pole: of a target that passes below it no second flip is planned.
    """

    stop_before_meridian_min: Annotated[float, Field(ge=0.0, le=120.0)] = 0.0
    track_past_meridian_min: Annotated[float, Field(ge=0.0, le=360.0)] = 0.0
    flip_min: Annotated[float, Field(ge=0.0, le=60.0)] = 3.0
    highest_altitude_deg: Annotated[float, Field(ge=30.0, le=90.0)] = 90.0
    slew_centre_min: Annotated[float, Field(ge=0.0, le=60.0)] = 3.0

    @model_validator(mode="after")
    def _one_stop(self) -> Mount:
        if self.stop_before_meridian_min > 0.0 and self.track_past_meridian_min > 0.0:
            raise KeyedValueError(
                "stop_before_meridian_min",
                self.stop_before_meridian_min,
                "0 while track_past_meridian_min is above 0",
            )
        return self


class Rotator(Section):
    """The camera rotator: sky angle = offset + sense × reading, all in degrees."""

    sense: Literal[-1, 1] | None = None
    minimum_deg: Annotated[float, Field(ge=-720.0, le=720.0)] = 0.0
    maximum_deg: Annotated[float, Field(ge=-720.0, le=720.0)] = 360.0
    thickness_mm: Annotated[float, Field(ge=0.0, le=100.0)] = 0.0
    deg_per_s: Annotated[float, Field(gt=0.0, le=90.0)] = 3.0
    cable_free_deg: Annotated[float, Field(gt=0.0, le=1440.0)] = 360.0

    @model_validator(mode="after")
    def _ordered(self) -> Rotator:
        if self.maximum_deg <= self.minimum_deg:
            raise KeyedValueError(
                "maximum_deg", self.maximum_deg, f"above minimum_deg, {self.minimum_deg:g}"
            )
        return self


class GuideSensor(Section):
    """The sensor of a guide camera. `full_well_e` is at the gain that it guides with."""

    width_px: Annotated[int, Field(ge=16, le=20_000)]
    height_px: Annotated[int, Field(ge=16, le=20_000)]
    pixel_um: Annotated[float, Field(gt=0.0, le=50.0)]
    full_well_e: Annotated[float, Field(ge=100.0, le=1_000_000.0)] = 15_000.0


class Guider(Section):
    """An off-axis guider: a prism picks a small patch of sky beside the frame.

    `side` is where the patch lies in the picture as the camera sees it: `top` is toward rising
    FITS axis 2. `offset_mm` runs from the middle of the main sensor to the middle of the patch.
    The guide sensor's width, and the prism's, lie along that side of the frame; their heights
    point away from it.

    With `turns_with_camera` the guider sits behind the rotator, and the patch keeps its side of
    the frame at every angle. Without, it sits ahead of the rotator and keeps its place on the
    tube: `fixed_angle_deg` is then the direction on the sky, north through east, from the
    field's middle to the patch while the target is east of the meridian; past the flip it is
    the opposite one. Where that is not given, it is `side` as seen with the camera up to north.

    `limit_magnitude` is the faintest star that guides, Gaia G, for an exposure of `exposure_s`;
    `bright_limit_magnitude` the brightest: without it, the star that fills the guide sensor's
    full well in 0.5 s, the shortest exposure that does not chase the seeing.
    The two distances from the prism run along the light, from the middle of its slanted face;
    `prism_glass_mm` is the way through its glass (0: a mirror, or the maker's figure is in air).
    """

    sensor: Annotated[dict[str, GuideSensor], Field(min_length=1)]
    fitted: str
    side: Literal["top", "bottom", "left", "right"] = "top"
    offset_mm: Annotated[float, Field(gt=0.0, le=100.0)]
    turns_with_camera: bool = True
    fixed_angle_deg: Annotated[float, Field(ge=0.0, lt=360.0)] | None = None
    exposure_s: Annotated[float, Field(gt=0.0, le=60.0)] = 2.0
    limit_magnitude: Annotated[float, Field(ge=0.0, le=18.0)] = 12.0
    bright_limit_magnitude: Annotated[float, Field(ge=-2.0, le=18.0)] | None = None
    prism_width_mm: Annotated[float, Field(gt=0.0, le=50.0)] = 8.0
    prism_height_mm: Annotated[float, Field(gt=0.0, le=50.0)] = 8.0
    prism_glass_mm: Annotated[float, Field(ge=0.0, le=50.0)] = 0.0
    prism_to_sensor_mm: Annotated[float, Field(gt=0.0, le=300.0)] = 50.0
    prism_to_guide_sensor_mm: Annotated[float, Field(gt=0.0, le=300.0)] = 50.0
    thickness_mm: Annotated[float, Field(ge=0.0, le=100.0)] = 15.0
    settle_s: Annotated[float, Field(ge=0.0, le=600.0)] = 20.0
    star_file: str | None = None

    @model_validator(mode="after")
    def _fitted_exists(self) -> Guider:
        if self.fitted not in self.sensor:
            raise KeyedValueError("fitted", self.fitted, f"one of {', '.join(self.sensor)}")
        return self

    @model_validator(mode="after")
    def _bright_before_faint(self) -> Guider:
        bright = self.bright_limit_magnitude
        if bright is not None and bright >= self.limit_magnitude:
            raise KeyedValueError(
                "bright_limit_magnitude",
                bright,
                f"below limit_magnitude, {self.limit_magnitude:g}",
            )
        return self

    @property
    def fitted_sensor(self) -> GuideSensor:
        """The guide sensor that is on the rig now."""
        return self.sensor[self.fitted]


class Focuser(Section):
    """The electronic focuser and when it runs.

    A filter change costs a full run of `run_min`, unless `use_filter_offsets` is true and both
    filters have a stored `focus_offset_steps`; then it costs `offset_move_s`.
    """

    run_min: Annotated[float, Field(ge=0.0, le=60.0)] = 4.0
    use_filter_offsets: bool = False
    offset_move_s: Annotated[float, Field(ge=0.0, le=300.0)] = 10.0
    every_min: Annotated[float, Field(ge=5.0, le=1440.0)] = 90.0
    refocus_step_k: Annotated[float, Field(gt=0.0, le=30.0)] | None = None
    step_um: Annotated[float, Field(gt=0.0, le=100.0)] | None = None
    steps_per_k: Annotated[float, Field(ge=-1000.0, le=1000.0)] | None = None


class Power(Section):
    """The battery and what the rig draws from it while it works.

    `dew_heater_w` is what the dew heaters take beside `draw_w`, on the mean of a night.
    """

    battery_wh: Annotated[float, Field(gt=0.0, le=100_000.0)]
    reserve_share: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.2
    draw_w: Annotated[float, Field(gt=0.0, le=5000.0)]
    dew_heater_w: Annotated[float, Field(ge=0.0, le=1000.0)] = 0.0

    @property
    def whole_draw_w(self) -> float:
        """What is drawn with the heaters on, W."""
        return self.draw_w + self.dew_heater_w
