"""Rotator, focuser and battery: what moves parts of the rig and what it costs."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from nightplan.model.section import KeyedValueError, Section


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
