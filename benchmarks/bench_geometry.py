"""Ratios of our geometry core to astropy's full transformation and to astroplan's table.

13,000 random targets x 145 times of one night, in one run on one machine; each figure is the
least of its repeats, and only ratios are worth comparing between machines. Run from the
repository's root: python benchmarks/bench_geometry.py [TARGETS]
"""

from __future__ import annotations

import datetime
import sys
import time
import warnings
from collections.abc import Callable
from types import SimpleNamespace

import numpy as np
from astroplan import (
    AltitudeConstraint,
    AtNightConstraint,
    FixedTarget,
    MoonSeparationConstraint,
    Observer,
    observability_table,
)
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.time import Time

from nightplan.planning.tonight.earth_orientation import configure_astropy
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonight.visibility import (
    limit_margin_deg,
    sky_tracks,
    time_grid,
    usable_hours,
)
from nightplan.sky.apparent import apparent_place
from nightplan.sky.horizontal import Horizontal, altitude_deg, horizontal


def least_s(work: Callable[[], object], repeats: int) -> float:
    """Least time of several runs, seconds."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def main(targets: int) -> None:
    configure_astropy()
    warnings.simplefilter("ignore")
    site = SimpleNamespace(
        name="Hollow Ridge",
        latitude_deg=38.60,
        longitude_deg=-7.55,
        elevation_m=240.0,
        timezone="Europe/Lisbon",
    )
    night = compute_night(site, datetime.date(2027, 10, 6))
    frame, times = night.frame, time_grid(night, 10.0, whole_night=True)
    rng = np.random.default_rng(0)
    ra = rng.uniform(0.0, 360.0, targets)
    dec = np.degrees(np.arcsin(rng.uniform(-1.0, 1.0, targets)))
    location = EarthLocation(lat=38.6 * u.deg, lon=-7.55 * u.deg, height=240.0 * u.m)
    coords = SkyCoord(ra * u.deg, dec * u.deg)
    moments = Time(times, format="mjd", scale="utc")
    view = AltAz(obstime=moments[None, :], location=location)
    values = np.empty((targets, times.size))

    def two_sines() -> None:
        np.sin(values, out=values)
        np.sin(values, out=values)

    def altitudes() -> np.ndarray:
        return altitude_deg(frame, *apparent_place(frame, ra, dec), times)

    def four_angles() -> Horizontal:
        return horizontal(frame, *apparent_place(frame, ra, dec), times)

    def night_rules() -> np.ndarray:
        tracks = sky_tracks(night, ra, dec, times)
        margin = limit_margin_deg(tracks, lambda azimuth: 0.0 * azimuth, 30.0)
        dark = -18.0 - tracks.sun_altitude_deg[None, :]
        margin = np.minimum(np.minimum(margin, dark), tracks.moon_separation_deg - 40.0)
        return usable_hours(times, margin)

    values[:] = rng.uniform(-1.0, 1.0, values.shape)
    yardstick = least_s(two_sines, 5)
    full = least_s(lambda: coords[:, None].transform_to(view), 2)
    ours = {
        "altitude only": least_s(altitudes, 5),
        "altitude, azimuth, hour angle, parallactic angle": least_s(four_angles, 5),
    }
    worst = np.abs(four_angles().altitude_deg - coords[:, None].transform_to(view).alt.deg).max()
    rules = least_s(night_rules, 3)

    observer = Observer(location=location, timezone="Europe/Lisbon")
    fixed = [FixedTarget(coord) for coord in coords]
    constraints = [
        AltitudeConstraint(30.0 * u.deg),
        AtNightConstraint.twilight_astronomical(),
        MoonSeparationConstraint(min=40.0 * u.deg),
    ]
    table = least_s(lambda: observability_table(constraints, observer, fixed, times=moments), 1)

    print(f"{targets} targets x {times.size} times; two bare numpy sines: {yardstick * 1e3:.0f} ms")
    print(f"largest difference in altitude from astropy: {worst:.6f} degrees")
    for name, seconds in ours.items():
        print(
            f"{name}: {seconds * 1e3:.0f} ms, {seconds / yardstick:.1f} x two sines; "
            f"astropy ICRS -> AltAz takes {full / seconds:.0f} x as long"
        )
    print(
        f"altitude, night and moon rules to hours: {rules * 1e3:.0f} ms; "
        f"astroplan's observability table takes {table / rules:.0f} x as long"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 13_000)
