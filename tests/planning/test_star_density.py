"""Expected star numbers, against counts of the open catalogue and its published totals."""

from __future__ import annotations

import numpy as np
import pytest

from nightplan.model.star_catalog import StarCatalog, StarList, bundled_stars, star_catalog
from nightplan.planning.framing.star_density import (
    LocalDensity,
    count_ratio,
    local_density,
)
from nightplan.sky.galactic import sin_galactic_latitude

GRID = [(ra, dec) for ra in range(5, 360, 30) for dec in (-70, -40, -10, 15, 45, 75)]


def test_prediction_to_g10_from_brighter_stars_alone():
    """Predict the catalogue's count to G 10 from its count to G 8.5, place by place."""
    catalog = star_catalog()
    ratios = []
    for ra, dec in GRID:
        stars = catalog.cone(ra, dec, 8.0)
        bright = (stars.g_mag <= 8.5).sum()
        predicted = bright * count_ratio(8.5, 10.0, sin_galactic_latitude(ra, dec))
        ratios.append(predicted / len(stars))
    assert np.median(ratios) == pytest.approx(1.0, abs=0.05)
    assert np.min(ratios) > 0.6
    assert np.max(ratios) < 1.6


def test_whole_sky_to_g12_and_g13():
    """About 3 and 7.5 million Gaia stars to G 12 and G 13 (Gaia DR3 counts, from memory)."""
    stars = bundled_stars()
    latitude = sin_galactic_latitude(np.array(stars.ra_deg), np.array(stars.dec_deg))
    edges = np.linspace(0.0, 1.0, 21)
    counts, _ = np.histogram(latitude, edges)
    middle = (edges[1:] + edges[:-1]) / 2
    assert (counts * count_ratio(10.0, 12.0, middle)).sum() == pytest.approx(3.0e6, rel=0.2)
    assert (counts * count_ratio(10.0, 13.0, middle)).sum() == pytest.approx(7.5e6, rel=0.2)


def test_ratio_composes_and_grows():
    mags = np.arange(7.0, 18.01, 0.25)
    for latitude in (0.0, 0.5, 1.0):
        step = count_ratio(mags[:-1], mags[1:], latitude)
        assert np.all(step > 1.0)
        assert np.prod(step) == pytest.approx(count_ratio(7.0, 18.0, latitude))


def places(count, radius, limit, latitude) -> LocalDensity:
    return LocalDensity(*(np.asarray(value) for value in (count, radius, limit, latitude)))


def test_many_places_at_once_as_one_by_one():
    """Near a pole of the sky, of the Galaxy and across RA 0."""
    for ra0, dec0 in ((10.0, 88.5), (192.0, 27.0), (359.5, -5.0)):
        ra, dec = np.array([ra0, ra0 + 1.0, ra0 - 1.0]), np.array([dec0, dec0 + 0.7, dec0 - 1.0])
        together = local_density(star_catalog(), ra % 360.0, dec)
        for index in range(3):
            alone = local_density(star_catalog(), ra[index] % 360.0, dec[index])
            assert together.count[index] == alone.count
            assert together.radius_deg[index] == alone.radius_deg
            assert alone.count == len(star_catalog().cone(ra[index], dec[index], alone.radius_deg))


def test_density_of_a_uniform_sky():
    """10 stars per square degree by construction; Poisson noise of about 1000 stars."""
    rng = np.random.default_rng(5)
    count = 412_530
    ra, dec = rng.uniform(0, 360, count), np.degrees(np.arcsin(rng.uniform(-1, 1, count)))
    sky = StarCatalog(StarList("made up", ra, dec, np.full(count, 9.0), 10.0))
    density = local_density(sky, 100.0, 80.0)
    assert density.radius_deg == 1.5
    assert density.per_deg2 == pytest.approx(10.0, rel=0.4)
    assert places(10_000, 18.0, 10.0, 0.3).per_deg2 == pytest.approx(
        10_000 / 1009.5, rel=1e-3
    )  # cap of 18 deg: 41252.96 (1 - cos 18 deg) / 2 = 1009.5 square degrees


def test_nothing_is_expected_past_a_limit_the_catalogue_reaches():
    density = places(40, 1.5, 10.0, 0.5)
    assert density.expected(0.1, 9.5) == 0.0
    assert density.expected(0.1, 10.0) == 0.0
    twice = density.expected(0.2, 12.0)
    assert twice == pytest.approx(2.0 * density.expected(0.1, 12.0))


def deep_patch(per_deg2: float) -> StarList:
    rng = np.random.default_rng(3)
    count = round(per_deg2 * 4.0)
    ra, dec = rng.uniform(99, 101, count), rng.uniform(-1, 1, count)
    return StarList("deep.csv", ra, dec, rng.uniform(10.01, 13.0, count), 13.0)


def test_a_deeper_file_counts_only_where_it_covers():
    bundled = bundled_stars()
    full = StarCatalog(bundled, deep_patch(600.0))
    inside = local_density(full, 100.0, 0.0)
    assert inside.limit_mag == 13.0
    assert inside.expected(1.0, 12.5) == 0.0
    assert local_density(full, 200.0, 0.0).limit_mag == 10.0
    sparse = StarCatalog(bundled, deep_patch(5.0))
    assert local_density(sparse, 100.0, 0.0).limit_mag == 10.0
