"""Folders and FITS headers as a broken disk or another program may leave them."""

from __future__ import annotations

import datetime
import gzip
import json
import os
import random
import socket
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from nightplan.cli.main import run
from nightplan.errors import NightplanError
from nightplan.journal import Journal
from nightplan.journal.fits_import import collect_folder
from nightplan.journal.plate_solution import read_solution
from nightplan.journal.schema import FILE_NAME
from nightplan.model.config import load_config
from nightplan.model.own_targets import catalog_for

CARDS = {
    "DATE-OBS": "2027-10-06T22:10:00", "EXPTIME": 600.0, "FILTER": "Ha", "IMAGETYP": "Light Frame",
    "OBJECT": "NGC 7000", "FOCALLEN": 588.0, "XPIXSZ": 3.76, "CTYPE1": "RA---TAN",
    "CTYPE2": "DEC--TAN", "CRVAL1": 314.7, "CRVAL2": 44.5, "CRPIX1": 3.5, "CRPIX2": 2.5,
    "CD1_1": -3e-4, "CD1_2": 1e-5, "CD2_1": 1e-5, "CD2_2": 3e-4, "ROTATANG": 12.0, "GAIN": 100,
    "CCD-TEMP": -10.0,
}  # fmt: skip


def light(path: bytes | Path, minute: int) -> None:
    when = datetime.datetime(2027, 10, 6, 21, minute)
    header = fits.Header(CARDS | {"DATE-OBS": when.isoformat()})
    unit = fits.PrimaryHDU(np.zeros((4, 6), dtype=np.uint16), header)
    with open(path, "wb") as stream:
        unit.writeto(stream)


NAMES = [
    b"caf\xe9.fits", b"\xff\xfe.fit", b"\x1b]0;title\x07.fits", b"a\nb.fits", b" .fits",
    "Пещера \u202e.fits".encode(), b"n" * 250 + b".fits", b"-x.fits", b"'\".fits",
]  # fmt: skip


@pytest.mark.posix
def test_odd_files_never_stop_the_others(config_file, capsys, monkeypatch):
    folder = config_file.parent / "2027-10-06"
    folder.mkdir()
    place = os.fsencode(folder)
    for number, name in enumerate(NAMES):
        light(os.path.join(place, name), number)
    os.mkfifo(folder / "pipe.fits")
    (folder / "folder.fits").mkdir()
    (folder / "dangling.fits").symlink_to("nowhere.fits")
    (folder / "loop.fits").symlink_to("loop.fits")
    (folder / "empty.fits").touch()
    (folder / "dev.fits").symlink_to("/dev/zero")
    with socket.socket(socket.AF_UNIX) as unix:
        monkeypatch.chdir(folder)  # the path of a socket holds 107 bytes (Linux, unix(7))
        unix.bind("socket.fits")
        with gzip.open(folder / "bomb.fits.gz", "wb", compresslevel=1) as stream:
            table = "SIMPLE  =T;BITPIX  =8;NAXIS   =1;NAXIS1  =9000000000000;END"
            stream.write("".join(line.ljust(80) for line in table.split(";")).ljust(2880).encode())
            stream.write(bytes(2_000_000))
        words = ["collect", str(folder), "--config", str(config_file), "--json"]
        assert run(words) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    found = json.loads(shown.out)
    assert len(found["added"]) == len(NAMES)
    assert {Path(one["file"]).name for one in found["skipped"]} >= {
        "pipe.fits", "dangling.fits", "loop.fits", "empty.fits", "dev.fits", "bomb.fits.gz",
    }  # fmt: skip
    assert run(words) == 0
    assert len(json.loads(capsys.readouterr().out)["already_known"]) == len(NAMES)
    assert run(words[:-1]) == 0
    capsys.readouterr()
    with Journal.open(config_file.parent) as journal:
        stored = {os.path.basename(os.fsencode(sub.file)) for sub in journal.subs()}
    assert stored == set(NAMES)


