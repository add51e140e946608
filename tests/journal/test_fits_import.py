"""Collecting FITS files: headers written by astropy, and files that astropy would not write.

astropy.io.fits is the outside writer; broken files are made from its output by hand.
"""

from __future__ import annotations

import datetime
import gzip
import os
import shutil

import numpy as np
import pytest

from nightplan.errors import FileError, InputError, TargetError
from nightplan.journal import CalibrationFrame, Journal, Sub, fits_cards
from nightplan.journal.fits_header import read_fits_header
from nightplan.journal.fits_import import Instructions, Verdict, collect_folder
from nightplan.journal.schema import FILE_NAME
from nightplan.journal.target_match import match_filter, role_of
from nightplan.model.config import load_config
from nightplan.model.own_targets import catalog_for

BASE = {
    "DATE-OBS": "2027-10-06T22:14:09.250",
    "EXPTIME": 300.0,
    "FILTER": "L",
    "IMAGETYP": "Light Frame",
    "OBJECT": "M 31",
    "FOCALLEN": 588.0,
    "XPIXSZ": 3.9,
    "GAIN": 120,
    "CCD-TEMP": -10.1,
    "INSTRUME": "Invented Camera",
}

DASHED = {
    "DATE_OBS": "DATE-OBS",
    "DATE_BEG": "DATE-BEG",
    "MJD_OBS": "MJD-OBS",
    "TIME_OBS": "TIME-OBS",
    "CCD_TEMP": "CCD-TEMP",
}


def write(path, seed=0, shape=(4, 6), compress=False, **changes):
    from astropy.io import fits

    header = fits.Header()
    for key, value in (BASE | {DASHED.get(k, k): v for k, v in changes.items()}).items():
        if value is not None:
            header[key] = value
    data = np.full(shape, seed % 60000, dtype=np.uint16)
    path.parent.mkdir(parents=True, exist_ok=True)
    if compress:
        units = [fits.PrimaryHDU(), fits.CompImageHDU(data.repeat(20, 0).repeat(20, 1), header)]
        fits.HDUList(units).writeto(path)
    else:
        fits.PrimaryHDU(data, header).writeto(path, output_verify="silentfix")
    return path


@pytest.fixture
def shot(tmp_path):
    folder = tmp_path / "shot"
    folder.mkdir()
    return folder


@pytest.fixture(scope="module")
def catalog():
    from nightplan.model.starter import demo_config

    return catalog_for(demo_config())


@pytest.fixture
def collect(config_file, catalog, shot):
    config = load_config(config_file)

    def run(**told):
        return collect_folder(shot, config, catalog, Instructions(**told))

    return run


def reasons(result):
    return {os.path.basename(file): reason for file, reason in result.skipped}


def test_a_night_goes_into_the_journal_once(collect, shot, config_file):
    for number in range(4):
        write(shot / f"l{number}.fits", DATE_OBS=f"2027-10-06T22:{14 + 5 * number:02d}:09.25")
    write(shot / "late" / "ha.fit", FILTER="H-alpha", DATE_OBS="2027-10-07T03:00:00", EXPTIME=600)
    before = {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in shot.rglob("*.fit*")}
    first = collect()
    assert [len(first.added), len(first.already_known), len(first.skipped)] == [5, 0, 0]
    again = collect()
    assert [len(again.added), len(again.already_known), len(again.skipped)] == [0, 5, 0]
    assert {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in shot.rglob("*.fit*")} == before
    with Journal.open(config_file.parent) as journal:
        assert journal.gathered("M 31", "L", "reducer") == pytest.approx(20 / 60)
        assert journal.gathered("M 31", "Ha") == pytest.approx(10 / 60)
        one = journal.subs()[0]
    # 22:14 UTC is 23:14 in Portugal in October, and 03:00 UTC belongs to the evening before.
    assert one.evening == datetime.date(2027, 10, 6)
    assert (one.train, one.gain, one.sensor_temperature_c) == ("reducer", "120", -10.1)
    from astropy.time import Time

    assert one.start_utc_mjd == pytest.approx(Time(BASE["DATE-OBS"]).mjd, abs=1e-8)


