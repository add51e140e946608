"""The catalogue as a whole: what was read, filters, one's own targets, the build itself."""

from __future__ import annotations

import csv
import importlib.util
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import get_constellation

from nightplan.errors import InputError, TargetError
from nightplan.model.catalog import CONSTELLATIONS, Catalog
from nightplan.model.catalog_files import catalog_folder
from nightplan.model.catalog_reading import DERIVED_SOURCE, ISOPHOTE_SOURCE, load_catalog
from nightplan.model.target import KINDS, Target

CHECKOUT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


@pytest.fixture(scope="module")
def openngc_rows() -> list[dict[str, str]]:
    with open(catalog_folder() / "openngc.csv", encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_it_holds_openngc_and_more(catalog: Catalog, openngc_rows: list[dict[str, str]]) -> None:
    # 14,033 records less 652 duplicates and 10 of nothing, in pyongc 1.2
    assert 13_300 < len(openngc_rows) < 13_500
    assert len(catalog) > 13_300
    assert len(set(catalog.name)) == len(catalog)
    assert set(catalog.kind) <= set(KINDS)
    assert not set(openngc_rows[0]) & {"Dup", "NonEx"}
    assert {row["source_type"] for row in openngc_rows}.isdisjoint({"Dup", "NonEx"})


def test_no_object_is_lost_to_the_supplement(
    catalog: Catalog, openngc_rows: list[dict[str, str]]
) -> None:
    """Every OpenNGC name still leads somewhere, within its object's reach."""
    for row in openngc_rows:
        found = catalog.find(row["name"])
        reach = max(1.0, np.nan_to_num(catalog.major_arcmin[found]))
        away = np.hypot(
            (catalog.ra_deg[found] - float(row["ra_deg"]) + 180.0) % 360.0 - 180.0,
            catalog.dec_deg[found] - float(row["dec_deg"]),
        )
        assert away * 60.0 * np.cos(np.radians(float(row["dec_deg"]))) < reach, row["name"]


def test_every_row_makes_a_valid_target_and_comes_back(catalog: Catalog) -> None:
    rows = range(0, len(catalog), 7)
    for row in rows:
        target = catalog.target(row)
        assert target.name == catalog.name[row]
        assert (target.angle_deg is None) == bool(np.isnan(catalog.angle_deg[row]))
    assert catalog.targets([3])[0] == catalog.target(3)


def test_ranges(catalog: Catalog) -> None:
    assert catalog.ra_deg.min() >= 0.0
    assert catalog.ra_deg.max() < 360.0
    assert np.abs(catalog.dec_deg).max() <= 90.0
    assert np.nanmin(catalog.major_arcmin) > 0.0
    assert np.nanmin(catalog.angle_deg) == 0.0
    assert np.nanmax(catalog.angle_deg) < 180.0
    with np.errstate(invalid="ignore"):
        assert not np.any(catalog.minor_arcmin > catalog.major_arcmin)
    assert not np.any(np.isnan(catalog.major_arcmin) & ~np.isnan(catalog.minor_arcmin))


def test_unknown_angles_stay_unknown(catalog: Catalog, openngc_rows: list[dict[str, str]]) -> None:
    """An empty cell is NaN, and zero only where OpenNGC gives 0 or 180."""
    by_name = {row["name"]: row for row in openngc_rows}
    plain = [row for row in range(len(catalog)) if catalog.origin[row] == "openngc"]
    zeros = 0
    for row in plain:
        cell = by_name[catalog.name[row]]["angle_deg"]
        assert np.isnan(catalog.angle_deg[row]) == (cell == ""), catalog.name[row]
        zeros += cell == "0"
    assert zeros > 50
    assert catalog.target(catalog.find("NGC 1421")).angle_deg == 0.0
    assert catalog.target(catalog.find("M 57")).angle_deg is not None
    assert catalog.target(catalog.find("M 97")).angle_deg is None
    # a circle has no axis to measure the angle of
    round_rows = catalog.major_arcmin == catalog.minor_arcmin
    assert np.isnan(catalog.angle_deg[round_rows]).all()


def test_constellations_follow_the_iau_boundaries(catalog: Catalog) -> None:
    """Source: boundaries of Roman 1987, PASP 99, 695, in astropy.coordinates.get_constellation."""
    expected = get_constellation(catalog.coords, short_name=True)
    wrong = expected != catalog.constellation
    assert list(catalog.name[wrong]) == []
    assert set(catalog.constellation) == set(CONSTELLATIONS)
    assert len(CONSTELLATIONS) == 88


def test_faulty_v_magnitudes_are_not_used(catalog: Catalog) -> None:
    with np.errstate(invalid="ignore"):
        assert not np.any(catalog.magnitude_v > catalog.magnitude_b + 0.3)
    row = catalog.find("NGC 157")  # OpenNGC: B 11.07, V 13.11
    assert np.isnan(catalog.magnitude_v[row])
    assert catalog.magnitude[row] == catalog.magnitude_b[row] == 11.07


def test_surface_brightness_says_where_it_comes_from(catalog: Catalog) -> None:
    known = ~np.isnan(catalog.surface_brightness_mag_arcsec2)
    assert set(catalog.surface_brightness_band[known]) == {"B", "V"}
    assert set(catalog.surface_brightness_band[~known]) == {""}
    members = "computed from the members' magnitudes and ellipses"
    sources = {ISOPHOTE_SOURCE, DERIVED_SOURCE, members}
    assert set(catalog.surface_brightness_source[known]) == sources
    galaxies = catalog.kind == "galaxy"
    assert known[galaxies].mean() > 0.98


def test_derived_surface_brightness_spreads_the_light_over_the_ellipse(catalog: Catalog) -> None:
    """Source: NGC 6853, V 7.4 over 8.0' x 5.7' is 7.4 + 2.5 log10(128,930 arcsec²), by hand."""
    target = catalog.target(catalog.find("M 27"))
    assert target.surface_brightness_source == DERIVED_SOURCE
    assert target.surface_brightness_band == "V"
    assert target.surface_brightness_mag_arcsec2 == pytest.approx(20.18, abs=0.01)


def test_a_slip_in_the_published_brightness_is_mended(catalog: Catalog) -> None:
    """The Sculptor dwarf is famously faint (Ibata et al. give about 23.5 V, from memory)."""
    target = catalog.target(catalog.find("ESO 351-30"))
    assert target.surface_brightness_mag_arcsec2 is not None
    assert target.surface_brightness_mag_arcsec2 > 23.0
    assert target.surface_brightness_source == DERIVED_SOURCE


def test_no_brightness_is_made_up_for_clusters_and_plain_nebulae(catalog: Catalog) -> None:
    unmeasured = np.isin(catalog.kind, ["open_cluster", "star_field", "dark_nebula"])
    unmeasured |= np.isin(catalog.kind, ["emission_nebula", "reflection_nebula"]) & (
        catalog.origin == "openngc"
    )
    assert np.isnan(catalog.surface_brightness_mag_arcsec2[unmeasured]).all()


def test_subset_by_mask_and_by_order(catalog: Catalog) -> None:
    chosen = catalog.subset(catalog.mask(kinds=["supernova_remnant"]))
    assert set(chosen.kind) == {"supernova_remnant"}
    assert chosen.name[chosen.find("veil nebula")] == "Sh2-103"
    turned = catalog.subset([5, 2])
    assert list(turned.name) == [catalog.name[5], catalog.name[2]]
    empty = catalog.subset([])
    assert len(empty) == 0
    with pytest.raises(TargetError):
        empty.find("M 31")


def test_filters(catalog: Catalog) -> None:
    mask = catalog.mask(
        kinds=["galaxy"], constellations=["uma"], smallest_arcmin=10.0, faintest_mag=9.0
    )
    assert {"M 81", "M 82", "M 101"} <= set(catalog.name[mask])
    assert set(catalog.constellation[mask]) == {"UMa"}
    assert catalog.major_arcmin[mask].min() >= 10.0
    assert np.nanmax(catalog.magnitude[mask]) <= 9.0
    listed = catalog.mask(names=["heart", "M 31"])
    assert set(catalog.name[listed]) == {"IC 1805", "M 31"}
    assert catalog.mask().all()


def test_an_unknown_magnitude_passes_unless_told(catalog: Catalog) -> None:
    row = catalog.find("IC 1396")
    assert np.isnan(catalog.magnitude[row])
    assert catalog.mask(faintest_mag=8.0)[row]
    assert not catalog.mask(faintest_mag=8.0, keep_unknown_magnitude=False)[row]
    assert not catalog.mask(smallest_arcmin=1.0)[np.isnan(catalog.major_arcmin)].any()


@pytest.mark.parametrize("bad", [{"kinds": ["nebula"]}, {"constellations": ["Xyz"]}])
def test_a_filter_that_does_not_exist_is_one_line(catalog: Catalog, bad: dict) -> None:
    with pytest.raises(InputError) as caught:
        catalog.mask(**bad)
    assert "\n" not in str(caught.value)


def test_table_has_units(catalog: Catalog) -> None:
    table = catalog.subset(range(50)).to_table()
    assert table["ra_deg"].unit == u.deg
    assert table["major_arcmin"].unit == u.arcmin
    assert table["magnitude_v"].unit == u.mag
    assert table["surface_brightness_mag_arcsec2"].unit == u.mag / u.arcsec**2
    assert table["radial_velocity_km_s"].unit == u.km / u.s
    assert len(table) == 50


def test_own_targets_are_added() -> None:
    own = Target("My dust lane", 330.0, 60.0, major_arcmin=90.0, minor_arcmin=40.0, angle_deg=0.0)
    catalog = load_catalog([own])
    found = catalog.target(catalog.find("my  DUST-lane"))
    assert (found.ra_deg, found.angle_deg, found.origin) == (330.0, 0.0, "user")


def test_an_own_target_takes_the_place_of_the_bundled_one() -> None:
    own = Target("m31", 10.7, 41.3, major_arcmin=240.0, minor_arcmin=80.0)
    catalog = load_catalog([own])
    for spelling in ("M 31", "NGC 224", "andromeda galaxy", "andromeda"):
        found = catalog.target(catalog.find(spelling))
        assert found.origin == "user", spelling
    assert (found.major_arcmin, found.angle_deg) == (240.0, None)
    assert (found.kind, found.constellation) == ("galaxy", "And")
    assert found.magnitude_v == pytest.approx(3.44)
    assert len(catalog) == len(load_catalog())


def test_an_own_target_under_a_common_name_wins() -> None:
    catalog = load_catalog([Target("Crescent Nebula", 303.0, 38.3, major_arcmin=25.0)])
    assert catalog.target(catalog.find("NGC 6888")).major_arcmin == 25.0
    ambiguous = load_catalog([Target("Butterfly Nebula", 10.0, 10.0)])
    assert ambiguous.origin[ambiguous.find("butterfly nebula")] == "user"


def test_the_last_of_two_own_targets_of_one_name_counts() -> None:
    catalog = load_catalog([Target("Mine", 1.0, 1.0), Target("mine", 2.0, 2.0)])
    assert catalog.ra_deg[catalog.find("mine")] == 2.0


@pytest.mark.skipif(importlib.util.find_spec("pyongc") is None, reason="pyongc is not installed")
def test_the_build_gives_the_same_bytes(tmp_path: Path) -> None:
    for script, files in (
        ("build_catalogue.py", ("openngc.csv", "LICENSE-OpenNGC.txt")),
        ("build_supplement.py", ("supplement.csv",)),
    ):
        subprocess.run(
            [sys.executable, CHECKOUT / "catalogs" / script, tmp_path],
            check=True,
            capture_output=True,
            env={"PYTHONPATH": str(CHECKOUT), "PATH": ""},
        )
        for name in files:
            assert (tmp_path / name).read_bytes() == (CHECKOUT / "catalogs" / name).read_bytes()


@pytest.mark.skipif(importlib.util.find_spec("pyongc") is None, reason="pyongc is not installed")
def test_plain_rows_agree_with_the_package_they_came_from(catalog: Catalog) -> None:
    """Source: pyongc's own reading of its database, by another route than the build's."""
    from pyongc import ongc

    for name in ("NGC0507", "IC0200", "NGC7619", "NGC2022", "NGC7785", "IC4889"):
        theirs = ongc.get(name)
        assert theirs is not None
        ours = catalog.target(catalog.find(name))
        ra, dec = np.degrees(theirs.rad_coords)
        assert (ours.ra_deg, ours.dec_deg) == pytest.approx((ra, dec), abs=6e-6), name
        major, minor, angle = theirs.dimensions
        assert (ours.major_arcmin, ours.minor_arcmin, ours.angle_deg) == (major, minor, angle)
        assert ours.radial_velocity_km_s == theirs.radvel
