"""The camera: its sensor, mono or colour, its gain settings and its noise."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import Field, model_validator

from nightplan.model.section import KeyedValueError, Listed, Pairs, Section

MOST_PIXELS = 400_000_000
"""Of a sensor; the largest on the market have 150 million. A picture of them must fit in memory."""


COLOURS = ("red", "green", "blue")
BAYER_SHARES = (0.25, 0.5, 0.25)
"""Two of four pixels of a Bayer matrix are green."""


def check_curve(key: str, curve: Sequence[tuple[float, float]]) -> None:
    """Raise KeyedValueError where a curve's wavelengths do not rise or a share is none."""
    wavelengths = [nm for nm, _ in curve]
    if sorted(set(wavelengths)) != wavelengths or any(
        not 0.0 <= share <= 1.0 for _, share in curve
    ):
        accepted = "pairs of rising wavelength in nm and a share from 0 to 1"
        raise KeyedValueError(key, [list(point) for point in curve], accepted)


class ColourSensor(Section):
    """Quantum efficiency under each colour, curves of (wavelength nm, share), and which share of
    the pixels has it: red, green, blue."""

    red: Annotated[Pairs, Field(min_length=1)]
    green: Annotated[Pairs, Field(min_length=1)]
    blue: Annotated[Pairs, Field(min_length=1)]
    shares: Annotated[tuple[float, float, float], Listed] = BAYER_SHARES

    @model_validator(mode="after")
    def _shares_are_whole(self) -> ColourSensor:
        if min(self.shares) <= 0.0 or abs(sum(self.shares) - 1.0) > 0.01:
            accepted = "three shares above 0 that sum to 1"
            raise KeyedValueError("shares", list(self.shares), accepted)
        for name in COLOURS:
            check_curve(name, getattr(self, name))
        return self


def mean_curve(colour: Any) -> list[list[float]] | None:
    """Efficiency of the mean pixel of a colour table as read, or None where it is not sound."""
    try:
        curves = [sorted((float(nm), float(y)) for nm, y in colour[name]) for name in COLOURS]
        shares = [float(share) for share in colour.get("shares", BAYER_SHARES)]
        return [list(point) for point in weighted_curve(curves, shares)]
    except (AttributeError, IndexError, KeyError, TypeError, ValueError, ZeroDivisionError):
        return None


def weighted_curve(
    curves: Sequence[Sequence[tuple[float, float]]], shares: Sequence[float]
) -> tuple[tuple[float, float], ...]:
    """Mean of some curves, each weighted by its share, at all of their wavelengths."""
    pairs = [pair for pair in zip(shares, curves, strict=True) if pair[0] > 0.0]
    grid = sorted({nm for _, curve in pairs for nm, _ in curve})
    return tuple((nm, sum(share * value_at(curve, nm) for share, curve in pairs)) for nm in grid)


def value_at(curve: Sequence[tuple[float, float]], wavelength_nm: float) -> float:
    """A curve between its points, its ends held."""
    place = bisect_left([nm for nm, _ in curve], wavelength_nm)
    if place == 0 or place == len(curve):
        return curve[min(place, len(curve) - 1)][1]
    (left, low), (right, high) = curve[place - 1], curve[place]
    return low + (high - low) * (wavelength_nm - left) / (right - left)


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
        check_curve("quantum_efficiency", self.quantum_efficiency)
        shortest, longest = self.quantum_efficiency[0][0], self.quantum_efficiency[-1][0]
        if not 100.0 <= shortest <= longest <= 3000.0:
            accepted = "wavelengths from 100 to 3000 nm"
            raise KeyedValueError("quantum_efficiency", [shortest, longest], accepted)
        if self.width_px * self.height_px > MOST_PIXELS:
            accepted = f"at most {MOST_PIXELS // self.width_px} rows of {self.width_px} pixels"
            raise KeyedValueError("height_px", self.height_px, accepted)
        return self

    def efficiency_between(self, low_nm: float, high_nm: float) -> float:
        """Highest quantum efficiency between two wavelengths; ends of the curve are held."""
        inside = [share for nm, share in self.quantum_efficiency if low_nm <= nm <= high_nm]
        ends = (value_at(self.quantum_efficiency, nm) for nm in (low_nm, high_nm))
        return max(*ends, *inside)

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
