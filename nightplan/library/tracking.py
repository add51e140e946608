"""Targets over the sky: tables of altitude, airmass, moon distance; meridian transits."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

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
from nightplan.library.outputs import table_of, time_of

if TYPE_CHECKING:
    from astropy.table import QTable
    from astropy.time import Time
    from astropy.units import Quantity

    from nightplan.library.inputs import AnyEvening, AnyPlace, AnyTarget


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
    from astropy import units as u

    from nightplan.planning.tonight.visibility import sky_tracks, time_grid

    found = targets_of(where, listed(targets))
    if times is None:
        night = night_of(where, evening)
        utc_mjd = time_grid(night, value_in("step", step, u.min))
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
        return np.broadcast_to(values, shape).ravel() * u.deg

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
