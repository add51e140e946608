"""Targets, the catalogue, and where targets stand in the sky, in astropy objects."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from nightplan.errors import InputError
from nightplan.library.inputs import (
    listed,
    night_of,
    place_of,
    targets_of,
    utc_mjd_of,
    value_in,
)
from nightplan.library.outputs import quantity, table_of, time_of
from nightplan.model.config import Config
from nightplan.model.target import Target

if TYPE_CHECKING:
    from astropy.coordinates import SkyCoord
    from astropy.table import QTable
    from astropy.time import Time
    from astropy.units import Quantity

    from nightplan.library.inputs import AnyEvening, AnyPlace, AnyTarget


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

    for key, value in (("major_arcmin", major), ("minor_arcmin", minor)):
        if value is not None:
            fields[key] = value_in(key.removesuffix("_arcmin"), value, "arcmin")
    if angle is not None:
        fields["angle_deg"] = value_in("angle", angle, "deg")
    if surface_brightness is not None:
        fields["surface_brightness_mag_arcsec2"] = value_in(
            "surface_brightness", surface_brightness, "mag / arcsec2"
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


def tracks(
    where: AnyPlace,
    targets: AnyTarget | Iterable[AnyTarget],
    times: Time | None = None,
    *,
    evening: AnyEvening = None,
    step: Quantity | str = "5 min",
) -> QTable:
    """Where targets stand, one row per target and time.

    Parameters
    ----------
    where : Config, Site or astroplan.Observer
    targets : name, SkyCoord, FixedTarget, Target, or several of them
    times : Time, optional
        Within a day. By default the window of `evening`, every `step`.
    evening, step
        As of `night`; Quantity of time.

    Returns
    -------
    QTable
        `target`, `time`, and as Quantities `altitude` (topocentric, airless), `azimuth`,
        `hour_angle`, `parallactic_angle` (from ICRS north to the zenith, through east),
        `moon_separation`, `moon_altitude`, `sun_altitude` (deg); `airmass` (Kasten & Young 1989,
        of the refracted altitude; inf below the horizon). Empty for a night without a window.

    Raises
    ------
    nightplan.errors.InputError
        The times span more than a day.
    nightplan.errors.TargetError
        A name is unknown or ambiguous.
    """

    from nightplan.planning.tonight.visibility import sky_tracks, time_grid

    found = targets_of(where, listed(targets))
    if times is None:
        night = night_of(where, evening)
        utc_mjd = time_grid(night, value_in("step", step, "min"))
    else:
        utc_mjd = np.atleast_1d(utc_mjd_of(times)).ravel()
    if utc_mjd.size and np.ptp(utc_mjd) > 1.0:
        raise InputError("library", "times", f"a span of {np.ptp(utc_mjd):.2f} d", "up to one day")
    ra, dec = [target.ra_deg for target in found], [target.dec_deg for target in found]
    if utc_mjd.size == 0:
        # The kinds of the columns come from one row that is then left out.
        return tracks(where, targets, night_of(where, evening).midnight_time)[:0]
    sky = sky_tracks(place_of(where), ra, dec, utc_mjd)
    shape = sky.altitude_deg.shape

    def column(values: np.ndarray) -> Quantity:
        return quantity(np.broadcast_to(values, shape).ravel(), "deg")

    return table_of(
        {
            "target": np.repeat([target.name for target in found], shape[1]),
            "time": time_of(np.tile(sky.utc_mjd, shape[0])),
            "altitude": column(sky.altitude_deg),
            "azimuth": column(sky.azimuth_deg),
            "hour_angle": column(sky.hour_angle_deg),
            "airmass": sky.airmass.ravel(),
            "parallactic_angle": column(sky.parallactic_angle_deg),
            "moon_separation": column(sky.moon_separation_deg),
            "moon_altitude": column(sky.moon_altitude_deg),
            "sun_altitude": column(sky.sun_altitude_deg),
        },
        {"site": place_of(where).name},
    )


def transit(where: AnyPlace, targets: AnyTarget | Iterable[AnyTarget], near: Time) -> Time:
    """Upper meridian transit nearest a time: one Time, or one of shape (target,) for several.

    Parameters
    ----------
    where : Config, Site or astroplan.Observer
    targets : name, SkyCoord, FixedTarget, Target, or several of them
    near : Time
        One time.

    Raises
    ------
    nightplan.errors.TargetError
        A name is unknown or ambiguous.
    """
    from nightplan.planning.tonight.visibility import meridian_transit_utc_mjd

    wanted = listed(targets)
    found = targets_of(where, wanted)
    moments = meridian_transit_utc_mjd(
        place_of(where),
        [target.ra_deg for target in found],
        [target.dec_deg for target in found],
        float(utc_mjd_of(near)),
    )
    one = bool(wanted) and wanted[0] is targets
    return time_of(float(moments[0]) if one else moments)
