"""Targets x times: where they stand, how far from the moon, and when they can be used.

Arrays of targets by times have shape (target, time). Limits are expressed as a margin in degrees
that is positive where a target is usable; crossings between samples are read off that margin, so
a ten-minute grid gives hours good to seconds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Floats
from nightplan.planning.tonight.earth_orientation import configure_astropy, lookup
from nightplan.planning.tonight.night import Night, Place
from nightplan.sky.airmass import kasten_young
from nightplan.sky.angles import unit_vector
from nightplan.sky.apparent import (
    TURNS_PER_UT1_DAY,
    SiteFrame,
    apparent_place,
    site_frame,
)
from nightplan.sky.horizontal import horizontal, hour_angle_deg
from nightplan.sky.refraction import pressure_hpa, seen_altitude_deg
from nightplan.sky.sun_moon import moon, moon_phase, sun

if TYPE_CHECKING:
    from astropy.time import Time

HorizonAltitude = Callable[[Floats], Any] | ArrayLike

_LONGEST_SPAN_DAYS = 2.0


@dataclass(frozen=True)
class SkyTracks:
    """Targets over a stretch of one night. Altitudes are topocentric and airless unless `seen`.

    The arrays at the end are computed when first asked for.
    """

    frame: SiteFrame
    utc_mjd: Floats
    """(time,)"""
    altitude_deg: Floats
    """(target, time), and so the next three."""
    azimuth_deg: Floats
    hour_angle_deg: Floats
    parallactic_angle_deg: Floats
    """Direction of the zenith at the target, from ICRS north through east."""
    sun_altitude_deg: Floats
    """(time,), and so all that follow."""
    moon_altitude_deg: Floats
    moon_azimuth_deg: Floats
    moon_distance_km: Floats
    """Topocentric."""
    moon_semidiameter_deg: Floats
    moon_elongation_deg: Floats
    """Geocentric, and so the next two."""
    moon_phase_angle_deg: Floats
    moon_illuminated_fraction: Floats
    ra_deg: Floats
    """ICRS, (target,), and so the next."""
    dec_deg: Floats
    target_cirs: Floats
    """(target, 3) unit vectors."""
    moon_cirs: Floats
    """(time, 3) topocentric unit vectors."""

    @cached_property
    def seen_altitude_deg(self) -> Floats:
        """Refracted altitude (target, time), to be compared with a horizon profile."""
        return seen_altitude_deg(self.altitude_deg, pressure_hpa(self.frame.elevation_m))

    @cached_property
    def airmass(self) -> Floats:
        """Kasten & Young 1989 of the seen altitude, (target, time); inf below the horizon."""
        return kasten_young(self.seen_altitude_deg)

    @cached_property
    def moon_separation_deg(self) -> Floats:
        """Angle from each target to the moon's centre as seen from the site, (target, time)."""
        cosine = self.target_cirs @ self.moon_cirs.T
        np.clip(cosine, -1.0, 1.0, out=cosine)
        return np.degrees(np.arccos(cosine, out=cosine), out=cosine)

    @property
    def time(self) -> Time:
        """The times as an astropy `Time`."""
        from astropy.time import Time

        configure_astropy()
        return Time(self.utc_mjd, format="mjd", scale="utc")


def time_grid(night: Night, step_min: float, *, whole_night: bool = False) -> Floats:
    """Evenly spaced times over the window, both ends included, at most `step_min` apart.

    `whole_night` spans noon to noon instead. Empty without a window. Raises ValueError for a
    step that is not positive.
    """
    if not step_min > 0.0:
        raise ValueError(f"step_min must be positive, got {step_min}")
    span = (night.noon_utc_mjd, night.next_noon_utc_mjd) if whole_night else night.window_utc_mjd
    if span is None:
        return np.empty(0)
    steps = max(1, int(np.ceil((span[1] - span[0]) * 1440.0 / step_min - 1e-6)))
    return np.linspace(span[0], span[1], steps + 1)


