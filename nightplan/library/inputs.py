"""From what a caller holds (astropy, astroplan, names) to what the planner takes."""

from __future__ import annotations

import datetime
import sys
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING, Any, TypeAlias

from nightplan.dates import EARLIEST, LATEST
from nightplan.errors import InputError, NameWarning
from nightplan.library.gate import KINDS, MOST_TARGETS
from nightplan.model.config import Config
from nightplan.model.own_targets import own_targets
from nightplan.model.site import Site
from nightplan.model.target import Target
from nightplan.planning.tonight.earth_orientation import configure_astropy
from nightplan.planning.tonight.limits import planned_night
from nightplan.planning.tonight.night import Night, Place, compute_night, default_evening
from nightplan.sky.angles import separation_deg

if TYPE_CHECKING:
    from astroplan import FixedTarget, Observer
    from astropy.coordinates import SkyCoord
    from astropy.time import Time
    from astropy.units import Quantity

    from nightplan.model.catalog import Catalog

    AnyTarget: TypeAlias = str | SkyCoord | FixedTarget | Target
    AnyPlace: TypeAlias = Config | Site | Observer
    AnyEvening: TypeAlias = datetime.date | str | Time | None

_OWN = "nightplan"

SAME_PLACE_ARCMIN = 1.0
"""A FixedTarget this near the catalogue's place of its name is the catalogue's target."""


@dataclass(frozen=True)
class ObserverPlace:
    """An astroplan Observer as the place of a night; longitudes count positive to the east."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str


def place_of(where: AnyPlace) -> Place:
    """Site of a configuration, a site as it is, or an astroplan Observer's place."""
    if isinstance(where, Config):
        return where.site
    if isinstance(where, Site):
        return where
    from astroplan import Observer

    if isinstance(where, Observer):
        location = where.location
        return ObserverPlace(
            name=where.name or "observer",
            latitude_deg=float(location.lat.deg),
            longitude_deg=float(location.lon.wrap_at("180d").deg),
            elevation_m=float(location.height.to_value("m")),
            timezone=str(where.timezone),
        )
    raise InputError("library", "where", where, "a configuration, a site or an astroplan Observer")


def evening_of(place: Place, evening: AnyEvening) -> datetime.date:
    """The evening's civil date at a place.

    A `Time` means the night whose noon-to-noon holds it, and None the night that holds now.
    """
    if evening is None:
        return default_evening(place, datetime.datetime.now(datetime.UTC))
    if isinstance(evening, datetime.datetime):
        raise InputError("library", "evening", evening, "a date, or an astropy Time for a moment")
    found: datetime.date | None
    if isinstance(evening, datetime.date):
        found = evening
    elif isinstance(evening, str):
        try:
            found = datetime.date.fromisoformat(evening)
        except ValueError:
            found = None
    else:
        moment = evening.utc.to_datetime(timezone=datetime.UTC)
        found = default_evening(place, moment)
    if found is None or not EARLIEST <= found <= LATEST:
        raise InputError("library", "evening", evening, f"YYYY-MM-DD from {EARLIEST} to {LATEST}")
    return found


def night_of(where: AnyPlace, evening: AnyEvening) -> Night:
    """The night of an evening at a place."""
    if not (evening is None or isinstance(evening, (str, datetime.date))):
        configure_astropy()  # before a Time is converted; astropy takes long to import
    place = place_of(where)
    date = evening_of(place, evening)
    return planned_night(where, date) if isinstance(where, Config) else compute_night(place, date)


def utc_mjd_of(time: Time) -> Any:
    """UTC MJD of a Time of any scale: a float, or an array of its shape."""
    configure_astropy()
    return time.utc.mjd


def value_in(key: str, value: Quantity | str, unit: str) -> float:
    """The number of one Quantity (or Angle, or its text) in a unit.

    Raises
    ------
    InputError
        `value` has no unit, another kind of unit, or more than one number.
    """
    from astropy.units import Quantity, UnitsError

    accepted = f"one astropy Quantity in {unit}, or in a unit that turns into it"
    if not isinstance(value, (Quantity, str)):
        raise InputError("library", key, value, accepted)
    try:
        number = float(Quantity(value).to_value(unit))
    except (UnitsError, TypeError, ValueError) as error:
        raise InputError("library", key, str(value), accepted) from error
    low, high = _LIMITS.get(key, (-1e9, 1e9))
    if not low <= number <= high:
        raise InputError("library", key, str(value), f"{low:g} to {high:g} {unit}")
    return number


_LIMITS = {
    "step": (0.1, 1440.0),
    "rotator": (-1440.0, 1440.0),
    "second": (-1440.0, 1440.0),
    "larger": (0.0, 10_800.0),
    "smaller": (0.0, 10_800.0),
    "brighter": (-30.0, 40.0),
    "behind": (0.0, 1440.0),
}
"""Limits of Quantities by argument, in the unit that it is asked in."""


