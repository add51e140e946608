"""The camera: its sensor, its gain settings and its noise."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Annotated, Any

from pydantic import Field, model_validator

from nightplan.model.colour_sensor import ColourSensor, mean_curve
from nightplan.model.section import KeyedValueError, Pairs, Section

MOST_PIXELS = 400_000_000
"""Of a sensor; the largest on the market have 150 million. A picture of them must fit in memory."""


class GainSetting(Section):
    """What one gain setting of the camera costs and holds."""

    read_noise_e: Annotated[float, Field(ge=0.0, le=100.0)]
    full_well_e: Annotated[float, Field(ge=100.0, le=1e7)]
    e_per_adu: Annotated[float, Field(ge=0.001, le=1000.0)]


class Camera(Section):
    """The camera. `quantum_efficiency` is a curve of (wavelength nm, share).

    A colour camera has the curves of its pixels under `colour` in its place; without it the
    camera is mono.
    """

    width_px: Annotated[int, Field(ge=16, le=32_768)]
    height_px: Annotated[int, Field(ge=16, le=32_768)]
    pixel_um: Annotated[float, Field(ge=0.5, le=100.0)]
    bits: Annotated[int, Field(ge=8, le=32)]
    gain: Annotated[dict[str, GainSetting], Field(min_length=1)]
    quantum_efficiency: Annotated[Pairs, Field(min_length=1)]
    colour: ColourSensor | None = None
    dark_current_e_s: Annotated[float, Field(ge=0.0, le=100.0)] = 0.001
    sensor_temperature_c: Annotated[float, Field(ge=-60.0, le=40.0)] = -10.0
    download_s: Annotated[float, Field(ge=0.0, le=120.0)] = 2.0
    flange_to_sensor_mm: Annotated[float, Field(ge=0.0, le=100.0)] = 17.5
    window_thickness_mm: Annotated[float, Field(ge=0.0, le=20.0)] = 2.0
    window_index: Annotated[float, Field(ge=1.0, le=2.5)] = 1.5
    window_counted: bool = True

    @model_validator(mode="before")
    @classmethod
    def _mean_of_colours(cls, values: Any) -> Any:
        if isinstance(values, dict) and "colour" in values and "quantum_efficiency" not in values:
            mean = mean_curve(values["colour"])
            # A faulty table of colours is told by its own keys.
            return {**values, "quantum_efficiency": [[550.0, 0.5]] if mean is None else mean}
        return values

    @model_validator(mode="after")
    def _curve_is_one(self) -> Camera:
        wavelengths = [point[0] for point in self.quantum_efficiency]
        if sorted(set(wavelengths)) != wavelengths or any(
            not 0.0 <= share <= 1.0 for _, share in self.quantum_efficiency
        ):
            raise KeyedValueError(
                "quantum_efficiency",
                [list(point) for point in self.quantum_efficiency],
                "pairs of rising wavelength in nm and a share from 0 to 1",
            )
        if not 100.0 <= wavelengths[0] <= wavelengths[-1] <= 3000.0:
            raise KeyedValueError(
                "quantum_efficiency",
                [wavelengths[0], wavelengths[-1]],
                "wavelengths from 100 to 3000 nm",
            )
        if self.width_px * self.height_px > MOST_PIXELS:
            accepted = f"at most {MOST_PIXELS // self.width_px} rows of {self.width_px} pixels"
            raise KeyedValueError("height_px", self.height_px, accepted)
        return self

    def efficiency_between(self, low_nm: float, high_nm: float) -> float:
        """Highest quantum efficiency between two wavelengths; ends of the curve are held."""
        inside = [share for nm, share in self.quantum_efficiency if low_nm <= nm <= high_nm]
        return max(*map(self._efficiency_at, (low_nm, high_nm)), *inside)

    def _efficiency_at(self, wavelength_nm: float) -> float:
        curve = self.quantum_efficiency
        if wavelength_nm <= curve[0][0]:
            return curve[0][1]
        for (left, low), (right, high) in pairwise(curve):
            if wavelength_nm <= right:
                return low + (high - low) * (wavelength_nm - left) / (right - left)
        return curve[-1][1]

    @property
    def width_mm(self) -> float:
        """Sensor size along FITS axis 1, mm."""
        return self.width_px * self.pixel_um / 1000.0

    @property
    def height_mm(self) -> float:
        """Sensor size along FITS axis 2, mm."""
        return self.height_px * self.pixel_um / 1000.0

    @property
    def diagonal_mm(self) -> float:
        """Sensor diagonal, mm."""
        return math.hypot(self.width_mm, self.height_mm)
