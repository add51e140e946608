"""Sky rate of targets × filters × times: ours beside the same equations on astropy objects.

One run on one machine (the sky rate itself uses one core); each figure is the least of its repeats
and only the ratio is worth comparing. The other route does what a notebook would: astropy's AltAz
for targets and moon, `separation` between SkyCoords, astroplan's phase angle, and the same
equations filter by filter in Quantities, at each filter's effective wavelength; on a part of the
targets, and scaled up. Run from the repository's root: python benchmarks/bench_light.py [TARGETS]
"""

from __future__ import annotations

import datetime
import sys
import time
import tracemalloc
import warnings
from collections.abc import Callable

import numpy as np
from astroplan import Observer
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_body
from astropy.time import Time

from nightplan.light.background import sky_rate
from nightplan.light.moonlight import MEAN_DISTANCE_KM, scattering_ratios
from nightplan.light.passband import Passband
from nightplan.light.photometry import nl_from_v_mag
from nightplan.light.spectra import moon_spectrum
from nightplan.model.starter import demo_config
from nightplan.planning.photons.filter_budget import SiteSky, filter_budgets, site_sky
from nightplan.planning.photons.photon_budget import sky_geometry
from nightplan.planning.tonight.earth_orientation import configure_astropy
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonight.visibility import sky_tracks

PART = 500
TIMES = 145


def least_s(work: Callable[[], object], repeats: int) -> float:
    """Least time of several runs, seconds."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def with_objects(
    coords: SkyCoord, times: Time, observer: Observer, bands: list[Passband], sky: SiteSky
) -> u.Quantity:
    """Sky in every filter by astropy objects, photons/s/cm²/arcsec², (target, filter, time)."""
    frame = AltAz(obstime=times[None, :], location=observer.location)
    altitude = coords[:, None].transform_to(frame).alt
    moon = get_body("moon", times, observer.location)
    moon_altaz = moon.transform_to(AltAz(obstime=times, location=observer.location))
    direction = SkyCoord(moon.ra, moon.dec, frame="icrs")
    separation = coords[:, None].separation(direction[None, :])
    alpha = observer.moon_phase(times).to(u.deg)
    distance = moon_altaz.distance.to(u.km)

    def path(height: u.Quantity) -> u.Quantity:
        return 1.0 / np.sqrt(1.0 - 0.96 * np.sin(90 * u.deg - np.maximum(height, 0 * u.deg)) ** 2)

    magnitude = 3.84 + 0.026 * alpha / u.deg + 4e-9 * (alpha / u.deg) ** 4
    illuminance = 10 ** (-0.4 * magnitude) * (MEAN_DISTANCE_KM * u.km / distance) ** 2
    illuminance = np.where(moon_altaz.alt > 0 * u.deg, illuminance, 0.0)
    unit = u.photon / u.s / u.cm**2 / u.arcsec**2
    columns = []
    for band in bands:
        nm = band.effective_nm
        k = float(sky.air.total(nm))
        rayleigh_ratio, mie_ratio = scattering_ratios(nm, sky.air)
        rayleigh = 10**5.36 * (1.06 + np.cos(separation) ** 2) * rayleigh_ratio
        mie = 10 ** (6.15 - separation.to_value(u.deg) / 40) * mie_ratio
        x = path(altitude)
        dark = sky.dark.zenith_rate(band) * unit * 10 ** (-0.4 * k * (x - 1)) * x
        per_nl = band.rate(moon_spectrum()) / float(nl_from_v_mag(0.0)) * unit
        down = 10 ** (-0.4 * k * path(moon_altaz.alt))
        moonlight = (rayleigh + mie) * illuminance * down * (1 - 10 ** (-0.4 * k * x)) * per_nl
        columns.append((dark + moonlight).to(unit))
    return u.Quantity(columns).transpose(1, 0, 2)


def main(targets: int) -> None:
    configure_astropy()
    warnings.simplefilter("ignore")
    config = demo_config()
    night = compute_night(config.site, datetime.date(2027, 10, 12))
    sky = site_sky(config)
    bands = [budget.response for budget in filter_budgets(config, "flattener", sky)]
    rng = np.random.default_rng(0)
    ra = rng.uniform(0.0, 360.0, targets)
    dec = np.degrees(np.arcsin(rng.uniform(-0.5, 1.0, targets)))
    start, end = night.window_utc_mjd or (night.noon_utc_mjd, night.next_noon_utc_mjd)
    mjd = np.linspace(start, end, TIMES)
    tracks = sky_tracks(night, ra, dec, mjd)
    geometry = sky_geometry(tracks)
    answer = np.empty((targets, len(bands), TIMES))
    ours = least_s(lambda: sky_rate(bands, geometry, sky.dark, sky.air, out=answer), 5)
    tracemalloc.start()
    sky_rate(bands, geometry, sky.dark, sky.air, out=answer)
    work_mib = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    whole = least_s(
        lambda: sky_rate(bands, sky_geometry(sky_tracks(night, ra, dec, mjd)), sky.dark, sky.air),
        2,
    )

    part = min(PART, targets)
    coords = SkyCoord(ra[:part] * u.deg, dec[:part] * u.deg)
    place = EarthLocation.from_geodetic(
        config.site.longitude_deg, config.site.latitude_deg, config.site.elevation_m
    )
    observer, times = Observer(location=place), Time(mjd, format="mjd")
    other = with_objects(coords, times, observer, bands, sky)
    scaled = least_s(lambda: with_objects(coords, times, observer, bands, sky), 2) * targets / part

    high = geometry.moon_altitude_deg > 20.0
    clear = (geometry.altitude_deg[:part] > 20.0) & (geometry.moon_separation_deg[:part] > 15.0)
    cells = np.broadcast_to((clear & high)[:, None, :], other.shape)
    apart = np.abs(2.5 * np.log10(answer[:part][cells] / other.value[cells]))
    print(f"{targets} targets × {len(bands)} filters × {TIMES} times")
    print(f"sky rate from the geometry:      {ours:.2f} s")
    print(f"  the answer {answer.nbytes / 2**20:.0f} MiB, work arrays {work_mib:.1f} MiB at most")
    print(f"with the geometry:               {whole:.2f} s")
    print(f"astropy and astroplan objects:   {scaled:.1f} s (scaled from {part} targets)")
    print(f"ratio, both with the geometry:   {scaled / whole:.0f}")
    print(f"the two differ by {np.median(apart):.3f} mag (median), {apart.max():.2f} at most,")
    print("  target and moon above 20°, mostly the L filter at its one effective wavelength")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 13_000)
