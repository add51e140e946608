"""`nightplan angle` end to end; headers by astropy, expected angles worked on paper beside each."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from click.testing import CliRunner

from nightplan.cli.angle import command
from nightplan.errors import InputError, NightplanError
from nightplan.journal import Journal
from nightplan.journal.schema import FILE_NAME

SCALE = 1.026 / 3600.0


def solved(path, up, mirrored=False, ra=314.75, dec=44.4, scale=SCALE, cards=None):
    """A solved frame of the starter's camera whose axis 2 points at `up`, written by astropy."""
    from astropy.io import fits
    from astropy.wcs import WCS

    t = math.radians(up)
    side = 1.0 if mirrored else -1.0
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval, wcs.wcs.crpix = [ra, dec], [3000.5, 2000.5]
    wcs.wcs.cd = scale * np.array(
        [[side * math.cos(t), math.sin(t)], [-side * math.sin(t), math.cos(t)]]
    )
    header = wcs.to_header()
    header["IMAGEW"], header["IMAGEH"] = 6000, 4000
    header.update(cards or {})
    fits.PrimaryHDU(header=header).writeto(path, overwrite=True)
    return str(path)


@pytest.fixture
def angle(config_file):
    def run(*options, sense=None, replace=None):
        text = config_file.read_text(encoding="utf-8")
        if sense is not None:
            text = text.replace("# sense = 1 ", f"sense = {sense} #")
        for old, new in (replace or {}).items():
            assert old in text
            text = text.replace(old, new)
        config_file.write_text(text, encoding="utf-8")
        wanted = [
            "--config",
            str(config_file),
            "--date",
            "2027-10-06",
            "--json",
            *map(str, options),
        ]
        return json.loads(CliRunner().invoke(command, wanted, catch_exceptions=False).stdout)

    return run


def test_solution_reading_and_target(angle, tmp_path):
    """Up 100° is position angle 10°; to 30° it is +20°; reading 350° would pass the limit 360°,
    so the twin 190° it is; offset 100 - 350 = 110 (mod 360)."""
    file = solved(tmp_path / "a.fits", 100.0)
    found = angle(
        "--solution", file, "--rotator", 350, "--target-angle", 30, "--pier", "east", sense=1
    )
    assert found["image_up_angle_deg"] == pytest.approx(100.0, abs=1e-3)
    assert found["position_angle_now_deg"] == pytest.approx(10.0, abs=1e-3)
    assert found["image_up_after_flip_deg"] == pytest.approx(280.0, abs=1e-3)
    assert found["mirrored"] is False
    assert found["move_deg"] == pytest.approx(20.0, abs=1e-3)
    assert found["rotator_offset_deg"] == pytest.approx(110.0, abs=1e-3)
    assert found["rotator_target_deg"] == pytest.approx(190.0, abs=1e-3)
    assert found["rotator_move_deg"] == pytest.approx(-160.0, abs=1e-3)
    assert found["hand_turn"] == "turn the camera 20.0° anticlockwise, seen from behind it"
    assert found["train"] == "flattener"
    assert 0.5 < found["shared_area"] < 0.98
    assert found["good_enough"] is False


def test_mirrored_reverses_the_sense_and_the_hand(angle, tmp_path):
    file = solved(tmp_path / "a.fits", 100.0, mirrored=True)
    found = angle("--solution", file, "--rotator", 350, "--target-angle", 30, sense=1)
    assert found["mirrored"] is True
    assert found["move_deg"] == pytest.approx(20.0, abs=1e-3)
    assert found["sense"] == -1
    assert found["rotator_target_deg"] == pytest.approx(330.0, abs=1e-3)
    assert "clockwise" in found["hand_turn"]
    assert "anticlockwise" not in found["hand_turn"]
    assert any("mirrored" in notice for notice in found["notices"])


def test_rows_from_the_top_down_are_no_mirror(angle, tmp_path):
    file = solved(tmp_path / "a.fits", 100.0, mirrored=True, cards={"ROWORDER": "TOP-DOWN"})
    found = angle("--solution", file, "--rotator", 300, "--target-angle", 30, sense=1)
    assert found["mirrored"] is True  # of the FITS axes
    assert found["sense"] == 1
    assert found["rotator_target_deg"] == pytest.approx(320.0, abs=1e-3)
    assert found["notices"] == []