def frame_at(where: Night | SiteFrame | Place, utc_mjd: float) -> SiteFrame:
    """Frame of a night (its own), of a site about a time, or a frame as it is."""
    if isinstance(where, SiteFrame):
        return where
    if isinstance(where, Night):
        return where.frame
    orientation = lookup(utc_mjd)
    return site_frame(
        where.latitude_deg,
        where.longitude_deg,
        where.elevation_m,
        utc_mjd,
        orientation.dut1_s,
        orientation.polar_x_arcsec,
        orientation.polar_y_arcsec,
    )


def sky_tracks(
    where: Night | SiteFrame | Place, ra_deg: ArrayLike, dec_deg: ArrayLike, utc_mjd: ArrayLike
) -> SkyTracks:
    """Tracks of ICRS places (target,) at times (time,) of one night.

    Raises ValueError if the times leave the day about the frame's, where its apparent places no
    longer hold, or if `ra_deg` and `dec_deg` differ in shape.
    """
    times = np.atleast_1d(np.asarray(utc_mjd, dtype=np.float64))
    ra = np.atleast_1d(np.asarray(ra_deg, dtype=np.float64))
    dec = np.atleast_1d(np.asarray(dec_deg, dtype=np.float64))
    if ra.shape != dec.shape or ra.ndim != 1 or times.ndim != 1:
        raise ValueError(f"need ra, dec (target,) and times (time,), got {ra.shape}, {dec.shape}")
    middle = 0.5 * (times.min() + times.max()) if times.size else 0.0
    frame = frame_at(where, middle)
    if times.size and np.abs(times - frame.utc_mjd).max() > 0.5 * _LONGEST_SPAN_DAYS:
        raise ValueError("times must lie within a day of the night's middle; go night by night")
    cirs_ra, cirs_dec = apparent_place(frame, ra, dec)
    places = horizontal(frame, cirs_ra, cirs_dec, times)
    sun_place, moon_place, phase = sun(frame, times), moon(frame, times), moon_phase(times)
    return SkyTracks(
        frame=frame,
        utc_mjd=times,
        altitude_deg=places.altitude_deg,
        azimuth_deg=places.azimuth_deg,
        hour_angle_deg=places.hour_angle_deg,
        parallactic_angle_deg=places.parallactic_angle_deg,
        sun_altitude_deg=sun_place.altitude_deg,
        moon_altitude_deg=moon_place.altitude_deg,
        moon_azimuth_deg=moon_place.azimuth_deg,
        moon_distance_km=moon_place.distance_km,
        moon_semidiameter_deg=moon_place.semidiameter_deg,
        moon_elongation_deg=phase.elongation_deg,
        moon_phase_angle_deg=phase.phase_angle_deg,
        moon_illuminated_fraction=phase.illuminated_fraction,
        ra_deg=ra,
        dec_deg=dec,
        target_cirs=unit_vector(cirs_ra, cirs_dec),
        moon_cirs=moon_place.cirs_direction,
    )


def limit_margin_deg(
    tracks: SkyTracks,
    horizon_altitude_deg: HorizonAltitude,
    minimum_altitude_deg: float,
    highest_altitude_deg: float | None = None,
) -> Floats:
    """Degrees by which the nearest limit is kept, (target, time); negative where one is broken.

    `horizon_altitude_deg` is the horizon as seen, either a function of azimuth in degrees or an
    array that broadcasts against (target, time); it is compared with the refracted altitude. The
    lowest and highest altitude are airless.
    """
    horizon = (
        horizon_altitude_deg(tracks.azimuth_deg)
        if callable(horizon_altitude_deg)
        else horizon_altitude_deg
    )
    margin = tracks.seen_altitude_deg - np.asarray(horizon, dtype=np.float64)
    np.minimum(margin, tracks.altitude_deg - minimum_altitude_deg, out=margin)
    if highest_altitude_deg is not None:
        np.minimum(margin, highest_altitude_deg - tracks.altitude_deg, out=margin)
    return margin


