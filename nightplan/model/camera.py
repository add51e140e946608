"""The camera: its sensor, its gain settings and its noise."""

from __future__ import annotations

import math
from typing import Annotated

from pydantic import Field, model_validator

from nightplan.model.section import KeyedValueError, Pairs, Section


class GainSetting(Section):
    """What one gain setting of the camera costs and holds."""

    read_noise_e: Annotated[float, Field(ge=0.0, le=100.0)]
    full_well_e: Annotated[float, Field(gt=0.0, le=1e7)]
    e_per_adu: Annotated[float, Field(gt=0.0, le=1000.0)]


class Camera(Section):
    """A mono camera. `quantum_efficiency` is a curve of (wavelength nm, share)."""

    width_px: Annotated[int, Field(ge=16, le=100_000)]
    height_px: Annotated[int, Field(ge=16, le=100_000)]
    pixel_um: Annotated[float, Field(gt=0.0, le=100.0)]
    bits: Annotated[int, Field(ge=8, le=32)]
    gain: Annotated[dict[str, GainSetting], Field(min_length=1)]
    quantum_efficiency: Annotated[Pairs, Field(min_length=1)]
    dark_current_e_s: Annotated[float, Field(ge=0.0, le=100.0)] = 0.001
    sensor_temperature_c: Annotated[float, Field(ge=-60.0, le=40.0)] = -10.0
    download_s: Annotated[float, Field(ge=0.0, le=120.0)] = 2.0
    flange_to_sensor_mm: Annotated[float, Field(ge=0.0, le=100.0)] = 17.5
    window_thickness_mm: Annotated[float, Field(ge=0.0, le=20.0)] = 2.0
    window_index: Annotated[float, Field(ge=1.0, le=2.5)] = 1.5
    window_counted: bool = True

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
        return self

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