def catalog_and_rows(
    where: AnyPlace | None, targets: Iterable[AnyTarget]
) -> tuple[Catalog, list[int]]:
    """A catalogue that holds all targets given, and the row of each.

    A name is looked up, forgivingly; one that fits several targets is taken for the one that it is
    known for, and a `NameWarning` says so and lists the others. A `SkyCoord` is a target of its
    own without a size, named by its place; so is a `FixedTarget`, unless the catalogue has its
    name within an arcminute.

    Raises
    ------
    TargetError
        A name is unknown or ambiguous.
    InputError
        Something else is given, or a `SkyCoord` of more than one position.
    """
    from nightplan.errors import TargetError
    from nightplan.model.catalog_reading import load_catalog

    configured = own_targets(where) if isinstance(where, Config) else ()
    catalog = load_catalog(configured)
    names: list[str] = []
    extra: dict[str, Target] = {}
    for item in targets:
        if isinstance(item, str):
            names.append(item)
            continue
        target = _own(item)
        names.append(target.name)
        try:
            row = catalog.find(target.name)
        except TargetError:
            row = None
        if row is None or not _is_same(catalog.target(row), target, item):
            extra[target.name] = target
    if extra:
        kept = [target for target in configured if target.name not in extra]
        catalog = load_catalog((*kept, *extra.values()))
    return catalog, [_row(catalog, name) for name in names]


def _row(catalog: Catalog, name: str) -> int:
    found = catalog.names.meaning(name)
    if found.others:
        # said at the caller's own line, outside of this package
        here = sys._getframe(1)
        level = 2
        while here.f_back is not None and here.f_globals.get("__package__", "").startswith(_OWN):
            here, level = here.f_back, level + 1
        warnings.warn(catalog.names.taken_as(name, found), NameWarning, stacklevel=level)
    return found.row


def targets_of(where: AnyPlace | None, targets: Iterable[AnyTarget]) -> list[Target]:
    """The targets given, as the planner's; raises as `catalog_and_rows`."""
    catalog, rows = catalog_and_rows(where, targets)
    return catalog.targets(rows)


def listed(targets: AnyTarget | Iterable[AnyTarget]) -> list[AnyTarget]:
    """One target or several, as a list; a SkyCoord of several positions is several."""
    if isinstance(targets, str):
        return [targets]
    if isinstance(targets, (list, tuple)) and len(targets) <= MOST_TARGETS:
        names = [one for one in targets if isinstance(one, str)]
        if len(names) == len(targets):
            return list(names)  # they need no astroplan, which takes long to import
    from astroplan import FixedTarget
    from astropy.coordinates import SkyCoord

    if isinstance(targets, SkyCoord):
        return [targets] if targets.isscalar else list(targets.ravel())
    if isinstance(targets, (str, FixedTarget, Target)):
        return [targets]
    several = list(islice(targets, MOST_TARGETS + 1))
    if len(several) > MOST_TARGETS or not all(map(KINDS["AnyTarget"].holds, several)):
        accepted = f"at most {MOST_TARGETS}, each {KINDS['AnyTarget'].accepted}"
        raise InputError("library", "targets", several, accepted)
    return several


def place_name(coord: SkyCoord) -> str:
    """Name of a place by its ICRS coordinates, cut not rounded: "J205917+443144" (IAU style)."""
    icrs = coord.icrs
    # A hair is added against 59.9999 s, which binary fractions make of whole seconds.
    seconds = int(float(icrs.ra.hour) % 24.0 * 3600.0 + 1e-6)
    arcsec = int(abs(float(icrs.dec.deg)) * 3600.0 + 1e-6)
    hours, minutes = divmod(seconds // 60, 60)
    degrees, arcmin = divmod(arcsec // 60, 60)
    sign = "-" if icrs.dec.deg < 0.0 else "+"
    right = f"{hours:02d}{minutes:02d}{seconds % 60:02d}"
    return f"J{right}{sign}{degrees:02d}{arcmin:02d}{arcsec % 60:02d}"


def _own(item: SkyCoord | FixedTarget | Target) -> Target:
    from astroplan import FixedTarget
    from astropy.coordinates import SkyCoord

    if isinstance(item, Target):
        return item
    if isinstance(item, FixedTarget):
        name = item.name or place_name(item.coord)
        return Target.from_skycoord(name, item.coord, origin="user")
    if isinstance(item, SkyCoord):
        if not item.isscalar:
            raise InputError("library", "target", f"{item.size} positions", "one position")
        return Target.from_skycoord(place_name(item), item, origin="user")
    raise InputError("library", "target", item, "a name, SkyCoord, FixedTarget or Target")


def _is_same(known: Target, given: Target, item: object) -> bool:
    if isinstance(item, Target):
        return known == given
    apart = separation_deg(known.ra_deg, known.dec_deg, given.ra_deg, given.dec_deg)
    return 60.0 * float(apart) <= SAME_PLACE_ARCMIN