def test_copies_count_once_whatever_they_are_called(collect, shot):
    original = write(shot / "a.fits")
    shutil.copy(original, shot / "renamed copy.fit")
    write(shot / "calibrated.fits", seed=7, HISTORY="flat-fielded", OBJECT="Andromeda")
    (shot / "packed.fits.gz").write_bytes(gzip.compress(original.read_bytes()))
    write(shot / "tiles.fits.fz", compress=True)
    result = collect()
    assert len(result.added) == 1
    assert len(result.already_known) == 4
    assert result.skipped == ()


def test_short_frames_of_one_second_are_told_apart(collect, shot):
    for number in range(3):
        write(shot / f"b{number}.fits", seed=number, IMAGETYP="Bias Frame", EXPTIME=0.0,
              FILTER=None, OBJECT=None, DATE_OBS="2027-10-06T18:00:00")  # fmt: skip
    shutil.copy(shot / "b0.fits", shot / "b9.fits")
    result = collect()
    assert [len(result.added), len(result.already_known)] == [3, 1]
    assert {one.kind for one in result.added} == {"bias"}


def test_calibration_frames(collect, shot, config_file):
    from astropy.wcs import WCS

    wcs = WCS(naxis=2)
    wcs.wcs.ctype, wcs.wcs.crval, wcs.wcs.crpix = (
        ["RA---TAN", "DEC--TAN"],
        [10.68, 41.27],
        [3.5, 2.5],
    )
    wcs.wcs.cdelt, wcs.wcs.pc = [-3.8e-4, 3.8e-4], [[0.8, -0.6], [0.6, 0.8]]
    solved = {k: v for k, v in wcs.to_header().items() if k not in ("DATE-OBS", "MJD-OBS")}
    write(shot / "light.fits", **solved)
    write(shot / "flat.fits", IMAGETYP="FLAT", EXPTIME=1.5, DATE_OBS="2027-10-07T06:00:00")
    write(shot / "fd.fits", IMAGETYP="Dark Flat", EXPTIME=1.5, DATE_OBS="2027-10-07T06:10:00")
    write(shot / "dark.fits", IMAGETYP="Dark Frame", DATE_OBS="2027-10-07T06:20:00")
    result = collect()
    kinds = {one.kind: one for one in result.added if isinstance(one, CalibrationFrame)}
    assert set(kinds) == {"flat", "flat_dark", "dark"}
    (light,) = [one for one in result.added if isinstance(one, Sub)]
    # PC row 2 is (0.6, 0.8), row 1 (0.8, -0.6), CDELT1 negative: up is (+0.6, 0.8) in
    # (east, north), 36.87 degrees by atan2(0.6, 0.8); the long side a quarter turn on.
    assert light.image_up_angle_deg == pytest.approx(36.8699, abs=1e-3)
    flat = kinds["flat"]
    assert flat.position_angle_deg == pytest.approx(126.8699, abs=1e-3)
    assert (flat.filter, flat.train, flat.evening) == ("L", "reducer", datetime.date(2027, 10, 6))
    assert kinds["dark"].filter is None
    with Journal.open(config_file.parent) as journal:
        assert len(journal.calibration_frames()) == 3
        assert journal.gathered("M 31", "L") == pytest.approx(300 / 3600)


def test_verdicts(collect, shot, config_file):
    write(shot / "a.fits")
    collect(verdict=Verdict(weight=0.5, reason="haze", given=True))
    with Journal.open(config_file.parent) as journal:
        assert journal.gathered("M 31", "L") == pytest.approx(150 / 3600)
    result = collect(verdict=Verdict(accepted=False, reason="clouds", given=True))
    assert (len(result.already_known), result.judged_again) == (1, 1)
    with Journal.open(config_file.parent) as journal:
        assert journal.gathered("M 31", "L") == 0.0
    collect()  # without a verdict nothing changes
    with Journal.open(config_file.parent) as journal:
        assert journal.subs()[0].reason == "clouds"
    collect(verdict=Verdict(weight=0.5, given=True))  # a weight alone forgives nothing
    with Journal.open(config_file.parent) as journal:
        assert not journal.subs()[0].accepted
    collect(verdict=Verdict(weight=0.5, given=True, overrule=True))
    with Journal.open(config_file.parent) as journal:
        assert journal.gathered("M 31", "L") == pytest.approx(150 / 3600)
    with pytest.raises(InputError, match="reason"):
        Verdict(accepted=False)


