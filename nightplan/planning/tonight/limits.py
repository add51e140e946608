"""Hard limits of a night per class of filter: darkness, altitude, skyline, moon distance."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Bools, Floats
from nightplan.model.filter_roles import ROLES, Role
from nightplan.planning.tonight.constraints import constrained, tracks_of
from nightplan.planning.tonight.mount_limits import mount_margin_deg
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonight.visibility import limit_margin_deg

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.preferences import DarkClass
    from nightplan.planning.tonight.night import Night
    from nightplan.planning.tonight.visibility import SkyTracks


SUN_LIMIT_DEG = {"astronomical": -18.0, "nautical": -12.0}
# A window's own edge is where the sun stands at the limit; rounding must not close it.
_EDGE_DEG = 1e-4


def moon_distance_limit_deg(config: Config, role: Role, name: str | None = None) -> float:
    """Least distance from a full moon for a filter, by default the first of its role, deg."""
    filters = config.filter
    if name is None:
        name = next((one for one in filters if filters[one].role == role), None)
    own = None if name is None else filters[name].moon_distance_deg
    if own is not None:
        return own
    return float(getattr(config.preferences.moon_distance, ROLES[role].moon))


def dark_class(config: Config, role: Role) -> DarkClass:
    """How dark it has to be for a filter of a role."""
    wish = config.preferences
    return wish.dark_narrowband if ROLES[role].is_narrow else wish.dark_broadband


def planned_night(config: Config, evening: datetime.date) -> Night:
    """The night of an evening with the window that the wheel's filters share: as wide as that
    class of them may use which asks for the least darkness.

    Raises InputError as `compute_night`.
    """
    asked = {dark_class(config, item.role) for item in config.filter.values()}
    return compute_night(
        config.site, evening, "nautical" if "nautical" in asked else "astronomical"
    )


def geometry_margin_deg(config: Config, tracks: SkyTracks) -> Floats:
    """Degrees to spare above the minimum altitude and the skyline, below the highest altitude and
    inside the mount's own limits.

    Shape (target, time); positive where the mount may point. The minimum and the highest altitude
    are airless, the skyline is compared with the refracted altitude.
    """
    margin = limit_margin_deg(
        tracks,
        config.horizon.altitude_deg,
        config.preferences.minimum_altitude_deg,
        config.mount.highest_altitude_deg,
    )
    mount = mount_margin_deg(config, tracks)
    return margin if mount is None else np.minimum(margin, mount)


def moon_margin_deg(
    config: Config, tracks: SkyTracks, role: Role, name: str | None = None
) -> Floats:
    """Degrees to spare from the moon for a filter, shape (target, time).

    The limit is that of a full moon times the illuminated fraction; with the moon's upper limb
    down there is none and the margin is 180.
    """
    limit = moon_distance_limit_deg(config, role, name) * tracks.moon_illuminated_fraction
    margin = tracks.moon_separation_deg - limit
    moon_is_down = tracks.moon_altitude_deg + tracks.moon_semidiameter_deg < -34.0 / 60.0
    return np.where(moon_is_down[None, :], 180.0, margin)


def dark_margin_deg(config: Config, night: Night, tracks: SkyTracks, role: Role) -> Floats:
    """Degrees of sun below the limit of a filter's class, shape (time,).

    A night that is nowhere astronomically dark has no darker class to ask for.
    """
    wish = "nautical" if not night.dark_hours else dark_class(config, role)
    return SUN_LIMIT_DEG[wish] - tracks.sun_altitude_deg + _EDGE_DEG


def usable_margin_deg(
    config: Config, night: Night, tracks: SkyTracks, role: Role, name: str | None = None
) -> Floats:
    """Degrees by which the nearest limit is kept, shape (target, time); negative where one breaks.

    Limits are those of a filter by its name, by default of the first of the role.
    Outside the night's window the margin is negative whatever else holds.
    """
    window = night.window_utc_mjd
    if window is None:
        return np.full(tracks.altitude_deg.shape, -180.0)
    outside = (tracks.utc_mjd < window[0] - 1e-9) | (tracks.utc_mjd > window[1] + 1e-9)
    dark = np.where(outside, -180.0, dark_margin_deg(config, night, tracks, role))
    moon = moon_margin_deg(config, tracks, role, name)
    spare = np.minimum(geometry_margin_deg(config, tracks), moon)
    return constrained(config, tracks, np.minimum(spare, dark[None, :]))


def roles_margin_deg(
    config: Config, night: Night, tracks: SkyTracks, role: NDArray[np.object_]
) -> Floats:
    """`usable_margin_deg` of many targets, each with a role of its own, (target,)."""
    margin = np.empty(tracks.altitude_deg.shape)
    for one in np.unique(role):
        mine = role == one
        margin[mine] = usable_margin_deg(config, night, tracks_of(tracks, mine), one)
    return margin


def usable_filters(config: Config, night: Night, tracks: SkyTracks) -> Bools:
    """Whether each channel's filter keeps its limits, (target, channel, time)."""
    by_role = {
        role: usable_margin_deg(config, night, tracks, role) >= 0.0
        for role in {item.role for item in config.filter.values()}
    }
    through = [config.filter[channel.filter] for channel in config.channel.values()]
    return np.stack([by_role[item.role] for item in through], axis=1)


def never_usable_reasons(
    config: Config, night: Night, tracks: SkyTracks, role: Role, name: str | None = None
) -> tuple[str, ...]:
    """For each target the limit that bars a filter all night; empty where none does."""
    if night.window_utc_mjd is None:
        return ("the night has no dark window",) * tracks.altitude_deg.shape[0]
    usable = usable_margin_deg(config, night, tracks, role, name) >= 0.0
    first, last = night.window_utc_mjd
    inside = (tracks.utc_mjd >= first - 1e-9) & (tracks.utc_mjd <= last + 1e-9)
    free = inside & (geometry_margin_deg(config, tracks) >= 0.0)
    dark = free & (dark_margin_deg(config, night, tracks, role) >= 0.0)
    far = free & (moon_margin_deg(config, tracks, role, name) >= 0.0)
    low = config.preferences.minimum_altitude_deg
    high = config.mount.highest_altitude_deg
    own = mount_margin_deg(config, tracks)
    moon_deg = float(np.max(moon_distance_limit_deg(config, role, name)
                            * tracks.moon_illuminated_fraction))  # fmt: skip
    reasons = []
    for row in range(usable.shape[0]):
        if usable[row].any():
            reasons.append("")
        elif not free[row].any():
            reasons.append(
                f"in the window it never stands above {low:g}° and the skyline, below {high:g}°"
                + ("" if own is None else " and inside the mount's own limits")
            )
        elif not dark[row].any():
            reasons.append("while it stands free it is not dark enough for that filter")
        elif not far[row].any():
            reasons.append(f"the moon is nearer than {moon_deg:.0f}° whenever it stands free")
        elif (free[row] & dark[row] & far[row]).any():
            reasons.append("a constraint given for it holds at no time that it could be shot")
        else:
            reasons.append("its altitude, the darkness and the moon never suit it together")
    return tuple(reasons)