def mutated(data: bytes, chance: random.Random) -> bytes:
    changed = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        card = chance.randrange(0, 30) * 80
        value = chance.choice(
            ["", "1e999", "-1", "0", "NaN", "T", "'x", "9" * 60, "1E400", "'2027-13-45T99:99:99'",
             "(1,2)", "'RA---XYZ'", "-1e308", "1e-320", "''", "inf", "0x10", "1,5", "'" + "a" * 67]
        )  # fmt: skip
        kind = chance.random()
        if kind < 0.6:
            changed[card + 10 : card + 80] = f"{value:>20}".ljust(70)[:70].encode()
        elif kind < 0.8:
            at = chance.randrange(2880)
            changed[at] = chance.randrange(256)
        else:
            changed[card : card + 8] = chance.randbytes(8)
    return bytes(changed)


@pytest.mark.filterwarnings("error::RuntimeWarning")
def test_mutated_headers_are_taken_or_told(config_file, tmp_path):
    config = load_config(config_file)
    catalog = catalog_for(config)
    folder = tmp_path / "shot"
    folder.mkdir()
    light(folder / "0.fits", 10)
    data = (folder / "0.fits").read_bytes()
    chance = random.Random(4)
    for number in range(1, 200):
        path = folder / f"{number}.fits"
        path.write_bytes(mutated(data, chance))
        with suppress(NightplanError):
            found = read_solution(path, (100, 80))
            assert 0.0 <= found.image_up_angle_deg < 360.0
            assert found.scale_arcsec_px > 0.0
    collected = collect_folder(folder, config, catalog)
    assert len(collected.added) + len(collected.already_known) + len(collected.skipped) == 200
    # Nothing fell through to the guard for what nobody foresaw.
    assert not [one for one in collected.skipped if "cannot be understood" in one[1]]


ASKED = [
    ["night", "--config", "FILE"],
    ["plan", "M 33", "--from", "2027-10-06T22:00Z", "--keep", "FILE"],
    ["sheet", "--output", "x.html", "--keep", "FILE"],
    ["review", "--keep", "FILE"],
    ["follow", ".", "--once", "--keep", "FILE"],
    ["collect", "--ticks", "FILE"],
    ["angle", "--target-angle", "30", "--solution", "FILE"],
]
FOUND = ["pipe", "/dev/zero", "folder", "sparse", "loop", "a\0b", "n" * 300, "pipe/x", "bytes"]


@pytest.mark.parametrize("file", FOUND, ids=range(len(FOUND)))
@pytest.mark.parametrize("words", ASKED, ids=lambda words: words[0])
def test_what_is_no_text_file_is_refused_at_once(config_file, monkeypatch, capsys, words, file):
    monkeypatch.chdir(config_file.parent)
    os.mkfifo("pipe")
    Path("folder").mkdir()
    Path("loop").symlink_to("loop")
    Path("bytes").write_bytes(b"\xff\xfe\x00" * 99)
    with Path("sparse").open("wb") as stream:
        stream.truncate(2**40)
    config = [] if "--config" in words else ["--config", str(config_file)]
    assert run([file if word == "FILE" else word for word in words] + config) == 2
    shown = capsys.readouterr().err
    assert shown.count("\n") == 1
    assert "standard output" not in shown
    assert not Path("x.html").exists()


@pytest.mark.parametrize("kind", ["pipe", "folder", "zero"])
@pytest.mark.parametrize("words", [["pick"], ["collect", "shot"]], ids=lambda words: words[0])
def test_a_journal_that_is_no_file_is_refused_at_once(
    config_file, monkeypatch, capsys, words, kind
):
    monkeypatch.chdir(config_file.parent)
    Path("shot").mkdir()
    light(Path("shot/1.fits"), 10)
    path = config_file.parent / FILE_NAME
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to("/dev/zero")
    assert run([*words, "--config", str(config_file)]) == 2
    shown = capsys.readouterr().err
    assert shown.count("\n") == 1
    assert "nightplan-journal.db" in shown or "/dev/zero" in shown