def usable_hours(utc_mjd: Floats, margin_deg: Floats) -> Floats:
    """Hours with a margin of at least zero, (target,), for a margin of (target, time)."""
    left, right = margin_deg[:, :-1], margin_deg[:, 1:]
    share = (left >= 0.0).astype(np.float64)
    cut = (left >= 0.0) != (right >= 0.0)
    a, b = left[cut], right[cut]
    share[cut] = np.maximum(a, b) / np.abs(a - b)
    return 24.0 * (share @ np.diff(utc_mjd))


def best_moment(utc_mjd: Floats, altitude_deg: Floats, margin_deg: Floats) -> tuple[Floats, Floats]:
    """Time and altitude, each (target,), of the highest usable moment; NaN without one.

    Between samples (evenly spaced) the altitude is a parabola, held to the usable stretch.
    """
    usable = margin_deg >= 0.0
    if utc_mjd.size == 0:
        return np.full(usable.shape[0], np.nan), np.full(usable.shape[0], np.nan)
    rows = np.arange(usable.shape[0])
    top = np.argmax(np.where(usable, altitude_deg, -np.inf), axis=1)
    never = ~usable[rows, top]
    last = utc_mjd.size - 1
    if last < 2:
        moment, altitude = utc_mjd[top], altitude_deg[rows, top]
        return np.where(never, np.nan, moment), np.where(never, np.nan, altitude)

    # Reach to either side, in steps: to the next sample, or to where the margin runs out.
    def reach(towards: int) -> Floats:
        beside = np.clip(top + towards, 0, last)
        here, there = margin_deg[rows, top], margin_deg[rows, beside]
        share = np.where(there >= 0.0, 1.0, here / np.where(here == there, 1.0, here - there))
        return np.where(beside == top, 0.0, share)

    centre = np.clip(top, 1, last - 1)
    middle = altitude_deg[rows, centre]
    slope = 0.5 * (altitude_deg[rows, centre + 1] - altitude_deg[rows, centre - 1])
    bend = 0.5 * (altitude_deg[rows, centre + 1] + altitude_deg[rows, centre - 1]) - middle
    low, high = top - centre - reach(-1), top - centre + reach(1)
    vertex = -0.5 * slope / np.where(bend < 0.0, bend, -1.0)
    tries = np.stack((low, high, np.clip(vertex, low, high), (top - centre).astype(np.float64)))
    heights = middle + tries * (slope + bend * tries)
    choice = np.argmax(heights, axis=0)
    step = (utc_mjd[-1] - utc_mjd[0]) / last
    moment = utc_mjd[centre] + tries[choice, rows] * step
    return (
        np.where(never, np.nan, np.clip(moment, utc_mjd[0], utc_mjd[-1])),
        np.where(never, np.nan, heights[choice, rows]),
    )


def meridian_transit_utc_mjd(
    where: Night | SiteFrame | Place,
    ra_deg: ArrayLike,
    dec_deg: ArrayLike,
    near_utc_mjd: float | None = None,
) -> Floats:
    """Upper transit (target,) nearest a time: by default the middle of the night's window.

    Without a window, or for a bare frame, near civil midnight or the frame's time. Raises
    ValueError for a bare site without `near_utc_mjd`.
    """
    if near_utc_mjd is None:
        if isinstance(where, Night):
            window = where.window_utc_mjd
            near_utc_mjd = where.midnight_utc_mjd if window is None else 0.5 * sum(window)
        elif isinstance(where, SiteFrame):
            near_utc_mjd = where.utc_mjd
        else:
            raise ValueError("a site alone needs near_utc_mjd")
    frame = frame_at(where, near_utc_mjd)
    cirs_ra, _ = apparent_place(frame, ra_deg, dec_deg)
    hour_angle = hour_angle_deg(frame, cirs_ra, [near_utc_mjd])[:, 0]
    return near_utc_mjd - hour_angle / (360.0 * TURNS_PER_UT1_DAY)
