"""The moment that `exposure` takes by default keeps every limit to the second."""

from __future__ import annotations

import datetime
import math

import pytest

from nightplan.model.config import parse_config
from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import starter_text
from nightplan.planning.choosing.exposure import exposure_of
from nightplan.planning.tonight.night import compute_night
from nightplan.sky.times import datetime_from_mjd

EVENING = datetime.date(2027, 10, 6)


def altitude_by_ephem(config, target, utc_mjd: float) -> float:
    """ephem's airless topocentric altitude, deg, from the target's ICRS place."""
    import ephem

    site = ephem.Observer()
    site.lat, site.lon = map(math.radians, (config.site.latitude_deg, config.site.longitude_deg))
    site.elevation, site.pressure = config.site.elevation_m, 0.0
    site.date = ephem.Date(datetime_from_mjd(utc_mjd).replace(tzinfo=None))
    star = ephem.FixedBody()
    star._ra, star._dec = math.radians(target.ra_deg), math.radians(target.dec_deg)
    star._epoch = ephem.J2000
    star.compute(site)
    return math.degrees(star.alt)


@pytest.mark.parametrize("highest_deg", [87.0, 84.3, 71.0, 55.5])
@pytest.mark.parametrize("name", ["M 31", "M 33"])
def test_the_best_moment_stays_below_the_mounts_highest_altitude(name, highest_deg) -> None:
    text = starter_text().replace(
        "highest_altitude_deg = 87 ", f"highest_altitude_deg = {highest_deg} "
    )
    config = parse_config(text)
    catalog = catalog_for(config)
    target = catalog.target(catalog.find(name))
    night = compute_night(config.site, EVENING)
    found = exposure_of(config, night, target, "flattener")
    assert found.notices == ()
    assert float(found.tracks.altitude_deg[0, 0]) <= highest_deg
    here = altitude_by_ephem(config, target, found.utc_mjd)
    assert here <= highest_deg + 0.003  # ephem: other precession and UT1, a few arcsec
    top = min(highest_deg, 90.0 - abs(config.site.latitude_deg - target.dec_deg) + 0.3)
    assert here >= min(highest_deg - 0.01, top - 0.5)
    assert found.utc_mjd * 86400.0 == pytest.approx(round(found.utc_mjd * 86400.0), abs=1e-4)
    for step in (-1.0, 1.0):  # beside it, lower or beyond the limit
        beside = exposure_of(config, night, target, "flattener", found.utc_mjd + step / 86400.0)
        altitude = float(beside.tracks.altitude_deg[0, 0])
        assert altitude > highest_deg or altitude <= float(found.tracks.altitude_deg[0, 0])
