"""Targets and the catalogue, in astropy objects."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from nightplan.library.inputs import targets_of, value_in
from nightplan.model.config import Config
from nightplan.model.target import Target

if TYPE_CHECKING:
    from astropy.coordinates import SkyCoord
    from astropy.table import QTable
    from astropy.units import Quantity

    from nightplan.library.inputs import AnyTarget


def target(what: AnyTarget, config: Config | None = None) -> Target:
    """One target: by name, or from a SkyCoord or astroplan FixedTarget.

    Parameters
    ----------
    what : str, SkyCoord, FixedTarget or Target
        A name is looked up forgivingly ("m 31", "andromeda galaxy"); of one that fits several
        ("owl") the famous one is taken, and a `nightplan.errors.NameWarning` lists the others. A
        FixedTarget whose name the catalogue has within an arcminute is the catalogue's target;
        elsewhere it, like a SkyCoord, is a place of its own without a size.
    config : Config, optional
        Adds the configuration's own targets.

    Returns
    -------
    Target
        With `.coord` (SkyCoord) and `.fixed_target` (FixedTarget).

    Raises
    ------
    nightplan.errors.TargetError
        The name is unknown or ambiguous; the text holds suggestions.
    """
    return targets_of(config, [what])[0]


def make_target(
    name: str,
    coord: SkyCoord,
    *,
    major: Quantity | str | None = None,
    minor: Quantity | str | None = None,
    angle: Quantity | str | None = None,
    surface_brightness: Quantity | str | None = None,
    **fields: Any,
) -> Target:
    """A target of one's own.

    Parameters
    ----------
    name : str
    coord : SkyCoord
        Centre, any frame.
    major, minor : Quantity, optional
        Full axes of its ellipse.
    angle : Quantity, optional
        Position angle of the major axis, north through east.
    surface_brightness : Quantity, optional
        Mean, V: mag/arcsec².
    **fields
        Others as of `nightplan.model.target.Target`, such as `kind` or `magnitude_v`.

    Raises
    ------
    nightplan.errors.InputError
        A value is outside its range.
    """
    from astropy import units as u

    for key, value in (("major_arcmin", major), ("minor_arcmin", minor)):
        if value is not None:
            fields[key] = value_in(key.removesuffix("_arcmin"), value, u.arcmin)
    if angle is not None:
        fields["angle_deg"] = value_in("angle", angle, u.deg)
    if surface_brightness is not None:
        fields["surface_brightness_mag_arcsec2"] = value_in(
            "surface_brightness", surface_brightness, u.mag / u.arcsec**2
        )
        fields["surface_brightness_band"] = "V"
        fields["surface_brightness_source"] = "user"
    return Target.from_skycoord(name, coord, origin="user", **fields)


def catalogue(config: Config | None = None) -> QTable:
    """The whole catalogue: `coord` (SkyCoord, ICRS), axes, magnitudes and sources with units.

    `config` adds the configuration's own targets. Numbers that are not known are NaN.
    """
    from astropy.table import QTable

    from nightplan.model.catalog_reading import load_catalog
    from nightplan.model.own_targets import catalog_for

    rows = load_catalog() if config is None else catalog_for(config)
    table = QTable(rows.to_table())
    table.add_column(rows.coords, name="coord", index=1)
    table.remove_columns(["ra_deg", "dec_deg"])
    for name in ("major_arcmin", "minor_arcmin", "angle_deg", "radial_velocity_km_s"):
        table.rename_column(name, name.rsplit("_", 1)[0].removesuffix("_km"))
    table.rename_column("surface_brightness_mag_arcsec2", "surface_brightness")
    return table
