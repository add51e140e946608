"""Mount, rotator, focuser and battery: what moves parts of the rig and what it costs."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from nightplan.model.section import KeyedValueError, Listed, Pair, Pairs, Section


class Rotator(Section):
    """The camera rotator: sky angle = offset + sense × reading, all in degrees."""

    sense: Literal[-1, 1] | None = None
    minimum_deg: Annotated[float, Field(ge=-720.0, le=720.0)] = 0.0
    maximum_deg: Annotated[float, Field(ge=-720.0, le=720.0)] = 360.0
    thickness_mm: Annotated[float, Field(ge=0.0, le=100.0)] = 0.0
    deg_per_s: Annotated[float, Field(ge=0.01, le=90.0)] = 3.0
    cable_free_deg: Annotated[float, Field(ge=1.0, le=1440.0)] = 360.0

    @model_validator(mode="after")
    def _ordered(self) -> Rotator:
        if self.maximum_deg <= self.minimum_deg:
            raise KeyedValueError(
                "maximum_deg", self.maximum_deg, f"above minimum_deg, {self.minimum_deg:g}"
            )
        return self


class Focuser(Section):
    """The electronic focuser and when it runs.

    A filter change costs a full run of `run_min`, unless `use_filter_offsets` is true and both
    filters have a stored `focus_offset_steps`; then it costs `offset_move_s`.
    """

    run_min: Annotated[float, Field(ge=0.0, le=60.0)] = 4.0
    use_filter_offsets: bool = False
    offset_move_s: Annotated[float, Field(ge=0.0, le=300.0)] = 10.0
    every_min: Annotated[float, Field(ge=5.0, le=1440.0)] = 90.0
    refocus_step_k: Annotated[float, Field(ge=0.05, le=30.0)] | None = None
    step_um: Annotated[float, Field(ge=0.001, le=100.0)] | None = None
    steps_per_k: Annotated[float, Field(ge=-1000.0, le=1000.0)] | None = None


class Power(Section):
    """The battery and what the rig draws from it while it works.

    `dew_heater_w` is what the dew heaters take beside `draw_w`, on the mean of a night.
    """

    battery_wh: Annotated[float, Field(ge=1.0, le=100_000.0)]
    reserve_share: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.2
    draw_w: Annotated[float, Field(ge=0.1, le=5000.0)]
    dew_heater_w: Annotated[float, Field(ge=0.0, le=1000.0)] = 0.0

    @property
    def whole_draw_w(self) -> float:
        """What is drawn with the heaters on, W."""
        return self.draw_w + self.dew_heater_w


MountKind = Literal["flip", "no_flip", "altazimuth"]


class Mount(Section):
    """A mount, by default a German equatorial one.

    `kind` is `flip` for an equatorial mount that goes over to the other side of its pier at the
    meridian, `no_flip` for one that tracks through it (a fork on a wedge, a drive that lets the
    tube pass the pier), `altazimuth` for one that does not turn with the sky: there the field
    turns in the camera unless it has a `derotator`, and `trail_px` bounds the sub.

    With `flip`, tracking stops `stop_before_meridian_min` ahead of the meridian, or goes on
    `track_past_meridian_min` beyond it (at most one of the two is above zero); the other side
    can be reached once the target has crossed. No sub crosses the stop. The meridian is meant
    above the pole: of a target that passes below it no second flip is planned.

    `azimuth_ranges_deg` are the directions that are free, from one azimuth clockwise to the other
    (walls and a balcony leave [[100, 250]]; [[300, 60]] runs through north); none given leaves
    all. `hour_angle_range_deg` is how far cables and tripod let the mount turn, east negative.

    `trail_px` is how far a star may wander in one sub. `drift_arcsec_min` is how fast it wanders
    without a guider (drive and alignment together); not given, the user's own longest sub holds.
    """

    kind: MountKind = "flip"
    stop_before_meridian_min: Annotated[float, Field(ge=0.0, le=120.0)] = 0.0
    track_past_meridian_min: Annotated[float, Field(ge=0.0, le=360.0)] = 0.0
    flip_min: Annotated[float, Field(ge=0.0, le=60.0)] = 3.0
    highest_altitude_deg: Annotated[float, Field(ge=30.0, le=90.0)] = 90.0
    azimuth_ranges_deg: Pairs = ()
    hour_angle_range_deg: Annotated[Pair, Listed] | None = None
    slew_centre_min: Annotated[float, Field(ge=0.0, le=60.0)] = 3.0
    derotator: bool = False
    trail_px: Annotated[float, Field(ge=0.01, le=20.0)] = 1.0
    drift_arcsec_min: Annotated[float, Field(ge=0.001, le=600.0)] | None = None

    @property
    def flips(self) -> bool:
        """Whether the tube changes the side of a pier at the meridian."""
        return self.kind == "flip"

    @property
    def field_turns(self) -> bool:
        """Whether the sky turns in the camera while it tracks."""
        return self.kind == "altazimuth" and not self.derotator

    @model_validator(mode="after")
    def _one_stop(self) -> Mount:
        if self.stop_before_meridian_min > 0.0 and self.track_past_meridian_min > 0.0:
            raise KeyedValueError(
                "stop_before_meridian_min",
                self.stop_before_meridian_min,
                "0 while track_past_meridian_min is above 0",
            )
        for key in ("stop_before_meridian_min", "track_past_meridian_min"):
            if not self.flips and getattr(self, key) > 0.0:
                accepted = f"0 (or left out) where kind is {self.kind}"
                raise KeyedValueError(key, getattr(self, key), accepted)
        return self

    @model_validator(mode="after")
    def _directions(self) -> Mount:
        for pair in self.azimuth_ranges_deg:
            if not all(0.0 <= one <= 360.0 for one in pair) or pair[0] == pair[1]:
                raise KeyedValueError(
                    "azimuth_ranges_deg", list(pair), "[from, to], two azimuths from 0 to 360"
                )
        turn = self.hour_angle_range_deg
        if turn is not None and not -180.0 <= turn[0] < turn[1] <= 180.0:
            raise KeyedValueError(
                "hour_angle_range_deg", list(turn), "[from, to], rising, each from -180 to 180"
            )
        return self
