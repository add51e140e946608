"""A year of the whole catalogue in one pass, beside the same work night by night.

Run from a checkout:  python benchmarks/bench_season.py
Prints seconds, peak memory, and ratios: against this project's own single nights, and against
astropy's AltAz transformation of the same targets x times, both timed on a sample and scaled.
"""

from __future__ import annotations

import datetime
import resource
import time
from collections.abc import Callable
from typing import TypeVar

import numpy as np

from nightplan.model.catalog_reading import load_catalog
from nightplan.model.starter import demo_config
from nightplan.planning.season.season import season, year_nights
from nightplan.planning.tonight.earth_orientation import configure_astropy
from nightplan.planning.tonight.limits import geometry_margin_deg
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonight.visibility import sky_tracks, time_grid, usable_hours

T = TypeVar("T")

FIRST = datetime.date(2027, 1, 1)
STEP_MIN = 10.0
SAMPLE_NIGHTS = 3
ASTROPY_TARGETS, ASTROPY_TIMES = 2000, 48


def timed(work: Callable[[], T]) -> tuple[float, T]:
    """Seconds of one run, and its answer."""
    start = time.perf_counter()
    answer = work()
    return time.perf_counter() - start, answer


def main() -> None:
    """Time the year, then its rivals on a sample."""
    config, catalog = demo_config(), load_catalog()
    compute_night(config.site, FIRST)
    year_s, nights = timed(lambda: year_nights(config.site, FIRST))
    pass_s, table = timed(lambda: season(config, nights, catalog.ra_deg, catalog.dec_deg))
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    whole_s = year_s + pass_s
    cells = table.usable_hours.size
    print(f"{len(catalog):,} targets x {len(nights)} nights = {cells:,} values")
    print(f"windows and moon of the year  {year_s:8.2f} s")
    print(f"usable hours in one pass      {pass_s:8.2f} s   {pass_s / cells * 1e6:.2f} us a value")
    print(f"together                      {whole_s:8.2f} s   peak memory {peak_mb:.0f} MB")

    one_s, _ = timed(lambda: season(config, nights, catalog.ra_deg[:1], catalog.dec_deg[:1]))
    print(f"one target's year             {year_s + one_s:8.2f} s")

    worst = 0.0
    night_s = 0.0
    for evening in nights.evenings[:: len(nights) // SAMPLE_NIGHTS][:SAMPLE_NIGHTS]:

        def single(day: datetime.date = evening) -> np.ndarray:
            night = compute_night(config.site, day)
            times = time_grid(night, STEP_MIN)
            tracks = sky_tracks(night, catalog.ra_deg, catalog.dec_deg, times)
            return usable_hours(times, geometry_margin_deg(config, tracks))

        seconds, hours = timed(single)
        night_s += seconds / SAMPLE_NIGHTS
        column = nights.evenings.index(evening)
        worst = max(worst, float(np.abs(hours - table.usable_hours[:, column]).max()))
    by_night_s = night_s * len(nights)
    print(
        f"night by night, {STEP_MIN:g} min grid   {by_night_s:8.1f} s   "
        f"{by_night_s / whole_s:.1f} times as long; largest difference {worst:.3f} h"
    )

    astropy_s = _astropy_s(config.site.location, catalog) * len(catalog) * len(nights)
    astropy_s *= 10.0 * 60.0 / STEP_MIN  # ten hours a night on the same grid
    ratio = astropy_s / whole_s
    print(f"astropy ICRS to AltAz alone   {astropy_s:8.0f} s   {ratio:.0f} times as long")


def _astropy_s(location: object, catalog: object) -> float:
    """Seconds for one target at one time, from a block of them."""
    from astropy import units as u
    from astropy.coordinates import AltAz, SkyCoord
    from astropy.time import Time

    configure_astropy()
    ra = catalog.ra_deg[:ASTROPY_TARGETS]  # type: ignore[attr-defined]
    dec = catalog.dec_deg[:ASTROPY_TARGETS]  # type: ignore[attr-defined]
    times = Time("2027-01-01T20:00:00") + np.arange(ASTROPY_TIMES) * STEP_MIN * u.min
    targets = SkyCoord(ra * u.deg, dec * u.deg)[:, None]
    frame = AltAz(obstime=times[None, :], location=location)
    seconds, _ = timed(lambda: targets.transform_to(frame))
    return seconds / (ASTROPY_TARGETS * ASTROPY_TIMES)


if __name__ == "__main__":
    main()
