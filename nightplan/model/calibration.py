"""Calibration frames: how many of each, and when those at hand no longer serve."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from nightplan.model.section import Listed, Section


class Calibration(Section):
    """Counts and limits of calibration frames. All defaults are common practice, no source.

    A flat should reach `flat_level`, a share of the converter's range, in an exposure between
    `flat_shortest_s` (a shutter's or the readout's unevenness shows below it) and
    `flat_longest_s`. Flats hold within `flat_angle_tolerance_deg` of the camera angle they were
    taken at, until the camera is taken off. Darks hold for `dark_days` and within
    `dark_tolerance_c` of the sensor's temperature. With `bias_stable` bias frames stand in for
    flat-darks. `dark_library` are pairs of gain and sub length whose darks are at hand beside
    those of the journal; such subs are preferred.
    """

    flats: Annotated[int, Field(ge=0, le=500)] = 25
    darks: Annotated[int, Field(ge=0, le=500)] = 30
    flat_darks: Annotated[int, Field(ge=0, le=500)] = 25
    bias: Annotated[int, Field(ge=0, le=1000)] = 50
    bias_stable: bool = False
    flat_level: Annotated[float, Field(ge=0.05, le=0.9)] = 0.4
    flat_shortest_s: Annotated[float, Field(ge=0.0001, le=60.0)] = 1.0
    flat_longest_s: Annotated[float, Field(ge=0.001, le=300.0)] = 15.0
    flat_angle_tolerance_deg: Annotated[float, Field(ge=0.01, le=45.0)] = 1.0
    dark_tolerance_c: Annotated[float, Field(ge=0.0, le=10.0)] = 0.6
    dark_days: Annotated[int, Field(ge=1, le=3650)] = 180
    dark_library: Annotated[
        tuple[Annotated[tuple[str, Annotated[float, Field(ge=0.01, le=7200.0)]], Listed], ...],
        Listed,
    ] = ()

    @model_validator(mode="after")
    def _ordered(self) -> Calibration:
        if self.flat_longest_s <= self.flat_shortest_s:
            raise ValueError("a flat_longest_s above flat_shortest_s")
        return self
