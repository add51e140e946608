"""A sensor whose pixels lie under a matrix of red, green and blue filters."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import Field, model_validator

from nightplan.model.section import KeyedValueError, Listed, Pairs, Section

COLOURS = ("red", "green", "blue")
BAYER_SHARES = (0.25, 0.5, 0.25)
"""Two of four pixels of a Bayer matrix are green."""


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
            curve = getattr(self, name)
            wavelengths = [nm for nm, _ in curve]
            if sorted(set(wavelengths)) != wavelengths or any(not 0 <= y <= 1 for _, y in curve):
                accepted = "pairs of rising wavelength in nm and a share from 0 to 1"
                raise KeyedValueError(name, [list(point) for point in curve], accepted)
        return self


def mean_curve(colour: Any) -> list[list[float]] | None:
    """Efficiency of the mean pixel of a colour table as read, or None where it is not sound."""
    try:
        curves = [sorted((float(nm), float(y)) for nm, y in colour[name]) for name in COLOURS]
        shares = [float(share) for share in colour.get("shares", BAYER_SHARES)]
        grid = sorted({nm for curve in curves for nm, _ in curve})
        pairs = list(zip(shares, curves, strict=True))
        return [[nm, sum(share * value_at(curve, nm) for share, curve in pairs)] for nm in grid]
    except (AttributeError, IndexError, KeyError, TypeError, ValueError, ZeroDivisionError):
        return None


def value_at(curve: Sequence[tuple[float, float]], wavelength_nm: float) -> float:
    """A curve between its points, its ends held."""
    place = bisect_left([nm for nm, _ in curve], wavelength_nm)
    if place == 0 or place == len(curve):
        return curve[min(place, len(curve) - 1)][1]
    (left, low), (right, high) = curve[place - 1], curve[place]
    return low + (high - low) * (wavelength_nm - left) / (right - left)