def test_targets_by_name_panel_and_place(collect, shot, config_file):
    with Journal.open(config_file.parent, writable=True) as journal:
        journal.record_framing("NGC 7000", 2, "reducer", 315.6, 44.3, 90.0, 0.0, False)
    minute = iter(range(60))

    def shoot(name, **changes):
        return write(shot / name, DATE_OBS=f"2027-10-06T23:{next(minute):02d}:00", **changes)

    shoot("spelled.fits", OBJECT="ngc0224")
    shoot("panel.fits", OBJECT="NGC_7000_P3")
    shoot("near.fits", OBJECT="my nebula", RA=315.7, DEC=44.4)
    shoot("sexagesimal.fits", OBJECT=None, OBJCTRA="21 02 30.0", OBJCTDEC="+44 20 00")
    shoot("unknown.fits", OBJECT="my nebula", RA=100.0, DEC=-5.0)
    shoot("nothing.fits", OBJECT=None)
    result = collect()
    found = {os.path.basename(one.file): (one.target, one.panel) for one in result.added}
    assert found == {
        "spelled.fits": ("M 31", 1),
        "panel.fits": ("NGC 7000", 3),
        "near.fits": ("NGC 7000", 2),
        "sexagesimal.fits": ("NGC 7000", 2),
    }
    assert "my nebula" in reasons(result)["unknown.fits"]
    assert "--target" in reasons(result)["nothing.fits"]
    told = collect(target="messier 33")
    assert {one.target for one in told.added} == {"M 33"}
    with pytest.raises(TargetError):
        collect(target="no such thing at all")


def test_panels_by_where_the_telescope_pointed(collect, shot, config_file):
    """OBJECT seldom names the panel: the nearest framing in force of the same train does."""
    with Journal.open(config_file.parent, writable=True) as journal:
        frame = journal.record_framing
        frame("NGC 7000", 1, "reducer", 313.0, 44.4, 90.0, 0.0, False)  # superseded below
        frame("NGC 7000", 1, "reducer", 316.0, 44.4, 90.0, 0.0, False)
        frame("NGC 7000", 2, "reducer", 313.5, 44.4, 90.0, 0.0, False)
        frame("NGC 7000", 3, "flattener", 313.0, 44.4, 90.0, 0.0, False)
    places: dict[str, dict[str, object]] = {
        "one": {"RA": 315.9, "DEC": 44.5},
        "two": {"RA": 313.0, "DEC": 44.4},
        "three": {"RA": 313.0, "DEC": 44.4, "FOCALLEN": 784.0},
        "told": {"RA": 315.9, "DEC": 44.5, "OBJECT": "NGC 7000 panel 4"},
        "far": {"RA": 330.0, "DEC": 44.4},
        "nowhere": {},
    }
    for minute, (name, cards) in enumerate(places.items()):
        moment = f"2027-10-06T23:{5 * minute:02d}:00"
        write(shot / f"{name}.fits", **{"OBJECT": "NGC 7000", "DATE_OBS": moment, **cards})
    found = {os.path.basename(one.file): one.panel for one in collect().added}
    assert found == {
        "one.fits": 1, "two.fits": 2, "three.fits": 3, "told.fits": 4, "far.fits": 1,
        "nowhere.fits": 1,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"EXPTIME": -5.0}, "EXPTIME"),
        ({"EXPTIME": "NaN"}, "EXPTIME"),
        ({"EXPTIME": 1e300}, "EXPTIME"),
        ({"EXPTIME": None}, "EXPTIME"),
        ({"EXPTIME": "long"}, "EXPTIME"),
        ({"EXPTIME": True}, "EXPTIME"),
        ({"DATE_OBS": None}, "DATE-OBS"),
        ({"DATE_OBS": "yesterday"}, "DATE-OBS"),
        ({"DATE_OBS": "2027-02-30T01:00:00"}, "DATE-OBS"),
        ({"DATE_OBS": "2027-10-06"}, "DATE-OBS"),
        ({"DATE_OBS": "2027-10-06T25:00:00"}, "DATE-OBS"),
        ({"DATE_OBS": 61684.9}, "DATE-OBS"),
        ({"DATE_OBS": "soon", "MJD_OBS": 61684.9}, "DATE-OBS"),
        ({"DATE_OBS": None, "MJD_OBS": 2461684.9}, "DATE-OBS"),
        ({"TIMESYS": "TAI"}, "DATE-OBS"),
        ({"FILTER": None}, "FILTER"),
        ({"FILTER": "purple"}, "FILTER"),
        ({"FILTER": 3}, "FILTER"),
        ({"IMAGETYP": None}, "--assume-light"),
        ({"IMAGETYP": "portrait"}, "IMAGETYP"),
        ({"IMAGETYP": "Master Light"}, "several exposures"),
        ({"NCOMBINE": 20}, "several exposures"),
        ({"OBJECT": "'; DROP TABLE sub; --"}, "OBJECT"),
    ],
)
def test_odd_headers_are_skipped_with_the_reason(collect, shot, config_file, changes, words):
    write(shot / "odd.fits", **changes)
    write(shot / "sound.fits", DATE_OBS="2027-10-06T23:30:00")
    result = collect()
    assert len(result.added) == 1
    assert words in reasons(result)["odd.fits"]
    assert "\n" not in reasons(result)["odd.fits"]


