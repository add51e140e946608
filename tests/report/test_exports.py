"""FITS headers, STC-S and tables, read back by astropy's own readers."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from astropy.io import fits
from astropy.table import Table
from astropy.wcs import WCS

from nightplan.errors import FileError
from nightplan.model.starter import demo_config
from nightplan.model.target import Target
from nightplan.planning.framing import frame_target
from nightplan.report.fits_header import write_header_file
from nightplan.report.footprint import panel_table, stc_s, write_footprint
from nightplan.sky.angles import position_angle_deg, separation_deg

CONFIG = demo_config()
PLACES = [(10.0, 41.0), (359.95, -12.0), (200.0, 85.0), (30.0, -89.0)]
WIDE = Target("Wide", 300.0, 60.0, major_arcmin=150.0, minor_arcmin=60.0, angle_deg=20.0)


def rig(mirrored=False, portrait=False):
    trains = {n: t.model_copy(update={"mirrored": mirrored}) for n, t in CONFIG.train.items()}
    # The starter's sensor in pixels ten times as large: quicker, and the same field.
    size = {"width_px": 600, "height_px": 400, "pixel_um": 39.0}
    if portrait:
        size |= {"width_px": 400, "height_px": 600}
    camera = CONFIG.camera.model_copy(update=size)
    return CONFIG.model_copy(update={"train": trains, "camera": camera})


def framed(ra, dec, angle, config=CONFIG):
    target = Target("Spot", ra, dec, major_arcmin=20.0, minor_arcmin=5.0, angle_deg=10.0)
    return frame_target(config, target, "flattener", angle_deg=angle)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("portrait", [False, True])
@pytest.mark.parametrize(("ra", "dec"), PLACES)
def test_header_round_trip(tmp_path, ra, dec, mirrored, portrait):
    """Size, centre, scale, angle at the centre and parity, all by astropy alone."""
    config = rig(mirrored, portrait)
    framing = framed(ra, dec, 33.0, config)
    path = tmp_path / "frame.fits"
    write_header_file(path, config, framing)
    with fits.open(path) as units:
        units.verify("exception")
        width, height = (400, 600) if portrait else (600, 400)
        assert units[1].shape == (height, width)
        assert (units[1].header["NAXIS1"], units[1].header["NAXIS2"]) == (width, height)
        assert (units[0].header["IMAGEW"], units[0].header["IMAGEH"]) == (width, height)
        assert not units[1].data.any()
        for unit in units:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # the primary header has axes but no picture
                wcs = WCS(unit.header)
            x, y = (width + 1) / 2, (height + 1) / 2
            steps = np.array([[x, y], [x + 1, y], [x, y + 1]])
            (ra0, ra1, ra2), (dec0, dec1, dec2) = wcs.all_pix2world(steps, 1).T
            assert separation_deg(ra0, dec0, ra, dec) < 1e-6 / 3600 + 1e-9
            up = position_angle_deg(ra0, dec0, ra2, dec2)
            right = position_angle_deg(ra0, dec0, ra1, dec1)
            image_up = framing.panels[0].image_up_angle_deg
            assert abs((up - image_up + 180) % 360 - 180) < 0.01
            turn = 90.0 if mirrored else -90.0
            assert abs((right - image_up - turn + 180) % 360 - 180) < 0.01
            # 206264.806 x 0.039 / 784 = 10.2607" a pixel.
            assert separation_deg(ra0, dec0, ra2, dec2) * 3600 == pytest.approx(10.2607, rel=1e-5)
            assert unit.header["RADESYS"] == "ICRS"
            long_side = up if portrait else right
            assert abs((long_side - 33.0 + 90) % 180 - 90) < 0.01
            assert np.sign(np.linalg.det(wcs.pixel_scale_matrix)) == (1 if mirrored else -1)


def test_header_is_a_small_file_and_always_the_same(tmp_path):
    for name in ("one.fits", "two.fits"):
        write_header_file(tmp_path / name, CONFIG, framed(10.0, 41.0, 90.0))
    one = (tmp_path / "one.fits").read_bytes()
    assert one == (tmp_path / "two.fits").read_bytes()
    assert len(one) % 2880 == 0
    assert len(one) < 100_000
    with fits.open(tmp_path / "one.fits") as units:
        assert units[1].shape == (4000, 6000)


def test_a_mosaic_has_one_extension_a_panel(tmp_path):
    framing = frame_target(CONFIG, WIDE, "flattener")
    assert len(framing.panels) > 1
    path = tmp_path / "mosaic.fits"
    write_header_file(path, rig(), framing)
    with fits.open(path) as units:
        assert [unit.name for unit in units[1:]] == [
            f"PANEL{i}" for i in range(1, len(framing.panels) + 1)
        ]
        for unit, panel in zip(units[1:], framing.panels, strict=True):
            assert unit.header["CRVAL1"] == panel.ra_deg
            assert unit.header["CRVAL2"] == panel.dec_deg
            assert unit.header["OBJECT"] == "Wide"


def read_polygon(text):
    assert text.startswith("Polygon ICRS ")
    return np.array(text.split()[2:], dtype=float).reshape(-1, 2)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize(("ra", "dec"), PLACES)
def test_stc_s_against_astropy_footprint(tmp_path, ra, dec, mirrored):
    """Same corners as WCS.calc_footprint of the header file, and inside on the left."""
    config = rig(mirrored)
    framing = framed(ra, dec, 70.0, config)
    write_header_file(tmp_path / "frame.fits", config, framing)
    with fits.open(tmp_path / "frame.fits") as units:
        expected = WCS(units[1].header).calc_footprint(axes=(600, 400), center=False)
    polygon = read_polygon(stc_s(config, framing))
    gap = separation_deg(polygon[:, None, 0], polygon[:, None, 1], *expected.T) * 3600
    assert gap.min(axis=1).max() < 0.01
    assert gap.min(axis=0).max() < 0.01
    ways = position_angle_deg(ra, dec, *polygon.T)
    turns = (np.diff(np.append(ways, ways[0])) + 180) % 360 - 180
    assert np.all(turns > 0)  # north through east


def test_stc_s_of_a_mosaic():
    framing = frame_target(CONFIG, WIDE, "flattener")
    text = stc_s(CONFIG, framing)
    assert text.startswith("Union ICRS ( Polygon ")
    assert text.endswith(" )")
    assert text.count("Polygon") == len(framing.panels)


@pytest.mark.parametrize(
    ("suffix", "kind"), [("ecsv", "ascii.ecsv"), ("vot", "votable"), ("xml", "votable")]
)
def test_tables_read_back(tmp_path, suffix, kind):
    framing = frame_target(CONFIG, WIDE, "flattener")
    path = tmp_path / f"panels.{suffix}"
    write_footprint(path, CONFIG, framing)
    if kind == "votable":
        from astropy.io.votable import parse

        parse(path, verify="exception")
    table = Table.read(path, format=kind)
    assert table.colnames == panel_table(CONFIG, framing).colnames
    assert list(table["panel"]) == list(range(1, len(framing.panels) + 1))
    assert np.allclose(table["ra_deg"], [panel.ra_deg for panel in framing.panels], atol=1e-12)
    assert str(table["width_deg"].unit) == "deg"
    regions = [read_polygon(str(text)) for text in table["s_region"]]
    assert all(region.shape == (4, 2) for region in regions)


def test_stcs_file_and_other_endings(tmp_path):
    framing = framed(10.0, 41.0, 0.0)
    write_footprint(tmp_path / "field.stcs", CONFIG, framing)
    assert (tmp_path / "field.stcs").read_text() == stc_s(CONFIG, framing) + "\n"
    with pytest.raises(FileError, match=r"\.ecsv, \.vot, \.xml or \.stcs"):
        write_footprint(tmp_path / "field.json", CONFIG, framing)
    with pytest.raises(FileError, match="cannot be written"):
        write_header_file(tmp_path / "nowhere" / "frame.fits", CONFIG, framing)
