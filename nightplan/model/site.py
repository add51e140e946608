"""The place that the rig is driven to, and the air and sky over it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import Field, field_validator, model_validator

from nightplan.model.section import KeyedValueError, Section

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