@pytest.mark.parametrize(
    ("changes", "start"),
    [
        ({"DATE_OBS": "06/10/98", "TIME_OBS": "22:14:09"}, "1998-10-06T22:14:09"),
        ({"DATE_OBS": "2027-10-06", "TIME_OBS": "22:14:09.5"}, "2027-10-06T22:14:09.5"),
        ({"DATE_OBS": "2027-10-06T22:14:09Z"}, "2027-10-06T22:14:09"),
        ({"DATE_OBS": "2027-10-06T22:14:09.1234567"}, "2027-10-06T22:14:09.1234567"),
        ({"EXPTIME": None, "EXPOSURE": 300}, BASE["DATE-OBS"]),
        # FITS standard 4.0, section 9: times and durations by other names.
        ({"EXPTIME": None, "XPOSURE": 300.0}, BASE["DATE-OBS"]),
        ({"DATE_OBS": None, "DATE_BEG": "2027-10-06T22:14:09.5"}, "2027-10-06T22:14:09.5"),
        ({"DATE_OBS": None, "MJD_OBS": 61684.5}, "2027-10-06T12:00:00"),
        ({"EXPTIME": "300.0 "}, BASE["DATE-OBS"]),
        ({"IMAGETYP": "LIGHT"}, BASE["DATE-OBS"]),
        ({"GAIN": 120.5, "CCD_TEMP": "cold"}, BASE["DATE-OBS"]),
    ],
)
def test_forms_that_are_understood(collect, shot, changes, start):
    from astropy.time import Time

    write(shot / "a.fits", **changes)
    (one,) = collect().added
    assert one.start_utc_mjd == pytest.approx(Time(start).mjd, abs=1e-8)
    assert one.exposure_s == 300.0


