"""The filter wheel and the filters in it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from nightplan.model.section import Names, Section

Role = Literal["luminance", "red", "green", "blue", "H-alpha", "O III", "S II"]
BROADBAND_ROLES: tuple[Role, ...] = ("luminance", "red", "green", "blue")
NARROWBAND_ROLES: tuple[Role, ...] = ("H-alpha", "O III", "S II")

LINE_AIR_NM: dict[str, float] = {"H-alpha": 656.28, "O III": 500.68, "S II": 671.64}
"""Wavelengths in air, nm, of the line each narrow filter is cut for (NIST ASD values, rounded)."""


class Filter(Section):
    """One filter: its passband, its glass, and where the focuser goes for it.

    `moon_distance_deg` stands before that of its class under `preferences.moon_distance`.
    """

    role: Role
    centre_nm: Annotated[float, Field(ge=300.0, le=1100.0)]
    width_nm: Annotated[float, Field(gt=0.0, le=500.0)]
    peak_transmission: Annotated[float, Field(gt=0.0, le=1.0)]
    clear_aperture_mm: Annotated[float, Field(gt=0.0, le=200.0)]
    thickness_mm: Annotated[float, Field(ge=0.0, le=20.0)] = 2.0
    glass_index: Annotated[float, Field(ge=1.0, le=2.5)] = 1.5
    effective_index: Annotated[float, Field(ge=1.0, le=3.0)] = 2.0
    focus_offset_steps: int | None = None
    moon_distance_deg: Annotated[float, Field(ge=0.0, le=180.0)] | None = None
    sub_s: Annotated[float, Field(gt=0.0, le=7200.0)] | None = None
    gain: str | None = None

    @property
    def is_narrow(self) -> bool:
        """Whether the filter is cut for one emission line."""
        return self.role in NARROWBAND_ROLES

    @property
    def line_nm(self) -> float | None:
        """Rest wavelength in air of the filter's line, nm; none for a broadband filter."""
        return LINE_AIR_NM.get(self.role)


class FilterWheel(Section):
    """The wheel that carries the filters, or with `by_hand` a drawer that takes one at a time.

    More filters may be owned than it has `positions`: `loaded` names those that are in it, and
    without it the plan proposes which to load. A drawer takes any owned filter in the night, at
    `change_s` each time.
    """

    distance_to_sensor_mm: Annotated[float, Field(gt=0.0, le=300.0)]
    thickness_mm: Annotated[float, Field(ge=0.0, le=100.0)] = 20.0
    change_s: Annotated[float, Field(ge=0.0, le=1800.0)] = 8.0
    positions: Annotated[int, Field(ge=1, le=20)] = 7
    loaded: Names = ()
    by_hand: bool = False
