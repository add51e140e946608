"""The horizon as seen from the tripod: hills, trees, a wall."""

from __future__ import annotations

import csv
import io
from typing import Annotated, Any

import numpy as np
from pydantic import Field, model_validator

from nightplan.errors import FileError, InputError
from nightplan.model.section import KeyedValueError, Pairs, Section


class HorizonProfile(Section):
    """Azimuth and altitude of the skyline, straight lines between points, closed at 360°.

    The altitudes are as seen, so they are compared with refracted altitudes.
    An empty profile is a flat horizon at 0°.
    """

    profile_deg: Annotated[Pairs, Field()] = ()
    csv: str | None = None

    @model_validator(mode="after")
    def _in_range(self) -> HorizonProfile:
        for azimuth, altitude in self.profile_deg:
            if not 0.0 <= azimuth <= 360.0 or not -10.0 <= altitude <= 90.0:
                raise KeyedValueError(
                    "profile_deg",
                    [azimuth, altitude],
                    "pairs of azimuth from 0 to 360 and altitude from -10 to 90",
                )
        if self.profile_deg and self.csv:
            raise KeyedValueError("csv", self.csv, "profile_deg or csv, not both")
        return self

    def altitude_deg(self, azimuth_deg: Any) -> Any:
        """Altitude of the skyline, deg, at azimuths of any shape, deg from north through east."""
        azimuth = np.asarray(azimuth_deg, dtype=float) % 360.0
        if not self.profile_deg:
            return np.zeros_like(azimuth)
        points = sorted((a % 360.0 if a != 360.0 else 360.0, h) for a, h in self.profile_deg)
        az = np.array([point[0] for point in points])
        alt = np.array([point[1] for point in points])
        # np.interp's own period would sort 360 onto 0 and lose a step placed there.
        az = np.concatenate(([az[-1] - 360.0], az, [az[0] + 360.0]))
        alt = np.concatenate(([alt[-1]], alt, [alt[0]]))
        return np.interp(azimuth, az, alt)


def parse_horizon_csv(source: str, text: str) -> tuple[tuple[float, float], ...]:
    """Read azimuth, altitude pairs in degrees from CSV text; a header line may lead.

    Raises
    ------
    FileError
        A line is not two numbers.
    InputError
        A number is outside its range.
    """
    pairs: list[tuple[float, float]] = []
    for number, row in enumerate(csv.reader(io.StringIO(text)), start=1):
        if not row or not "".join(row).strip() or row[0].lstrip().startswith("#"):
            continue
        try:
            azimuth, altitude = (float(cell) for cell in row)
        except ValueError as error:
            if not pairs and number == 1:
                continue
            raise FileError(
                source,
                f"line {number}: {','.join(row)!r}: accepted is azimuth, altitude in degrees",
            ) from error
        if not 0.0 <= azimuth <= 360.0:
            raise InputError(source, f"line {number} azimuth", azimuth, "a number from 0 to 360")
        if not -10.0 <= altitude <= 90.0:
            raise InputError(source, f"line {number} altitude", altitude, "a number from -10 to 90")
        pairs.append((azimuth, altitude))
    if not pairs:
        raise FileError(source, "holds no azimuth, altitude pairs")
    return tuple(pairs)