def test_sense_unknown_gives_a_reason_and_the_rest(angle):
    found = angle("--position-angle", 170, "--rotator", 50, "--target-angle", 5)
    assert found["rotator_target_deg"] is None
    assert found["rotator_target_deg_reason"] == "sense_unknown"
    assert found["move_deg"] == pytest.approx(15.0)
    assert found["image_up_angle_deg"] is None
    assert found["image_up_angle_deg_reason"] == "half_turn_unknown"
    # Landscape: up is the long side's line less or more a quarter turn.
    assert found["image_up_candidates_deg"] == [80.0, 260.0]
    assert found["shared_area"] < 1.0


@pytest.mark.parametrize(("second_up", "sense", "target"), [(130.0, 1, 70.0), (70.0, -1, 30.0)])
def test_second_solution_tells_the_sense(angle, tmp_path, second_up, sense, target):
    """From reading 50 to 80 the sky went by +30 or -30; from up 100 (10°) to 30° is +20."""
    now, then = solved(tmp_path / "a.fits", 100.0), solved(tmp_path / "b.fits", second_up)
    found = angle(
        "--solution", now, "--rotator", 50, "--target-angle", 30,
        "--second-solution", then, "--second-rotator", 80,
    )  # fmt: skip
    assert (found["sense"], found["sense_source"]) == (sense, "fitted")
    assert found["rotator_target_deg"] == pytest.approx(target, abs=1e-3)
    assert f"sense = {sense}" in " ".join(found["notices"])


def test_second_solution_on_the_other_side_of_the_pier(angle, tmp_path):
    """A quarter turn of the rotator and a flip: +90 + 180 = 270 looks like -90 without the pier."""
    now, then = solved(tmp_path / "a.fits", 100.0), solved(tmp_path / "b.fits", 10.0)
    options = (
        "--solution", now, "--rotator", 50, "--target-angle", 30,
        "--second-solution", then, "--second-rotator", 140,
    )  # fmt: skip
    assert angle(*options)["sense"] == -1
    assert angle(*options, "--pier", "west", "--second-pier", "east")["sense"] == 1


def test_two_solutions_too_near(angle, tmp_path):
    with pytest.raises(InputError, match="at least 10 degrees"):
        angle(
            "--position-angle", 10, "--rotator", 50, "--target-angle", 30,
            "--second-position-angle", 18, "--second-rotator", 58,
        )  # fmt: skip


def test_stored_framing_and_its_centre(angle, tmp_path, config_file):
    with Journal.open(config_file.parent, writable=True) as journal:
        journal.record_framing("NGC 7000", 1, "reducer", 314.75, 44.4, 120.0, 30.0, False)
    file = solved(tmp_path / "a.fits", 210.5, dec=44.45, scale=SCALE / 0.75)
    options = ("--solution", file, "--rotator", 10, "--target")
    found = angle(*options, "north america nebula", sense=-1)
    assert (found["train"], found["target_angle_source"]) == ("reducer", "stored framing")
    assert found["move_deg"] == pytest.approx(-0.5, abs=1e-2)
    assert found["rotator_target_deg"] == pytest.approx(10.5, abs=1e-2)
    assert found["centre_error_arcmin"] == pytest.approx(3.0, abs=0.05)
    # 3′ of 2.28° × 1.52° and half a degree of turn: a few percent.
    assert 0.94 < found["shared_area"] < 0.975
    assert found["common_rectangle_share"] < found["shared_area"]
    same = angle(
        "--solution", file, "--rotator", 10, "--target", "NGC 7000", "--same-way-up", sense=-1
    )
    assert same["rotator_target_deg"] == pytest.approx(10.0 + 180.5, abs=1e-2)
    assert same["move_deg"] == pytest.approx(-0.5, abs=1e-2)


def test_perfect_return(angle, tmp_path, config_file):
    with Journal.open(config_file.parent, writable=True) as journal:
        journal.record_framing("NGC 7000", 1, "flattener", 314.75, 44.4, 120.0, 30.0, False)
    found = angle("--solution", solved(tmp_path / "a.fits", 210.0), "--target", "NGC 7000")
    assert found["shared_area"] == pytest.approx(1.0, abs=1e-4)
    assert found["good_enough"] is True
    assert abs(found["move_deg"]) < 1e-3
    assert found["hand_turn_way"] == "none"
    assert found["rotator_target_deg_reason"] == "no_reading"


def test_recorded_offset_serves_after_the_flip(angle, tmp_path):
    """Up 100 at reading 50 east; at reading 70 west it is 120 + 180."""
    file = solved(tmp_path / "a.fits", 100.0)
    angle("--solution", file, "--rotator", 50, "--pier", "east", "--record", sense=1)
    found = angle("--rotator", 70, "--pier", "west", "--target-angle", 30)
    assert found["image_up_angle_deg"] == pytest.approx(300.0, abs=1e-3)
    assert found["position_angle_now_deg"] == pytest.approx(30.0, abs=1e-3)
    assert found["rotator_target_deg"] == pytest.approx(70.0, abs=1e-3)


