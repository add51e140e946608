"""The place that the rig is driven to: the air and sky over it, and its horizon."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Annotated, Any, Literal
from zoneinfo import ZoneInfo

import numpy as np
from pydantic import Field, field_validator, model_validator

from nightplan.errors import FileError, InputError
from nightplan.model.section import KeyedValueError, Pairs, Section

if TYPE_CHECKING:
    from astroplan import Observer
    from astropy.coordinates import EarthLocation

LampLight = Literal["natural", "led", "sodium", "mixed"]


class Site(Section):
    """Site of the night; longitudes count positive to the east. `drive_min` is the way there, in
    minutes, and the way back again."""

    name: Annotated[str, Field(min_length=1)]
    latitude_deg: Annotated[float, Field(ge=-90.0, le=90.0)]
    longitude_deg: Annotated[float, Field(ge=-180.0, le=180.0)]
    elevation_m: Annotated[float, Field(ge=-430.0, le=6500.0)]
    timezone: str
    sky_mag_arcsec2: Annotated[float, Field(ge=14.0, le=22.5)] | None = None
    bortle_class: Annotated[int, Field(ge=1, le=9)] | None = None
    lamp_light: LampLight = "mixed"
    extinction_v_mag_airmass: Annotated[float, Field(ge=0.05, le=1.5)] | None = None
    seeing_arcsec: Annotated[float, Field(ge=0.3, le=10.0)] = 2.5
    drive_min: Annotated[float, Field(ge=0.0, le=1440.0)] = 0.0
    temperature_dusk_c: Annotated[float, Field(ge=-60.0, le=50.0)] = 15.0
    temperature_dawn_c: Annotated[float, Field(ge=-60.0, le=50.0)] = 9.0

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except Exception as error:  # zoneinfo raises several kinds for malformed keys
            raise ValueError("a time zone of the IANA database, such as Europe/Lisbon") from error
        return value

    @model_validator(mode="after")
    def _sky_is_given(self) -> Site:
        if self.sky_mag_arcsec2 is None and self.bortle_class is None:
            raise KeyedValueError(
                "sky_mag_arcsec2",
                None,
                "a number from 14 to 22.5, or bortle_class from 1 to 9 in its place",
            )
        return self

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.timezone)

    @property
    def location(self) -> EarthLocation:
        """The site as an astropy `EarthLocation` on the WGS 84 ellipsoid."""
        from astropy.coordinates import EarthLocation

        return EarthLocation.from_geodetic(
            lon=self.longitude_deg, lat=self.latitude_deg, height=self.elevation_m
        )

    @property
    def observer(self) -> Observer:
        """A fresh astroplan `Observer` for this site (its caches must not be shared)."""
        from astroplan import Observer

        return Observer(location=self.location, name=self.name, timezone=self.timezone)

    @classmethod
    def from_observer(
        cls, observer: Observer, sky_mag_arcsec2: float, lamp_light: LampLight = "mixed"
    ) -> Site:
        """Make a site from an astroplan `Observer` and the zenith sky, V mag/arcsec²."""
        place = observer.location
        return cls(
            name=observer.name or "site",
            latitude_deg=float(place.lat.deg),
            longitude_deg=float(place.lon.wrap_at("180d").deg),
            elevation_m=float(place.height.to_value("m")),
            timezone=str(observer.timezone),
            sky_mag_arcsec2=sky_mag_arcsec2,
            lamp_light=lamp_light,
        )


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

    Raises FileError (a line is not two numbers) and InputError (a number is outside its range).
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
