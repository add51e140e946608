"""Optics, and each way of bolting them together: flattener, reducer or neither."""

from __future__ import annotations

import math
from typing import Annotated

from pydantic import Field, model_validator

from nightplan.model.section import KeyedValueError, Numbers, Section

MOST_TRAINS = 24
"""Ways to bolt one rig together; each of them is framed and weighed in every answer."""


class Optics(Section):
    """The telescope itself, at its native focal length.

    `obstruction_mm` is the diameter of what stands in the middle of the aperture, its baffle
    included, and `spider_vanes` strips of `spider_vane_mm` hold it.
    """

    aperture_mm: Annotated[float, Field(ge=10.0, le=2000.0)]
    focal_length_mm: Annotated[float, Field(ge=20.0, le=20_000.0)]
    obstruction_mm: Annotated[float, Field(ge=0.0, le=1000.0)] = 0.0
    spider_vanes: Annotated[int, Field(ge=0, le=8)] = 0
    spider_vane_mm: Annotated[float, Field(ge=0.0, le=20.0)] = 1.0
    transmission: Annotated[float, Field(ge=0.01, le=1.0)] = 0.95
    tube_expansion_um_m_k: Annotated[float, Field(ge=-5.0, le=40.0)] = 23.1

    @model_validator(mode="after")
    def _ring_of_light(self) -> Optics:
        if self.obstruction_mm >= self.aperture_mm:
            raise KeyedValueError(
                "obstruction_mm", self.obstruction_mm, f"below aperture_mm, {self.aperture_mm:g}"
            )
        # Half of the ring, by far more than any spider takes.
        thickest = (
            math.pi / 4.0 * (self.aperture_mm + self.obstruction_mm) / max(1, self.spider_vanes)
        )
        if self.spider_vanes and self.spider_vane_mm > thickest:
            raise KeyedValueError("spider_vane_mm", self.spider_vane_mm, f"at most {thickest:.1f}")
        return self


class Train(Section):
    """One way to bolt the rig together behind the telescope.

    `image_circle_mm` is the diameter that the maker calls fully corrected;
    `required_spacing_mm` runs from the corrector's last flange to the sensor, in air.
    """

    factor: Annotated[float, Field(ge=0.2, le=5.0)]
    transmission: Annotated[float, Field(ge=0.01, le=1.0)] = 0.97
    image_circle_mm: Annotated[float, Field(ge=1.0, le=200.0)] = 44.0
    required_spacing_mm: Annotated[float, Field(ge=0.0, le=500.0)] | None = None
    spacing_tolerance_mm: Annotated[float, Field(ge=0.01, le=20.0)] = 0.5
    spacers_mm: Numbers = ()
    filter_glass_counted: bool = False
    mirrored: bool = False
