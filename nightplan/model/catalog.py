"""The catalogue as columns: one numpy array a quantity, one row a target."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nightplan.arrays import Floats
from nightplan.errors import InputError
from nightplan.light.doppler import doppler_factor
from nightplan.model.name_index import LIST_SEPARATOR, NameIndex
from nightplan.model.target import KINDS, Target

if TYPE_CHECKING:
    from astropy.coordinates import SkyCoord
    from astropy.table import Table

Mask = NDArray[np.bool_]

FLOAT_COLUMNS = (
    "ra_deg", "dec_deg", "major_arcmin", "minor_arcmin", "angle_deg", "magnitude_v",
    "magnitude_b", "surface_brightness_mag_arcsec2", "radial_velocity_km_s",
)  # fmt: skip
LIST_COLUMNS = ("identifiers", "common_names", "lines")


@dataclass(frozen=True)
class Catalog:
    """Columns of a catalogue of targets, all of one length; see `Target` for their meaning.

    Numbers are float64 with NaN where there is none (an unknown angle is NaN, never 0); texts
    are string or object arrays with ``""``; `identifiers`, `common_names` and `lines` hold
    their items joined by ``";"``; `outline` holds tuples of (east_arcmin, north_arcmin) or None.
    """

    name: NDArray[Any]
    identifiers: NDArray[Any]
    common_names: NDArray[Any]
    ra_deg: Floats
    dec_deg: Floats
    major_arcmin: Floats
    minor_arcmin: Floats
    angle_deg: Floats
    kind: NDArray[np.str_]
    lines: NDArray[Any]
    magnitude_v: Floats
    magnitude_b: Floats
    surface_brightness_mag_arcsec2: Floats
    surface_brightness_band: NDArray[np.str_]
    surface_brightness_source: NDArray[Any]
    radial_velocity_km_s: Floats
    constellation: NDArray[np.str_]
    size_source: NDArray[Any]
    position_source: NDArray[Any]
    angle_source: NDArray[Any]
    kind_source: NDArray[Any]
    lines_source: NDArray[Any]
    magnitude_source: NDArray[Any]
    grade: NDArray[np.str_]
    outline: NDArray[Any]
    outline_source: NDArray[Any]
    note: NDArray[Any]
    origin: NDArray[Any]

    def __len__(self) -> int:
        return len(self.ra_deg)

    def target(self, row: int) -> Target:
        """The target in one row."""
        values: dict[str, Any] = {}
        for column in fields(self):
            value = getattr(self, column.name)[row]
            if column.name in FLOAT_COLUMNS:
                value = None if math.isnan(value) else float(value)
            elif column.name in LIST_COLUMNS:
                value = tuple(value.split(LIST_SEPARATOR)) if value else ()
            elif column.name != "outline":
                value = str(value)
            values[column.name] = value
        return Target(**values)

    def targets(self, rows: Iterable[int]) -> list[Target]:
        """The targets in several rows."""
        return [self.target(int(row)) for row in rows]

    def subset(self, rows: ArrayLike) -> Catalog:
        """The rows of a boolean mask, or of an array of row numbers in its order."""
        chosen = np.asarray(rows)
        if chosen.size == 0:
            chosen = chosen.astype(np.intp)
        return Catalog(
            **{column.name: getattr(self, column.name)[chosen] for column in fields(self)}
        )

    @cached_property
    def magnitude(self) -> Floats:
        """Magnitude to use: V, or B where V is unknown or faulty (V > B + 0.3); else NaN."""
        with np.errstate(invalid="ignore"):
            use_b = np.isnan(self.magnitude_v) | (self.magnitude_v > self.magnitude_b + 0.3)
        return np.where(use_b, self.magnitude_b, self.magnitude_v)

    @cached_property
    def minor_or_round_arcmin(self) -> Floats:
        """Minor axis, where a lone major axis is read as the diameter of a round target."""
        return np.where(np.isnan(self.minor_arcmin), self.major_arcmin, self.minor_arcmin)

    @cached_property
    def redshift(self) -> Floats:
        """z of each row, by the relativistic Doppler formula; NaN where no velocity is known."""
        return doppler_factor(self.radial_velocity_km_s) - 1.0

    @property
    def coords(self) -> SkyCoord:
        """ICRS positions of all rows as one astropy SkyCoord."""
        from astropy import units as u
        from astropy.coordinates import SkyCoord

        return SkyCoord(ra=self.ra_deg * u.deg, dec=self.dec_deg * u.deg, frame="icrs")

    def to_table(self) -> Table:
        """The columns as an astropy Table with units; `outline` stays out."""
        from astropy import units as u
        from astropy.table import Table

        unit_of = {
            "deg": u.deg,
            "arcmin": u.arcmin,
            "arcsec2": u.mag / u.arcsec**2,
            "s": u.km / u.s,
        }
        table = Table()
        for column in fields(self):
            if column.name == "outline":
                continue
            values = getattr(self, column.name)
            if column.name in FLOAT_COLUMNS:
                table[column.name] = values
                unit = unit_of.get(column.name.rsplit("_", 1)[-1])
                table[column.name].unit = u.mag if column.name.startswith("magnitude") else unit
            else:
                table[column.name] = values.astype(str)
        return table

    def mask(
        self,
        *,
        kinds: Sequence[str] = (),
        constellations: Sequence[str] = (),
        smallest_arcmin: float | None = None,
        largest_arcmin: float | None = None,
        brightest_mag: float | None = None,
        faintest_mag: float | None = None,
        keep_unknown_magnitude: bool = True,
        names: Sequence[str] = (),
    ) -> Mask:
        """Rows that pass every filter given; an empty or None filter lets all pass.

        The size is the major axis, and a target without size passes no size limit; the
        magnitude is `magnitude`, and a target without one passes unless
        `keep_unknown_magnitude` is false (most nebulae have none).

        Raises
        ------
        InputError
            A kind or a constellation does not exist.
        TargetError
            A name is unknown or fits several targets.
        """
        keep = np.ones(len(self), dtype=bool)
        if kinds:
            keep &= np.isin(self.kind, [_kind(text) for text in kinds])
        if constellations:
            keep &= np.isin(self.constellation, [_constellation(text) for text in constellations])
        with np.errstate(invalid="ignore"):
            if smallest_arcmin is not None:
                keep &= self.major_arcmin >= smallest_arcmin
            if largest_arcmin is not None:
                keep &= self.major_arcmin <= largest_arcmin
            if brightest_mag is not None or faintest_mag is not None:
                unknown = np.isnan(self.magnitude)
                within = ~unknown
                if brightest_mag is not None:
                    within &= self.magnitude >= brightest_mag
                if faintest_mag is not None:
                    within &= self.magnitude <= faintest_mag
                keep &= within | unknown if keep_unknown_magnitude else within
        if names:
            listed = np.zeros(len(self), dtype=bool)
            listed[[self.find(name) for name in names]] = True
            keep &= listed
        return keep

    @cached_property
    def names(self) -> NameIndex:
        """Names of all rows, for look-up; made when first asked."""
        return NameIndex(self)

    def find(self, text: str, *, whole_name: bool = False) -> int:
        """Row of the target that a name means; see `NameIndex.meaning` for what is accepted.

        Raises
        ------
        TargetError
            The name is unknown or fits several targets; the error holds what lies near.
        """
        return self.names.meaning(text, whole_name=whole_name).row


CONSTELLATIONS = (
    "And", "Ant", "Aps", "Aql", "Aqr", "Ara", "Ari", "Aur", "Boo", "CMa", "CMi",
    "CVn", "Cae", "Cam", "Cap", "Car", "Cas", "Cen", "Cep", "Cet", "Cha", "Cir",
    "Cnc", "Col", "Com", "CrA", "CrB", "Crt", "Cru", "Crv", "Cyg", "Del", "Dor",
    "Dra", "Equ", "Eri", "For", "Gem", "Gru", "Her", "Hor", "Hya", "Hyi", "Ind",
    "LMi", "Lac", "Leo", "Lep", "Lib", "Lup", "Lyn", "Lyr", "Men", "Mic", "Mon",
    "Mus", "Nor", "Oct", "Oph", "Ori", "Pav", "Peg", "Per", "Phe", "Pic", "PsA",
    "Psc", "Pup", "Pyx", "Ret", "Scl", "Sco", "Sct", "Ser", "Sex", "Sge", "Sgr",
    "Tau", "Tel", "TrA", "Tri", "Tuc", "UMa", "UMi", "Vel", "Vir", "Vol", "Vul",
)  # fmt: skip


def _kind(text: str) -> str:
    """A kind in the catalogue's spelling; blanks and capitals are as good."""
    kind = "_".join(text.casefold().replace("-", " ").split())
    if kind in KINDS:
        return kind
    stem = kind.removesuffix("s")
    near = [one for one in KINDS if stem and stem in one]
    accepted = "one of " + ", ".join(near or KINDS) + (", which match" if near else "")
    raise InputError("filter", "kind", text, accepted)


def _constellation(text: str) -> str:
    """IAU abbreviation in its own spelling."""
    for abbreviation in CONSTELLATIONS:
        if abbreviation.casefold() == text.strip().casefold():
            return abbreviation
    raise InputError(
        "filter", "constellation", text, "an IAU three-letter abbreviation such as Cyg"
    )
