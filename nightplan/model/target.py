"""One deep-sky target: where it lies, how large it is, what it shines by."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from nightplan.errors import InputError
from nightplan.light.doppler import SPEED_OF_LIGHT_KM_S, doppler_factor
from nightplan.model.filter_roles import narrow_roles
from nightplan.shown import is_drawn

if TYPE_CHECKING:
    from astroplan import FixedTarget
    from astropy.coordinates import SkyCoord

KINDS = (
    "galaxy",
    "galaxy_group",
    "emission_nebula",
    "reflection_nebula",
    "dark_nebula",
    "planetary_nebula",
    "supernova_remnant",
    "open_cluster",
    "globular_cluster",
    "cluster_with_nebula",
    "star_field",
    "other",
)
LINES = narrow_roles()
GRADES = ("firm", "fair", "doubtful", "unchecked")
ORIGINS = ("openngc", "supplement", "user")

Outline = tuple[tuple[float, float], ...]

MOST_NAME = 200
NAME_WORDS = (
    f"a name of at most {MOST_NAME} characters, with a letter or a digit, without control "
    "characters and without ;"
)


def is_name(text: object) -> bool:
    """Whether a text may name a target, in any script: the look-up lives by letters and digits."""
    return (
        isinstance(text, str)
        and len(text) <= MOST_NAME
        and is_drawn(text)
        and ";" not in text  # it separates names in the catalogue's columns
        and any(sign.isalnum() for sign in text)
    )


@dataclass(frozen=True)
class Target:
    """A deep-sky target.

    Parameters
    ----------
    name : str
        Canonical display name: ``"M 31"``, ``"NGC 7000"``, ``"Sh2-129"``.
    ra_deg, dec_deg : float
        ICRS position of the centre of the target's outline, degrees; 0 <= ra_deg < 360.
    identifiers : tuple of str
        Cross-identifiers other than `name`.
    common_names : tuple of str
        English names, the most usual first.
    major_arcmin, minor_arcmin : float or None
        Full axes of the target's ellipse, arcminutes. A major axis without a minor one means
        that the source gives one diameter: treat as round (see `axes_arcmin`).
    angle_deg : float or None
        Position angle of the major axis, north through east, 0 <= angle_deg < 180. None says
        that no angle is known or that the target is round; it is never 0.
    kind : str
        One of `KINDS`.
    lines : tuple of str
        Emission lines it is known for, out of `LINES`; for plain catalogue rows they follow
        from the kind.
    magnitude_v, magnitude_b : float or None
        Total magnitudes, Johnson. `magnitude` gives the one to use.
    surface_brightness_mag_arcsec2 : float or None
        Mean surface brightness in the band `surface_brightness_band` (``"V"``, ``"B"``, or
        ``""``), mag/arcsec², with where it comes from in `surface_brightness_source`.
    radial_velocity_km_s : float or None
        Barycentric, by the relativistic Doppler formula (as SIMBAD gives it).
    constellation : str
        IAU three-letter abbreviation, or ``""``.
    size_source, position_source, angle_source, kind_source, lines_source, magnitude_source : str
        Who published each figure, with ``"remembered"`` where it was never read there; ``""``
        where there is no figure. `sources` gathers them.
    grade : str
        One of `GRADES`: ``"firm"`` read in published lists that agree, ``"fair"`` one list or a
        well-known value, ``"doubtful"`` sources disagree or nothing confirms it,
        ``"unchecked"`` a plain OpenNGC row or the user's own figures.
    outline : tuple of (east_arcmin, north_arcmin), or None
        Closed polygon in the tangent plane at the position, coarse.
    outline_source : str
        What the outline was drawn from.
    note : str
        One remark that a person planning the frame should read.
    origin : str
        One of `ORIGINS`.

    Raises
    ------
    nightplan.errors.InputError
        A field is outside its accepted range; the message names it.
    """

    name: str
    ra_deg: float
    dec_deg: float
    identifiers: tuple[str, ...] = ()
    common_names: tuple[str, ...] = ()
    major_arcmin: float | None = None
    minor_arcmin: float | None = None
    angle_deg: float | None = None
    kind: str = "other"
    lines: tuple[str, ...] = ()
    magnitude_v: float | None = None
    magnitude_b: float | None = None
    surface_brightness_mag_arcsec2: float | None = None
    surface_brightness_band: str = ""
    surface_brightness_source: str = ""
    radial_velocity_km_s: float | None = None
    constellation: str = ""
    size_source: str = ""
    position_source: str = ""
    angle_source: str = ""
    kind_source: str = ""
    lines_source: str = ""
    magnitude_source: str = ""
    grade: str = "unchecked"
    outline: Outline | None = None
    outline_source: str = ""
    note: str = ""
    origin: str = "user"

    def __post_init__(self) -> None:
        if not is_name(self.name):
            raise InputError("target", "name", self.name, NAME_WORDS)
        self._within("ra_deg", 0.0, 360.0, open_end=True)
        self._within("dec_deg", -90.0, 90.0)
        for key in ("major_arcmin", "minor_arcmin"):
            self._within(key, 0.0, 10_800.0, optional=True, open_start=True)
        if self.minor_arcmin is not None and (
            self.major_arcmin is None or self.minor_arcmin > self.major_arcmin
        ):
            self._refuse("minor_arcmin", "at most major_arcmin, which must be given too")
        self._within("angle_deg", 0.0, 180.0, optional=True, open_end=True)
        for key in ("magnitude_v", "magnitude_b"):
            self._within(key, -30.0, 30.0, optional=True)
        self._within("surface_brightness_mag_arcsec2", 0.0, 40.0, optional=True)
        self._within(
            "radial_velocity_km_s", -SPEED_OF_LIGHT_KM_S, SPEED_OF_LIGHT_KM_S, optional=True
        )
        self._among("kind", KINDS)
        self._among("surface_brightness_band", ("V", "B", ""))
        self._among("grade", GRADES)
        self._among("origin", ORIGINS)
        if not set(self.lines) <= set(LINES):
            self._refuse("lines", "any of " + ", ".join(LINES))
        if self.outline is not None and len(self.outline) < 3:
            self._refuse("outline", "at least three corners")

    def _refuse(self, key: str, accepted: str) -> None:
        raise InputError(f"target {self.name}", key, getattr(self, key), accepted)

    def _among(self, key: str, choices: Sequence[str]) -> None:
        if getattr(self, key) not in choices:
            self._refuse(key, "one of " + ", ".join(choice or "empty" for choice in choices))

    def _within(
        self,
        key: str,
        low: float,
        high: float,
        *,
        optional: bool = False,
        open_start: bool = False,
        open_end: bool = False,
    ) -> None:
        value = getattr(self, key)
        if value is None and optional:
            return
        words = f"{'above' if open_start else 'from'} {low:g} {'to below' if open_end else 'to'} "
        try:
            good = math.isfinite(value) and low <= value <= high
            good = good and not (open_start and value == low) and not (open_end and value == high)
        except TypeError:
            good = False
        if not good:
            self._refuse(key, f"{words}{high:g}" + (", or none" if optional else ""))

    @property
    def label(self) -> str:
        """Name with the most usual common name: ``"M 31 (Andromeda Galaxy)"``."""
        if self.common_names and self.common_names[0] != self.name:
            return f"{self.name} ({self.common_names[0]})"
        return self.name

    @property
    def sources(self) -> dict[str, str]:
        """Source of each figure that there is, by field.

        Fields are ``position``, ``size``, ``angle``, ``kind``, ``lines`` and ``brightness``.
        """
        named = {
            "position": self.position_source,
            "size": self.size_source,
            "angle": self.angle_source,
            "kind": self.kind_source,
            "lines": self.lines_source,
            "brightness": self.surface_brightness_source or self.magnitude_source,
        }
        return {field: source for field, source in named.items() if source}

    @property
    def axes_arcmin(self) -> tuple[float, float] | None:
        """Full axes (major, minor), arcminutes, a missing minor axis read as round; or None."""
        if self.major_arcmin is None:
            return None
        minor = self.major_arcmin if self.minor_arcmin is None else self.minor_arcmin
        return self.major_arcmin, minor

    @property
    def magnitude(self) -> float | None:
        """Total magnitude to use: V, or B where V is unknown or faulty (V > B + 0.3)."""
        v, b = self.magnitude_v, self.magnitude_b
        if v is None or (b is not None and v > b + 0.3):
            return b
        return v

    @property
    def redshift(self) -> float | None:
        """z = sqrt((1 + v/c) / (1 - v/c)) - 1, the relativistic Doppler formula."""
        if self.radial_velocity_km_s is None:
            return None
        return float(doppler_factor(self.radial_velocity_km_s)) - 1.0

    @property
    def coord(self) -> SkyCoord:
        """ICRS position as an astropy SkyCoord."""
        from astropy import units as u
        from astropy.coordinates import SkyCoord

        return SkyCoord(ra=self.ra_deg * u.deg, dec=self.dec_deg * u.deg, frame="icrs")

    @property
    def fixed_target(self) -> FixedTarget:
        """The same place and name as an astroplan FixedTarget."""
        from astroplan import FixedTarget

        return FixedTarget(coord=self.coord, name=self.name)

    @classmethod
    def from_skycoord(cls, name: str, coord: SkyCoord, **fields: Any) -> Target:
        """Target at one astropy SkyCoord, of any frame; `fields` as of the class.

        Raises InputError (`coord` is not a single position, or a field is outside its range).
        """
        if not coord.isscalar:
            raise InputError(f"target {name}", "coord", f"{coord.size} positions", "one position")
        icrs = coord.icrs
        if not (math.isfinite(icrs.ra.deg) and math.isfinite(icrs.dec.deg)):
            raise InputError(f"target {name}", "coord", str(coord), "finite coordinates")
        ra_deg = float(icrs.ra.deg) % 360.0
        fields.setdefault("position_source", "user")
        return cls(
            name=name,
            # a hair below zero rounds up to a full turn
            ra_deg=ra_deg if ra_deg < 360.0 else 0.0,
            dec_deg=float(icrs.dec.deg),
            **fields,
        )

    @classmethod
    def from_fixed_target(cls, target: FixedTarget, **fields: Any) -> Target:
        """Target at the place and under the name of an astroplan FixedTarget.

        Raises InputError (the FixedTarget has no name, or holds more than one position).
        """
        return cls.from_skycoord(target.name, target.coord, **fields)

    @classmethod
    def from_text(cls, name: str, ra: str, dec: str, **fields: Any) -> Target:
        """Target from sexagesimal or decimal text: ``("20h59m17s", "+44d31m44s")``.

        Right ascension without a unit counts in hours when it has parts ("20 59 17.1", "20:59:17")
        and in degrees when it is one number ("314.82"); declination in degrees. Raises InputError
        (a text cannot be read as an angle).
        """
        return cls(
            name=name,
            ra_deg=_angle(f"target {name}", "ra", ra, hours=True),
            dec_deg=_angle(f"target {name}", "dec", dec, hours=False),
            **fields,
        )


_PARTS = re.compile(
    r"^\s*([+\-−]?)\s*(\d+(?:\.\d*)?)\s*([hd°:]?)"
    r"(?:\s*(\d+(?:\.\d*)?)\s*[m'′:]?(?:\s*(\d+(?:\.\d*)?)\s*[s\"″]?)?)?\s*$",
    re.IGNORECASE,
)


def _angle(source: str, key: str, text: str, *, hours: bool) -> float:
    accepted = "an angle such as " + ("20h59m17.1s or 314.82" if hours else "+44d31m44s or 44.53")
    match = _PARTS.match(text)
    if match is None:
        raise InputError(source, key, text, accepted)
    sign, whole, unit, minutes, seconds = match.groups()
    sixtieths = (float(minutes or 0.0), float(seconds or 0.0))
    parted = minutes is not None
    fraction_early = (parted and "." in whole) or (seconds is not None and "." in (minutes or ""))
    if max(sixtieths) >= 60.0 or fraction_early or (not hours and unit.lower() == "h"):
        raise InputError(source, key, text, accepted)
    value = float(whole) + sixtieths[0] / 60.0 + sixtieths[1] / 3600.0
    if hours and (unit.lower() == "h" or (parted and unit.lower() not in {"d", "°"})):
        value *= 15.0
    return -value if sign in {"-", "−"} else value