def test_reading_without_anything_else(angle):
    with pytest.raises(NightplanError, match="--solution"):
        angle("--rotator", 70, "--target-angle", 30)


def test_only_reads_the_folder(angle, config_file):
    angle("--position-angle", 10, "--rotator", 5, "--target-angle", 30)
    assert not (config_file.parent / FILE_NAME).exists()


def test_without_a_rotator(angle, config_file):
    text = config_file.read_text(encoding="utf-8")
    start, end = text.index("[rotator]"), text.index("[guider]")
    config_file.write_text(text[:start] + text[end:], encoding="utf-8")
    found = angle("--position-angle", 10, "--rotator", 5, "--target-angle", 40)
    assert found["hand_turn_deg"] == pytest.approx(30.0)
    assert found["hand_turn_way"] == "anticlockwise"
    assert found["rotator_target_deg_reason"] == "no_rotator"


def test_header_as_text(angle, tmp_path):
    from astropy.io import fits

    text = fits.getheader(solved(tmp_path / "a.fits", 100.0)).tostring(sep="\n")
    (tmp_path / "header.txt").write_text(text)
    found = angle("--solution", tmp_path / "header.txt", "--target-angle", 10)
    assert found["image_up_angle_deg"] == pytest.approx(100.0, abs=1e-3)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--position-angle", "180", "--target-angle", "3"), "--position-angle"),
        (("--position-angle", "nan", "--target-angle", "3"), "--position-angle"),
        (("--position-angle", "3", "--target-angle", "-1"), "--target-angle"),
        (("--position-angle", "3", "--rotator", "inf"), "--rotator"),
        (("--position-angle", "3", "--train", "none such"), "train"),
        (("--position-angle", "3", "--target", "xyzzy"), "xyzzy"),
        (("--position-angle", "3", "--target", "M 31"), "no framing of M 31"),
        (("--solution", "missing.fits"), "missing.fits"),
        (("--position-angle", "3", "--target-angle", "9", "--same-way-up"), "--same-way-up"),
    ],
)
def test_faulty_options_in_one_line(angle, options, words):
    with pytest.raises(NightplanError) as caught:
        angle(*options)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "kind",
    ["folder", pytest.param("pipe", marks=pytest.mark.posix), "empty", "noise", "no wcs", "nan"],
)
def test_faulty_solution_files(angle, tmp_path, kind):
    import os

    from astropy.io import fits

    path = tmp_path / "solution.fits"
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind in ("empty", "noise"):
        path.write_bytes(b"" if kind == "empty" else bytes(range(256)) * 50)
    elif kind == "no wcs":
        fits.PrimaryHDU(np.zeros((4, 4), dtype=np.int16)).writeto(path)
    else:
        solved(path, 10.0, cards={"CRVAL1": "west"})
    with pytest.raises(NightplanError) as caught:
        angle("--solution", path, "--target-angle", 30)
    assert "solution.fits" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_header_that_frame_wrote(config_file, tmp_path):
    from nightplan.cli.frame import command as frame

    base = ["--config", str(config_file), "--date", "2027-10-06", "--json"]
    made = tmp_path / "field.fits"
    wanted = ["M 33", "--angle", "77.5", "--header", str(made), *base]
    framed = json.loads(CliRunner().invoke(frame, wanted, catch_exceptions=False).stdout)
    wanted = ["--solution", str(made), "--target-angle", "77.5", *base]
    found = json.loads(CliRunner().invoke(command, wanted, catch_exceptions=False).stdout)
    assert found["image_up_angle_deg"] == pytest.approx(framed["image_up_angle_deg"], abs=1e-3)
    assert found["train"] == framed["train"]
    assert found["move_deg"] == pytest.approx(0.0, abs=1e-3)


def test_text_for_people(config_file, tmp_path):
    wanted = ["--config", str(config_file), "--position-angle", "10", "--target-angle", "40"]
    text = CliRunner().invoke(command, wanted, catch_exceptions=False).stdout
    assert "anticlockwise" in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_image_up_is_what_a_solver_prints(angle):
    """Up 121° is the line 31° on a landscape sensor: to 120° it is -91 = +89 by the line, so
    from up 121 the turn is the shorter 31 -> 120, +89."""
    found = angle("--image-up", 121, "--target-angle", 120)
    assert found["image_up_angle_deg"] == pytest.approx(121.0)
    assert found["position_angle_now_deg"] == pytest.approx(31.0)
    assert found["move_deg"] == pytest.approx(89.0)
    assert angle("--image-up", -59, "--target-angle", 31)["image_up_angle_deg"] == 301.0