@pytest.mark.posix
def test_hostile_files_are_skipped_and_the_sound_one_is_taken(collect, shot):
    sound = write(shot / "sound.fits").read_bytes()

    def with_card(key, value):
        at = sound.index(key.ljust(8).encode() + b"= ")
        return sound[:at] + f"{key:8}= {value:>20}".ljust(80).encode() + sound[at + 80 :]

    fed = {
        "empty.fits": b"",
        "text.fits": b"not a FITS file\n" * 300,
        "cut in header.fits": sound[:1500],
        "cut in image.fits": sound[:2890],
        "no end.fits": sound[:80] + b"COMMENT x".ljust(80) * 20000,
        "bad axes.fits": with_card("NAXIS1", "-99999999999"),
        "giant.fits": with_card("NAXIS1", "99999999999999999999"),
        "many axes.fits": with_card("NAXIS", "999999999"),
        "binary.fits": sound[:800] + bytes(range(256)) * 6 + sound[2336:],
        "cut.fits.gz": gzip.compress(sound)[:60],
        "no gz.fits.gz": b"\x1f\x8b" + b"\xff" * 500,
        "._resource.fits": b"\x00\x05\x16\x07",
    }  # fmt: skip
    for name, data in fed.items():
        (shot / name).write_bytes(data)
    os.mkfifo(shot / "pipe.fits")
    (shot / "link.fits").symlink_to(shot / "nowhere.fits")
    (shot / "loop").symlink_to(shot)
    (shot / "folder.fits").mkdir()
    result = collect()
    assert len(result.added) == 1
    told = reasons(result)
    assert set(told) >= set(fed) - {"._resource.fits", "binary.fits"} | {"pipe.fits", "link.fits"}
    assert all(reason and "\n" not in reason for reason in told.values())
    assert "cut short" in told["cut in image.fits"]
    assert "END" in told["no end.fits"]
    assert "regular file" in told["pipe.fits"]


def test_nothing_found_makes_no_journal(collect, shot, config_file):
    (shot / "notes.txt").write_text("cloudy")
    (shot / "empty.fits").touch()
    result = collect()
    assert result.added == ()
    assert set(reasons(result)) == {"notes.txt", "empty.fits"}
    assert not (config_file.parent / FILE_NAME).exists()


def test_missing_folder_and_unknown_names(collect, shot):
    write(shot / "a.fits")
    with pytest.raises(InputError, match="train"):
        collect(train="none such")
    shutil.rmtree(shot)
    with pytest.raises(FileError, match="no such folder"):
        collect()


def test_train_by_focal_length_or_solution(collect, shot):
    write(shot / "a.fits", FOCALLEN=784.0)
    write(shot / "b.fits", FOCALLEN=2000.0, DATE_OBS="2027-10-06T23:00:00")
    write(shot / "c.fits", FOCALLEN=None, DATE_OBS="2027-10-06T23:10:00")
    # A solution at 1.026 arcsec a pixel of 3.9 µm is 784 mm, whatever FOCALLEN claims:
    # 206264.8 × 0.0039 / 1.026 = 784.05.
    write(shot / "d.fits", FOCALLEN=500.0, DATE_OBS="2027-10-06T23:20:00", CTYPE1="RA---TAN",
          CTYPE2="DEC--TAN", CRVAL1=10.0, CRVAL2=41.0, CRPIX1=3.5, CRPIX2=2.5,
          CDELT1=-1.026 / 3600, CDELT2=1.026 / 3600)  # fmt: skip
    result = collect()
    trains = {os.path.basename(one.file): one.train for one in result.added}
    assert trains == {
        "a.fits": "flattener", "b.fits": None, "c.fits": None, "d.fits": "flattener"
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("L", "L"), ("lum", "L"), ("Luminance", "L"), ("Red", "R"), ("G", "G"), ("BLUE", "B"),
        ("Ha", "Ha"), ("H-alpha", "Ha"), ("H_Alpha_3nm", "Ha"), ("Hα", "Ha"), ("ha 3 nm", "Ha"),
        ("OIII", "OIII"), ("[O III]", "OIII"), ("O3", "OIII"), ("OIII 3nm", "OIII"),
        ("SII", "SII"), ("S-II", "SII"), ("sulphur", "SII"), ("purple", None), ("", None),
        ("Ha OIII", None), ("r'", "R"),
    ],
)  # fmt: skip
def test_filter_names(text, name, demo):
    assert match_filter(text, demo.filter) == name


def test_two_filters_of_one_role_need_their_name(demo):
    two = {"Ha 3": demo.filter["Ha"], "Ha 7": demo.filter["Ha"]}
    assert match_filter("Ha-7", two) == "Ha 7"
    assert match_filter("H-alpha", two) is None
    assert role_of("H-alpha") == "H-alpha"


def test_top_down_rows_and_bare_headers(tmp_path):
    header = read_fits_header(write(tmp_path / "a.fits", ROWORDER="TOP-DOWN"))
    assert fits_cards.rows_top_down(header.cards)
    assert not fits_cards.rows_top_down({})