def test_figure_in_the_wrong_option_is_questioned(angle):
    """A solver prints 107.3 for image up; the line is 17.3°, and 17.3° clockwise comes to 0°.
    Typed as a line it asks for 72.7° anticlockwise instead: the notice names the other."""
    wrong = angle("--position-angle", 107.3, "--target-angle", 0)
    assert wrong["hand_turn"] == "turn the camera 72.7° anticlockwise, seen from behind it"
    (notice,) = [one for one in wrong["notices"] if "--image-up" in one]
    assert "17.3° clockwise" in notice
    right = angle("--image-up", 107.3, "--target-angle", 0)
    assert right["hand_turn"] == "turn the camera 17.3° clockwise, seen from behind it"
    assert right["notices"] == []


def test_portrait_sensor_has_one_reading(angle):
    found = angle(
        "--position-angle", 70, "--target-angle", 0,
        replace={"width_px = 6000\nheight_px = 4000": "width_px = 4000\nheight_px = 6000"},
    )  # fmt: skip
    assert found["notices"] == []


def test_reading_and_pier_from_header_cards(angle, tmp_path):
    cards = {"ROTATANG": 50.0, "PIERSIDE": "EAST", "DATE-OBS": "2027-10-06T22:00:00"}
    file = solved(tmp_path / "a.fits", 100.0, cards=cards)
    found = angle("--solution", file, "--target-angle", 30, sense=1)
    assert (found["rotator_deg"], found["pier"]) == (50.0, "east")
    assert found["rotator_target_deg"] == pytest.approx(70.0, abs=1e-3)
    assert angle("--solution", file, "--rotator", 60, "--pier", "west")["rotator_deg"] == 60.0
    assert angle("--solution", file, "--rotator", 60, "--pier", "west")["pier"] == "west"


def test_reading_of_a_header_that_the_rotator_cannot_show(angle, tmp_path):
    file = solved(tmp_path / "a.fits", 100.0, cards={"ROTATANG": 300.0})
    limits = {"maximum_deg = 360\nthickness": "maximum_deg = 180\nthickness"}
    found = angle("--solution", file, "--target-angle", 30, replace=limits)
    assert found["rotator_deg"] is None
    assert any("left out" in one for one in found["notices"])


def test_several_solutions_tell_the_sense_and_are_kept(angle, tmp_path, config_file):
    """The newest by DATE-OBS is now, in whatever order they are given."""
    cards = [
        {"ROTATANG": reading, "PIERSIDE": "West", "DATE-OBS": f"2027-10-06T{hour}:00:00"}
        for reading, hour in ((80.0, 22), (50.0, 21))
    ]
    now = solved(tmp_path / "now.fits", 70.0, cards=cards[0])
    before = solved(tmp_path / "before.fits", 100.0, cards=cards[1])
    for order in ((now, before), (before, now)):
        found = angle("--solution", order[0], "--solution", order[1], "--target-angle", 30)
        assert found["image_up_angle_deg"] == pytest.approx(70.0, abs=1e-3)
        assert (found["sense"], found["sense_source"]) == (-1, "fitted")
    angle("--solution", now, "--solution", before, "--record")
    with Journal.open(config_file.parent) as journal:
        kept = journal.rotator_solutions(None, "flattener")
    assert [one.reading_deg for one in kept] == [80.0, 50.0]


def test_offset_of_an_earlier_night_is_the_first_guess(config_file, tmp_path, angle):
    file = solved(tmp_path / "a.fits", 100.0)
    angle("--solution", file, "--rotator", 50, "--pier", "east", "--record", sense=1)
    text = ["--config", str(config_file), "--date", "2027-10-13", "--json", "--rotator", "55"]
    said = CliRunner().invoke(command, [*text, "--target-angle", "30"], catch_exceptions=False)
    found = json.loads(said.stdout)
    assert found["position_angle_now_deg"] == pytest.approx(15.0, abs=1e-3)
    assert found["rotator_target_deg"] == pytest.approx(70.0, abs=1e-3)
    assert "2027-10-06" in " ".join(found["notices"])
    assert found["offset_log"] == [
        {"date": "2027-10-06", "pier": "east", "rotator_offset_deg": pytest.approx(50.0)}
    ]
